"""A value with its standard uncertainty, and whose error it is.

Method: JCGM 100:2008 (the GUM). An `Estimate` carries its *parts*: each part is one signed
contribution ``c_i u_i`` in the unit of the value, with its degrees of freedom and a *key* that
says whose error it is (``roll:...``, ``tape``, ``pluck:...``). Parts with equal keys are one and
the same error, so they are added with their signs before squaring; parts with different keys are
independent. That is how the difference of two belts from one roll loses the error of the roll.

Conventions: ``u`` is always one standard uncertainty (k = 1). Expanded intervals exist only where
they are shown. Infinite degrees of freedom are ``math.inf``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

DOF_AS_NORMAL = 2000  # beyond this Student's t differs from the normal by less than 1 part in 1000
# Where the scatter of so few plucks makes more than this share of the variance, the linear budget's
# 95 % interval is replaced by that of the distributions themselves. In repeated trials the linear
# one holds the truth in 92.6 to 95 % there (three to five plucks of their own scatter, or one whose
# scatter is borrowed), and this choice between the two in 94.7 to 96 %
# (calibration/intervals.py). Other lines keep to the Guide: their dof are judgements.
SCATTER_LINE = "plucks"
# Scatter of one hand's plucks of one string, relative, before it is known; and how well that is
# known, in degrees of freedom (common practice, no source).
PLUCK_SCATTER, PLUCK_SCATTER_DOF = 0.003, 4.0
FEW_DOF, RULING_SHARE = 4.5, 0.25
STEPS = 24  # of the convolution, over 6 standard uncertainties of the rest
REACH = 6.0
CLOSE = 1e-6  # of a half-width that is found by bisection


@dataclass(frozen=True, slots=True)
class Part:
    """One contribution to an uncertainty.

    Parameters
    ----------
    name
        The line of the budget it belongs to, such as "linear mass".
    key
        Whose error it is; equal keys are one and the same error.
    u
        Signed contribution ``c_i u_i``, in the unit of the value it belongs to.
    dof
        Degrees of freedom of ``u_i``; ``math.inf`` where it is taken as known.
    """

    name: str
    key: str
    u: float
    dof: float = math.inf

    def __post_init__(self) -> None:
        if not math.isfinite(self.u):
            raise ValueError(f"part {self.name!r}: u is {self.u}, must be finite")
        if not self.dof > 0:
            raise ValueError(f"part {self.name!r}: dof is {self.dof}, must be positive")


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of a budget: ``u`` >= 0 in the unit of the value, ``share`` of the variance."""

    name: str
    u: float
    share: float
    dof: float
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the parts of its uncertainty.

    Parameters
    ----------
    value
        Best estimate, in SI.
    parts
        Its contributions; none for a value taken as exact.
    """

    value: float
    parts: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"estimate is {self.value}, must be finite")

    @classmethod
    def single(
        cls, value: float, u: float, *, name: str, key: str, dof: float = math.inf
    ) -> Estimate:
        """Return an estimate whose whole uncertainty is one part."""
        return cls(value, (Part(name, key, u, dof),) if u else ())

    @property
    def u(self) -> float:
        """Combined standard uncertainty (GUM 5.1.2; equal keys are fully correlated, 5.2.2)."""
        return math.hypot(*(p.u for p in merged(self.parts)))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom, Welch-Satterthwaite (GUM G.4.1), not truncated."""
        u = self.u
        if u == 0:
            return math.inf
        # in shares of u, so that very small uncertainties do not underflow
        lost = sum((p.u / u) ** 4 / p.dof for p in merged(self.parts))
        return 1 / lost if lost > 0 else math.inf

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Return the expanded interval (low, high) at `coverage`.

        By the linear budget (GUM G.3.2, G.6.4), or by `propagated` where that is nearer.
        """
        return self.propagated(coverage) if self.ruled_by_few else self._linear(coverage)

    def _linear(self, coverage: float) -> tuple[float, float]:
        half = student_quantile((1 + coverage) / 2, self.dof) * self.u
        return self.value - half, self.value + half

    @property
    def ruled_by_few(self) -> bool:
        """Whether the scatter of few plucks makes much of the uncertainty.

        In repeated trials the interval by propagated distributions is then nearer its coverage.
        """
        few = self._scattered()
        return few is not None and few.dof < FEW_DOF and few.u**2 > RULING_SHARE * self.u**2

    def _scattered(self) -> Part | None:
        """Return the largest part of the plucks' own scatter; None if there is none."""
        parts = (p for p in merged(self.parts) if p.name == SCATTER_LINE)
        return max(parts, key=lambda p: abs(p.u), default=None)

    def propagated(self, coverage: float = 0.95) -> tuple[float, float]:
        """Return the interval of the distributions themselves (JCGM 101, 5.2 and 6.4.9.2).

        The scatter of the plucks is a scaled Student's t, the rest is normal; their sum is
        convolved instead of drawn. Without plucks it is the linear budget's.
        """
        few = self._scattered()
        if few is None or few.u == 0:
            return self._linear(coverage)
        rest = Estimate(0.0, tuple(p for p in merged(self.parts) if p.key != few.key))
        low, high = 0.0, student_quantile((1 + coverage) / 2, few.dof) * abs(few.u)
        high += student_quantile((1 + coverage) / 2, rest.dof) * rest.u
        while high - low > CLOSE * high:
            middle = (low + high) / 2
            inside = _sum_within(middle, abs(few.u), few.dof, rest.u)
            low, high = (middle, high) if inside < coverage else (low, middle)
        return self.value - high, self.value + high

    def probability_below(self, limit: float) -> float:
        """Return the probability that the quantity lies below `limit` (scaled, shifted t).

        By the linear budget, whichever way the interval is made.
        """
        if self.u == 0:
            return 1.0 if self.value < limit else 0.0
        return student_cdf((limit - self.value) / self.u, self.dof)

    def scaled(self, factor: float) -> Estimate:
        """Return this estimate times an exact number."""
        parts = tuple(Part(p.name, p.key, factor * p.u, p.dof) for p in self.parts)
        return Estimate(factor * self.value, parts)

    def with_part(self, part: Part) -> Estimate:
        """Return this estimate with one more contribution."""
        return Estimate(self.value, (*self.parts, part))

    def renamed(self, name: str) -> Estimate:
        """Return this estimate with all its parts on one budget line, their keys kept."""
        return Estimate(self.value, tuple(Part(name, p.key, p.u, p.dof) for p in self.parts))

    def budget(self) -> tuple[BudgetLine, ...]:
        """Return the budget, largest line first."""
        whole = sum(p.u**2 for p in merged(self.parts))
        names = dict.fromkeys(p.name for p in merged(self.parts))
        lines = (
            _line(name, [p for p in merged(self.parts) if p.name == name], whole) for name in names
        )
        return tuple(sorted(lines, key=lambda line: -line.u))


