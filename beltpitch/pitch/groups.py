"""Which tones agree with each other: one string plucked several times, or several groups of plucks.

Two groups are told apart where the gap between them is wider than the usual scatter from pluck to
pluck can explain. A belt that was turned between plucks, another string, and an overtone that was
typed for the fundamental all show like this.

Conventions: frequencies and standard uncertainties in Hz; groups are tuples of indices.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from beltpitch.uncertainty import PLUCK_SCATTER, PLUCK_SCATTER_DOF, student_quantile

# Two plucks of one string are taken for two tones once in 500 times (a judgement): Student's t of
# the usual scatter. Two plucks may so differ by 3 %, the means of two and two by 2.2 %.
ONCE_IN = 500
REACH = student_quantile(1 - 1 / (2 * ONCE_IN), PLUCK_SCATTER_DOF)
# Ratios of the overtones of one string that a hand or an instrument takes for its fundamental.
OVERTONES = ((2, 1), (3, 1), (3, 2))
NEAR = 0.03  # relative: a stiff belt's partials lie up to so far above whole ratios


def groups(
    frequencies_hz: Sequence[float], uncertainties_hz: Sequence[float]
) -> tuple[tuple[int, ...], ...]:
    """Return which values agree: one group if all do.

    The values are split where a gap is widest beside what the scatter allows the means on either
    side of it, and so on within each part.

    Parameters
    ----------
    frequencies_hz, uncertainties_hz
        Shape (plucks,): each pluck's tone and its own standard uncertainty.

    Returns
    -------
    tuple
        The groups, that of the lowest tone first; within each the indices in rising order.
    """
    ranked = sorted(range(len(frequencies_hz)), key=lambda k: frequencies_hz[k])
    split = _split(ranked, frequencies_hz, uncertainties_hz) if ranked else []
    return tuple(tuple(sorted(group)) for group in split)


def agreeing(found: Sequence[Sequence[int]]) -> tuple[tuple[int, ...], ...]:
    """Return the groups of two or more: a single value has none that agrees with it."""
    return tuple(tuple(group) for group in found if len(group) > 1)


def overtone(one_hz: float, other_hz: float) -> tuple[int, int] | None:
    """Return the whole numbers in whose ratio two tones nearly stand, None if they do not."""
    ratio = max(one_hz, other_hz) / min(one_hz, other_hz)
    near = [(p, q) for p, q in OVERTONES if abs(ratio * q / p - 1) < NEAR]
    return near[0] if near else None


def _split(ranked: list[int], hertz: Sequence[float], u_hz: Sequence[float]) -> list[list[int]]:
    parts = [(ranked[:k], ranked[k:]) for k in range(1, len(ranked))]
    if not parts:
        return [ranked]
    lower, upper = max(parts, key=lambda part: _apart(part[0], part[1], hertz, u_hz))
    if _apart(lower, upper, hertz, u_hz) <= REACH:
        return [ranked]
    return [*_split(lower, hertz, u_hz), *_split(upper, hertz, u_hz)]


def _apart(
    lower: list[int], upper: list[int], hertz: Sequence[float], u_hz: Sequence[float]
) -> float:
    """Return the gap between two groups in standard deviations of the difference of their means."""
    gap = math.log(hertz[upper[0]] / hertz[lower[-1]])
    return gap / math.hypot(*(_mean_u(part, hertz, u_hz) for part in (lower, upper)))


def _mean_u(part: list[int], hertz: Sequence[float], u_hz: Sequence[float]) -> float:
    """Return the relative standard uncertainty of the mean, with the usual scatter."""
    each = (math.hypot(PLUCK_SCATTER, u_hz[k] / hertz[k]) for k in part)
    return math.hypot(*each) / len(part)
