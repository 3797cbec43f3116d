"""A parabola through trials: weighted least squares, its tests, and where its lowest point lies.

Model ``y = b0 + b1 z + b2 z^2`` with ``z`` the tension from the middle of the range tried, in
halves of that range. Each trial's variance is ``s^2 + u_y^2 + (slope u_x)^2``: the scatter, its own
doubt of the result, and its own error of tension carried through the curve (effective variance;
Barker and Diana 1974, Orear 1982). ``s`` is found so that chi^2 equals its degrees of freedom
(Mandel and Paule 1970). Fieller 1954 for the interval of the vertex: all x whose slope cannot be
told from zero. Lack of fit and pure error as in any text on regression (Draper and Smith).

Results are written with few digits: the least difference between two of them is taken for their
step, and no scatter is believed that is smaller than the step's own (step over root 12).

Conventions: arrays have shape (trials,); smaller is better.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from beltpitch.errors import RequestError
from beltpitch.study.trials import levels
from beltpitch.uncertainty import student_cdf, student_quantile

COVERAGE = 0.95
ROUNDS = 3  # of the weights; the second differs from the first by far less than s
ROUNDING = 1e-6  # of the spread of results: the least scatter there is
SPLITS = 30  # halvings of the scatter that is looked for

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Quadratic:
    """A fitted parabola.

    Parameters
    ----------
    centre_n, half_n
        z = (tension - centre) / half.
    b
        Coefficients b0, b1, b2 in z.
    covariance
        Of b, three rows.
    scatter
        s, in the unit of the result.
    dof
        Trials less three.
    level_count
        Tensions that differ.
    lack_of_fit_p
        How often a true parabola would miss the levels this much; None without repeats.
    pure_scatter, pure_dof
        Scatter between repeats; None and 0 without repeats.
    trend_p
        How often no dependence at all would look like this parabola (F test).
    between_p
        The same for the levels without any curve; None without repeats.
    weights
        One over each trial's variance, shape (trials,).
    """

    centre_n: float
    half_n: float
    b: tuple[float, float, float]
    covariance: tuple[tuple[float, float, float], ...]
    scatter: float
    dof: int
    level_count: int
    lack_of_fit_p: float | None
    pure_scatter: float | None
    pure_dof: int
    trend_p: float
    between_p: float | None
    weights: tuple[float, ...]

    def z(self, tension_n: ArrayLike) -> Floats:
        """Return the scaled tension."""
        return (np.asarray(tension_n, dtype=float) - self.centre_n) / self.half_n

    def value(self, tension_n: ArrayLike) -> Floats:
        """Return the curve, shape of `tension_n`."""
        z = self.z(tension_n)
        return self.b[0] + self.b[1] * z + self.b[2] * z**2

    def u(self, tension_n: ArrayLike) -> Floats:
        """Return the standard uncertainty of the curve."""
        z = self.z(tension_n)
        x = np.stack([np.ones_like(z), z, z**2])
        return np.asarray(np.sqrt(np.einsum("i...,ij,j...->...", x, np.array(self.covariance), x)))

    def slopes(self, tension_n: ArrayLike) -> tuple[Floats, Floats]:
        """Return slope and its standard uncertainty, per z."""
        z, v = self.z(tension_n), self.covariance
        slope = self.b[1] + 2 * self.b[2] * z
        u = np.sqrt(np.maximum(v[1][1] + 4 * z * v[1][2] + 4 * z**2 * v[2][2], 0.0))
        return slope, u

    @property
    def curvature_p(self) -> float:
        """How often a straight line would look this much curved upwards (one-sided t test)."""
        u = math.sqrt(self.covariance[2][2])
        return 1 - student_cdf(self.b[2] / u, self.dof) if u else float(self.b[2] <= 0)

    @property
    def vertex_n(self) -> float | None:
        """Where the curve turns; None for a straight line."""
        if self.b[2] == 0:
            return None
        return self.centre_n - self.half_n * self.b[1] / (2 * self.b[2])

    def interval(self, coverage: float = COVERAGE) -> tuple[float, float] | None:
        """Return Fieller's interval of the lowest point in N; None if it has none."""
        v = self.covariance
        t = student_quantile((1 + coverage) / 2, self.dof)
        found = fieller(self.b[1], self.b[2], (v[1][1], v[1][2], v[2][2]), t)
        if found is None or self.b[2] <= 0:
            return None
        low, high = (self.centre_n + self.half_n * z for z in found)
        return low, high


