"""The range in which the fundamental of a strand must lie."""

from __future__ import annotations

from beltpitch.belts.mechanics import frequency
from beltpitch.belts.strand import Strand

SLACK_SHARE = 1 / 500  # of the breaking load: a strand that all but hangs
RANGE_DOUBT = 0.1  # on either side, for a span or mass that is not quite as stated


def carried_range(
    strand: Strand, break_n: float, slack_n: float | None = None, doubt: float = RANGE_DOUBT
) -> tuple[float, float]:
    """Return the lowest and highest fundamental in Hz that this strand can carry.

    From all but slack (by default a five-hundredth of the breaking load) to breaking, with a
    margin for a span or mass that is not quite as stated.
    """
    slack = SLACK_SHARE * break_n if slack_n is None else slack_n
    return (1 - doubt) * frequency(strand, slack), (1 + doubt) * frequency(strand, break_n)
