"""Other lines a plucked strand can sound, and the range its fundamental must lie in.

Derived here, no measured belt behind it; the tests check each against a discretised model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from beltpitch.belt.mechanics import frequency
from beltpitch.belt.strand import Strand

USUAL_TWIST = (1.005, 1.06)  # where GJ is not known: commonly 1 to 5 % above mode 1, and a margin
SLACK_SHARE = 1 / 500  # of the breaking load: a strand that all but hangs
RANGE_DOUBT = 0.1  # on either side, for a span or mass that is not quite as stated


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Where a line that is not the fundamental is to be expected, and what it is."""

    name: str
    low_hz: float
    high_hz: float


def twist(
    frequency_hz: float, tension_n: float, width_m: float, torsion_n_m2: float | None = None
) -> Neighbour:
    """Return where a flat strand twists: ``f1 sqrt(1 + 12 GJ/(T b^2))``.

    Tension restores a twisted strip with ``T b^2/12``, its section with GJ; its inertia is
    ``m b^2/12``. Where GJ is not known the usual range is given.
    """
    if torsion_n_m2 is None:
        low, high = USUAL_TWIST
        return Neighbour("twist", low * frequency_hz, high * frequency_hz)
    line = frequency_hz * math.sqrt(1 + 12 * torsion_n_m2 / (tension_n * width_m**2))
    return Neighbour("twist", line, line)


def edgewise(strand: Strand, tension_n: float, width_m: float) -> Neighbour:
    """Return where the strand moves in the plane of its width.

    Between a string without air (cords that slide in soft rubber) and a clamped beam with cords
    that hold together, ``EI = EA b^2/12``. Often below twice the fundamental.
    """
    string = replace(strand, stiffness_n_m2=0.0, air_kg_per_m=0.0)
    low = frequency(string, tension_n)
    if math.isinf(strand.stretch_n):
        return Neighbour("edgewise", low, 2 * low)
    plate = strand.stretch_n * width_m**2 / 12
    stiff = replace(string, stiffness_n_m2=plate, hold_a=1.0, hold_b=1.0)
    return Neighbour("edgewise", low, frequency(stiff, tension_n))


def carried_range(
    strand: Strand, break_n: float, slack_n: float | None = None, doubt: float = RANGE_DOUBT
) -> tuple[float, float]:
    """Return the lowest and highest fundamental in Hz that this strand can carry.

    From all but slack (by default a five-hundredth of the breaking load) to breaking, with a
    margin for a span or mass that is not quite as stated.
    """
    slack = SLACK_SHARE * break_n if slack_n is None else slack_n
    return (1 - doubt) * frequency(strand, slack), (1 + doubt) * frequency(strand, break_n)