def fieller(
    b1: float, b2: float, covariance: tuple[float, float, float], t: float
) -> tuple[float, float] | None:
    """Return all x with (b1 + 2 b2 x)^2 <= t^2 (V11 + 4 x V12 + 4 x^2 V22), if they are bounded.

    Parameters
    ----------
    b1, b2
        Coefficients of x and x^2.
    covariance
        V11, V12, V22.
    t
        Student's quantile.
    """
    v11, v12, v22 = covariance
    a = 4 * (b2**2 - t**2 * v22)
    b = 4 * (b1 * b2 - t**2 * v12)
    c = b1**2 - t**2 * v11
    if a <= 0:
        return None
    root = math.sqrt(max(b * b - 4 * a * c, 0.0))
    return (-b - root) / (2 * a), (-b + root) / (2 * a)


def vertex_u(b1: float, b2: float, covariance: tuple[float, float, float]) -> float:
    """Return the standard uncertainty of -b1/(2 b2) to first order (delta method)."""
    v11, v12, v22 = covariance
    ratio = b1 / b2
    return math.sqrt(max(v11 + ratio**2 * v22 - 2 * ratio * v12, 0.0)) / (2 * abs(b2))


def quadratic(
    tension_n: Sequence[float],
    results: Sequence[float],
    own_u_n: Sequence[float] | None = None,
    result_u: Sequence[float] | None = None,
) -> Quadratic:
    """Return the parabola through trials.

    Parameters
    ----------
    tension_n
        Of each trial, N.
    results
        Its result; smaller is better.
    own_u_n
        Standard uncertainty each tension has of its own.
    result_u
        Standard uncertainty of each result; none by default, the scatter tells it.

    Raises
    ------
    RequestError
        If there are fewer than four trials, or no three different tensions.
    """
    x, y = np.asarray(tension_n, dtype=float), np.asarray(results, dtype=float)
    level = np.array(levels(tension_n))
    count = int(level.max()) + 1
    if len(x) < 4 or count < 3:  # noqa: PLR2004 (three coefficients and one degree of freedom)
        raise RequestError("a parabola needs four trials at three different tensions")
    own = np.zeros_like(x) if own_u_n is None else np.asarray(own_u_n, dtype=float)
    doubt = np.zeros_like(x) if result_u is None else np.asarray(result_u, dtype=float)
    centre, half = (x.max() + x.min()) / 2, (x.max() - x.min()) / 2
    z = (x - centre) / half
    design = np.stack([np.ones_like(z), z, z**2], axis=1)
    known, least = doubt**2, _least(y)
    weights, s = np.ones_like(x), 0.0
    b = _solve(design, y, weights)
    for _ in range(ROUNDS):
        slope = (b[1] + 2 * b[2] * z) / half
        known = doubt**2 + (slope * own) ** 2
        s = max(_scatter(design, y, known), least)
        weights = 1 / (s**2 + known)
        b = _solve(design, y, weights)
    covariance = np.linalg.inv(design.T @ (weights[:, None] * design))
    left = y - design @ b
    pure, pure_dof = _pure(left, weights, level)
    pure = max(pure, pure_dof * float(weights.mean()) * least**2)
    chi2, dof = float(weights @ left**2), len(x) - 3
    return Quadratic(
        centre_n=float(centre),
        half_n=float(half),
        b=(float(b[0]), float(b[1]), float(b[2])),
        covariance=tuple((float(r[0]), float(r[1]), float(r[2])) for r in covariance),
        scatter=s,
        dof=dof,
        level_count=count,
        lack_of_fit_p=_lack_of_fit(chi2, pure, pure_dof, count - 3),
        pure_scatter=_pure_scatter(pure, pure_dof, weights),
        pure_dof=pure_dof,
        trend_p=_trend(y, weights, chi2, (2, dof)),
        between_p=_between(y, weights, level, pure_dof),
        weights=tuple(float(w) for w in weights),
    )