def _line(name: str, parts: Sequence[Part], whole: float) -> BudgetLine:
    own = Estimate(0.0, tuple(parts))
    share = own.u**2 / whole if whole else 0.0
    return BudgetLine(name, own.u, share, own.dof, tuple(dict.fromkeys(p.key for p in parts)))


def merged(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Add parts with equal keys, signs kept; the first name and the fewest dof stand."""
    by_key: dict[str, Part] = {}
    for p in parts:
        q = by_key.get(p.key)
        by_key[p.key] = p if q is None else Part(q.name, q.key, q.u + p.u, min(q.dof, p.dof))
    return tuple(by_key.values())


def combine(value: float, terms: Iterable[tuple[float, Estimate]]) -> Estimate:
    """Return an output estimate from the sensitivities of its inputs (GUM 5.1.3).

    Parameters
    ----------
    value
        The output at the inputs' values.
    terms
        Pairs of sensitivity (derivative of the output by the input) and input.
    """
    parts = (Part(p.name, p.key, c * p.u, p.dof) for c, x in terms for p in x.parts)
    return Estimate(value, merged(parts))


def difference(a: Estimate, b: Estimate) -> Estimate:
    """Return a - b; what the two share cancels."""
    return combine(a.value - b.value, [(1.0, a), (-1.0, b)])


def ratio(a: Estimate, b: Estimate) -> Estimate:
    """Return a / b, first order; what the two share in proportion cancels."""
    value = a.value / b.value
    return combine(value, [(1 / b.value, a), (-value / b.value, b)])


def mean(estimates: Sequence[Estimate]) -> Estimate:
    """Return the plain mean; shared errors are not averaged away.

    Raises
    ------
    ValueError
        If there is nothing to average.
    """
    if not estimates:
        raise ValueError("mean of no estimates")
    share = 1 / len(estimates)
    return combine(
        sum(e.value for e in estimates) / len(estimates), [(share, e) for e in estimates]
    )


def type_a(values: Sequence[float], *, name: str, key: str) -> Estimate:
    """Return the mean of repeated readings with u = s/sqrt(n), dof = n - 1 (GUM 4.2).

    Raises
    ------
    ValueError
        If there are fewer than two readings: their scatter is then unknown.
    """
    n = len(values)
    if n < 2:  # noqa: PLR2004
        raise ValueError(f"type A needs at least two readings, got {n}")
    centre = sum(values) / n
    scatter = math.sqrt(sum((v - centre) ** 2 for v in values) / (n - 1))
    return Estimate.single(centre, scatter / math.sqrt(n), name=name, key=key, dof=n - 1)


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a limit +/- a (GUM 4.3.7): a / sqrt 3."""
    return half_width / math.sqrt(3)


def student_cdf(t: float, dof: float) -> float:
    """Return P(T <= t) of Student's t.

    Degrees of freedom are truncated to an integer (GUM G.4.1), for which the distribution has a
    finite series (Abramowitz & Stegun 26.7.3 and 26.7.4). Plain code because scipy.stats costs
    more than the start-up limit; the tests compare it with scipy.
    """
    if dof > DOF_AS_NORMAL:
        return math.erfc(-t / math.sqrt(2)) / 2
    n = max(1, math.floor(dof + 1e-9))
    theta = math.atan2(abs(t), math.sqrt(n))
    cos2 = math.cos(theta) ** 2
    if n % 2:
        term, total = math.cos(theta), 0.0
        for k in range(1, n, 2):  # cos + 2/3 cos^3 + 2*4/(3*5) cos^5 ...
            total += term
            term *= cos2 * (k + 1) / (k + 2)
        inside = 2 / math.pi * (theta + math.sin(theta) * total)
    else:
        term, total = 1.0, 0.0
        for k in range(0, n, 2):  # 1 + 1/2 cos^2 + 1*3/(2*4) cos^4 ...
            total += term
            term *= cos2 * (k + 1) / (k + 2)
        inside = math.sin(theta) * total
    return 0.5 + math.copysign(inside / 2, t)


def _sum_within(half: float, t_u: float, dof: float, normal_u: float) -> float:
    """Return P(|t_u t + normal_u z| <= half), t of Student's law and z normal, independent."""
    if normal_u == 0:
        return 2 * student_cdf(half / t_u, dof) - 1
    total = weight = 0.0
    for k in range(STEPS + 1):  # even steps of a smooth even density: nearly exact
        z = REACH * k / STEPS
        here = math.exp(-z * z / 2) * (2 if k else 1)
        up, down = (half - normal_u * z) / t_u, (-half - normal_u * z) / t_u
        total += here * (student_cdf(up, dof) - student_cdf(down, dof))
        weight += here
    return total / weight


def student_quantile(p: float, dof: float) -> float:
    """Return t with P(T <= t) = p, by bisection of `student_cdf`.

    Raises
    ------
    ValueError
        If p is not strictly between 0 and 1.
    """
    if not 0 < p < 1:
        raise ValueError(f"probability is {p}, must lie between 0 and 1")
    if dof > DOF_AS_NORMAL:
        return NormalDist().inv_cdf(p)
    low, high = -1.0, 1.0
    while student_cdf(low, dof) > p:
        low *= 2
    while student_cdf(high, dof) < p:
        high *= 2
    while high - low > 1e-12 * max(1.0, abs(low)):
        middle = (low + high) / 2
        low, high = (middle, high) if student_cdf(middle, dof) < p else (low, middle)
    return (low + high) / 2
