"""A robust straight line through a few readings, with the uncertainty of its slope and level.

Huber's M-estimate (Huber, Robust Statistics, 1981, chapter 7) on readings weighted by their stated
uncertainty, started from the median of the slopes between them (Theil and Sen). How far the
readings really scatter is learned from their residuals and from what they state together: the
stated scatter counts as `STATED_DOF` degrees of freedom, so that two or three readings do not
pretend to know their own scatter, and many overrule a wrong statement.

Conventions: times in days; the weights returned give slope and level as sums over the readings, so
that every error can be followed through them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import median

HUBER_K = 1.345  # 95 % efficiency on normal errors (Huber 1981, 4.6)
MAD_TO_SIGMA = 1.4826  # of the normal distribution
MAD_FROM = 5  # readings from which their spread tells an outlier
ROUNDS = 50
SETTLED = 1e-10
STATED_DOF = (
    1.0  # what the stated scatter is worth; set by simulation (tests/store/test_robust_line.py)
)
LEAST = 2  # readings of a line


@dataclass(frozen=True, slots=True)
class RobustLine:
    """A fitted line.

    Parameters
    ----------
    slope, level
        Per day, and at the last reading.
    slope_weights, level_weights
        Shape (readings,): slope and level as weighted sums of the values.
    scatter
        Real scatter of the readings over the stated one.
    dof
        Degrees of freedom of the scatter; ``math.inf`` where only the stated one is known.
    outliers
        Indices of readings that the line is drawn without, or nearly.
    """

    slope: float
    level: float
    slope_weights: tuple[float, ...]
    level_weights: tuple[float, ...]
    scatter: float
    dof: float
    outliers: tuple[int, ...]


def robust_line(days: Sequence[float], values: Sequence[float], u: Sequence[float]) -> RobustLine:
    """Fit a line.

    Parameters
    ----------
    days, values
        Shape (readings,), in order of time; at least two different times.
    u
        What each reading states of its own scatter, above zero.

    Raises
    ------
    ValueError
        If there are fewer than two readings or all are of one time.
    """
    if len(days) < LEAST or days[0] == days[-1]:
        raise ValueError("a line needs readings at two different times")
    slope = _median_slope(days, values)
    level = median(y - slope * (t - days[-1]) for t, y in zip(days, values, strict=True))
    scale = 1.0
    kept = [1.0] * len(days)
    for _ in range(ROUNDS):
        rest = _rest(days, values, u, slope, level)
        scale = _scale(rest)
        kept = [min(1.0, HUBER_K * scale / abs(r)) if r else 1.0 for r in rest]
        weights = [k / s**2 for k, s in zip(kept, u, strict=True)]
        by_slope, by_level = _sums(days, weights)
        before = slope, level
        slope = _dot(by_slope, values)
        level = _dot(by_level, values)
        if abs(slope - before[0]) + abs(level - before[1]) <= SETTLED * (1 + abs(level)):
            break
    by_slope, by_level = _sums(days, [k / s**2 for k, s in zip(kept, u, strict=True)])
    rest = _rest(days, values, u, slope, level)
    spread, dof = _spread(rest, scale)
    return RobustLine(
        slope=slope,
        level=level,
        slope_weights=by_slope,
        level_weights=by_level,
        scatter=spread * _efficiency(days, u, by_slope),
        dof=dof,
        outliers=tuple(i for i, k in enumerate(kept) if k < 0.5),  # noqa: PLR2004 - over 2.7 sigma
    )


def _median_slope(days: Sequence[float], values: Sequence[float]) -> float:
    pairs = combinations(zip(days, values, strict=True), 2)
    return median((y2 - y1) / (t2 - t1) for (t1, y1), (t2, y2) in pairs if t2 != t1)


def _rest(
    days: Sequence[float], values: Sequence[float], u: Sequence[float], slope: float, level: float
) -> list[float]:
    """Return residuals in units of their stated scatter."""
    return [
        (y - level - slope * (t - days[-1])) / s for t, y, s in zip(days, values, u, strict=True)
    ]


def _scale(rest: Sequence[float]) -> float:
    """Return the scale that tells an outlier: the stated one, or what most readings show."""
    if len(rest) < MAD_FROM:
        return 1.0
    shown = MAD_TO_SIGMA * median(abs(r) for r in rest) * math.sqrt(len(rest) / (len(rest) - LEAST))
    return max(shown, 0.1)  # below a tenth of what is stated, rounding is all that is left


def _sums(
    days: Sequence[float], weights: Sequence[float]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return slope and level at the last reading as sums over the readings."""
    whole = sum(weights)
    centre = sum(w * t for w, t in zip(weights, days, strict=True)) / whole
    across = sum(w * (t - centre) ** 2 for w, t in zip(weights, days, strict=True))
    slope = tuple(w * (t - centre) / across for w, t in zip(weights, days, strict=True))
    ahead = days[-1] - centre
    level = tuple(w / whole + s * ahead for w, s in zip(weights, slope, strict=True))
    return slope, level


def _dot(weights: Sequence[float], values: Sequence[float]) -> float:
    return sum(w * y for w, y in zip(weights, values, strict=True))


def _spread(rest: Sequence[float], scale: float) -> tuple[float, float]:
    """Return the real scatter over the stated one, and its degrees of freedom.

    Huber 1981, 7.6: the sum of the squared limited residuals over n - p, over the squared share of
    residuals that are not limited, with the correction K for small n.
    """
    n = len(rest)
    free = n - LEAST
    if free == 0:
        return 1.0, math.inf
    limited = [max(-HUBER_K * scale, min(HUBER_K * scale, r)) for r in rest]
    inside = sum(abs(r) <= HUBER_K * scale for r in rest) / n
    inside = max(inside, 1 / n)
    correction = 1 + LEAST * (1 - inside) / (n * inside)
    shown = correction**2 * sum(r**2 for r in limited) / free / inside**2
    dof = STATED_DOF + free
    return math.sqrt((STATED_DOF + free * shown) / dof), dof


def _efficiency(days: Sequence[float], u: Sequence[float], by_slope: Sequence[float]) -> float:
    """Return the factor from what the final weights say to what the formula counts with.

    The formula belongs to weights 1/u^2 alone; the final weights have outliers reduced, so the
    propagated u of the slope is a little larger.
    """
    plain, _ = _sums(days, [1 / s**2 for s in u])
    return math.hypot(*(w * s for w, s in zip(plain, u, strict=True))) / math.hypot(
        *(w * s for w, s in zip(by_slope, u, strict=True))
    )