def _least(y: Floats) -> float:
    """Return the least scatter that is believed: rounding of the results, or of the arithmetic."""
    steps = np.diff(np.unique(y))
    tiny = ROUNDING * float(np.ptp(y))
    return max(tiny, float(steps[steps > tiny].min(initial=np.inf)) / math.sqrt(12))


def _solve(design: Floats, y: Floats, weights: Floats) -> Floats:
    # normal equations: z lies between -1 and 1, three columns, at least three levels
    weighted = (weights / weights.max())[:, None] * design
    found: Floats = np.linalg.solve(weighted.T @ design, weighted.T @ y)
    return found


def _scatter(design: Floats, y: Floats, known: Floats) -> float:
    """Return s with chi^2(s) = dof; zero where the known doubts explain all (Mandel-Paule)."""
    dof = len(y) - design.shape[1]

    def chi2(s2: float) -> float:
        weights = 1 / (s2 + known)
        left = y - design @ _solve(design, y, weights)
        return float(weights @ left**2)

    plain = y - design @ _solve(design, y, np.ones_like(y))
    if not known.any():
        return float(math.sqrt(plain @ plain / dof))
    low, high = 0.0, float(plain @ plain / dof)
    if high == 0 or (known.all() and chi2(0.0) <= dof):
        return 0.0
    for _ in range(SPLITS):
        middle = (low + high) / 2
        low, high = (middle, high) if chi2(middle) > dof else (low, middle)
    return math.sqrt(high)


def _pure(left: Floats, weights: Floats, level: NDArray[np.int64]) -> tuple[float, int]:
    """Return weighted sum of squares between repeats and its degrees of freedom."""
    total, dof = 0.0, 0
    for one in np.unique(level):
        w, r = weights[level == one], left[level == one]
        total += float(w @ (r - (w @ r) / w.sum()) ** 2)
        dof += len(r) - 1
    return total, dof


def _pure_scatter(pure: float, dof: int, weights: Floats) -> float | None:
    """Return the scatter of one trial of middling weight; None without repeats."""
    return math.sqrt(pure / dof / float(weights.mean())) if dof else None


def f_tail(f: float, dof: tuple[int, int]) -> float:
    """Return the probability that an F ratio is larger, by the incomplete beta function."""
    from scipy.special import betainc

    if f <= 0:
        return 1.0
    return float(betainc(dof[1] / 2, dof[0] / 2, dof[1] / (dof[1] + dof[0] * f)))


def _lack_of_fit(chi2: float, pure: float, pure_dof: int, dof: int) -> float | None:
    if not pure_dof or dof < 1:
        return None
    return f_tail((chi2 - pure) / dof / (pure / pure_dof), (dof, pure_dof))


def _trend(y: Floats, weights: Floats, chi2: float, dof: tuple[int, int]) -> float:
    flat = float(weights @ (y - (weights @ y) / weights.sum()) ** 2)
    return f_tail((flat - chi2) / dof[0] / (chi2 / dof[1]), dof) if chi2 > 0 else 0.0


def _between(y: Floats, weights: Floats, level: NDArray[np.int64], pure_dof: int) -> float | None:
    if not pure_dof:
        return None
    pure, _ = _pure(y, weights, level)
    flat = float(weights @ (y - (weights @ y) / weights.sum()) ** 2)
    count = int(level.max())
    pure = max(pure, pure_dof * float(weights.mean()) * _least(y) ** 2)
    return f_tail((flat - pure) / count / (pure / pure_dof), (count, pure_dof))
