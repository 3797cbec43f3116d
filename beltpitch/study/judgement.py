"""What trials have shown: an optimum, an edge, nothing, or too little, in one record.

One measure at a time. The quadratic is used where the repeats say nothing against it and the
scatter is small enough for them to say it; elsewhere the Gaussian process. Before a lowest point is
believed: the results must depend on tension at all (F test, 5 %), and the whole 95 % interval of
the best tension must lie inside the range. A range is the window as far as it was tried: nothing is
said beyond it.

Thresholds were chosen on simulated machines, apart from the 1,000 studies of `docs/study.md`.

Conventions: results in the user's unit; inside, `cost` is what is to be small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from beltpitch.errors import CannotTell
from beltpitch.study.gaussian_process import CLEAR, GRID, TensionProcess, process
from beltpitch.study.quadratic import Quadratic, quadratic
from beltpitch.study.trials import (
    FEWEST_LEVELS,
    FEWEST_TRIALS,
    SAME_LEVEL,
    EndKind,
    Field,
    Measure,
    Shared,
    Trial,
    levels,
    own_errors,
    shared_error,
)
from beltpitch.uncertainty import student_cdf, student_quantile

Word = Literal["optimum", "upper edge", "lower edge", "hump", "flat", "noisy"]
Method = Literal["quadratic", "gaussian process"]
Floats = NDArray[np.float64]

SIGNIFICANT = 0.05
TAIL = 0.025  # on either side of a 95 % interval
NOTHING_AGAINST = 0.5  # lack-of-fit p above which the repeats say nothing against a parabola
SNAP = 0.04  # of the range: an edge is named as the best where the best is this near
LITTLE = 0.05  # of the curve's range: what may be lost
HINT = 0.25  # trend p below which something may be there that more trials would show
MOST_MORE = 12  # trials that are worth proposing
CUBIC_FROM = 4  # highest level from which a cubic leaves the levels something to miss
FEW_REPEATS = 3  # degrees of freedom below which repeats alone tell no scatter
DRAWS = 1000
SEED = 7
LEAST = 1e-3  # of the spread of results: the least noise a Gaussian process can be told of
LEAST_P = 0.001
TINY = 1e-6  # of the spread of results: scatter below it is rounding


@dataclass(frozen=True, slots=True)
class Outlier:
    """A trial that stands apart: its number, its result, how many of its errors off it lies."""

    number: int
    tension_n: float
    result: float
    off: float


@dataclass(frozen=True, slots=True, eq=False)
class Data:
    """The trials of one measure as arrays, shape (trials,); `cost` is small where it is good.

    For a wanted value `cost` is the result itself: the curve is fitted to it, and its distance to
    the target is taken from the curve.
    """

    numbers: tuple[int, ...]
    tension_n: Floats
    result: Floats
    own_u_n: Floats
    sign: float

    @property
    def cost(self) -> Floats:
        """What is fitted."""
        return self.sign * self.result


@dataclass(frozen=True, slots=True, eq=False)
class Finding:
    """What the trials have shown of one measure.

    Parameters
    ----------
    measure
        What was measured.
    word
        ``optimum``, ``upper edge``, ``lower edge``, ``hump``, ``flat`` or ``noisy``.
    method, why
        Which curve was used, and why.
    data
        The trials.
    quadratic, process
        The two curves, fitted to `Data.cost`; the process may be missing where it was not needed.
    range_n
        Where something may be said: the window as far as it was tried.
    end_kinds, end_rules
        What binds at the two ends of that range.
    best_n
        The tension recommended, or the best so far: the one most likely to lose little.
    interval_n
        95 % interval of the best tension on the study's own axis; None without an optimum.
    shared
        What all tensions share: it shifts that axis as a whole.
    outliers
        Trials that stand apart; they are left in.
    seen
        The difference between the thirds of the range that such trials would show, 8 times in 10.
    more
        Trials that would tell, where it is too noisy; 0 elsewhere.
    """

    measure: Measure
    word: Word
    method: Method
    why: str
    data: Data
    quadratic: Quadratic
    process: TensionProcess | None
    range_n: tuple[float, float]
    end_kinds: tuple[EndKind, EndKind]
    end_rules: tuple[str, str]
    best_n: float
    interval_n: tuple[float, float] | None
    shared: Shared
    outliers: tuple[Outlier, ...]
    seen: float
    more: int

    def curve(self, tension_n: Floats) -> Floats:
        """Return the curve that was used, as a result, at tensions inside the range tried."""
        used = self.process if self.method == "gaussian process" else self.quadratic
        assert used is not None
        return self.data.sign * used.value(tension_n)

    def curve_u(self, tension_n: Floats) -> Floats:
        """Return its standard uncertainty."""
        if self.method == "gaussian process":
            assert self.process is not None
            return self.process.u_at(tension_n)
        return self.quadratic.u(tension_n)

    def loss(self, tension_n: Floats) -> Floats:
        """Return how much worse than the best the curve is; never negative inside the range."""
        every = _costs(self.data.sign * self.curve(self.grid()), self.measure)
        here = _costs(self.data.sign * self.curve(tension_n), self.measure)
        return np.asarray(np.maximum(here - every.min(), 0.0))

    def grid(self) -> Floats:
        """Return tensions from end to end of the range."""
        return np.linspace(*self.range_n, GRID)

    @property
    def whole_interval_n(self) -> tuple[float, float] | None:
        """The interval with what all tensions share, as an absolute tension."""
        if self.interval_n is None:
            return None
        half = student_quantile(1 - TAIL, self.shared.at(self.best_n).dof) * self.shared.u
        low, high = self.interval_n
        down = np.hypot(self.best_n - low, half * self.best_n)
        up = np.hypot(high - self.best_n, half * self.best_n)
        return self.best_n - float(down), self.best_n + float(up)


def learn(
    measure: Measure, index: int, trials: Sequence[Trial], field: Field, *, both: bool = True
) -> Finding:
    """Return what trials have shown of one measure.

    Parameters
    ----------
    measure, index
        What was measured, and which result of each trial it is.
    trials
        Those with such a result.
    field
        The range that may be recommended.
    both
        Whether to draw the Gaussian process also where the quadratic is used.

    Raises
    ------
    CannotTell
        If there are too few trials or levels, all results are equal, or none lies in the window.
    """
    data = _data(measure, index, trials)
    _check(measure, data)
    parabola = quadratic(list(data.tension_n), list(data.cost), list(data.own_u_n))
    method, why = _choice(parabola, data)
    curve = _process(parabola, data) if both or method == "gaussian process" else None
    span, kinds, rules = _range(data, field)
    judged = _judge(measure, method, parabola, curve, span)
    word, best, interval = judged
    more = 0
    if word == "noisy":
        more = _more(parabola, len(data.cost))
        word = "noisy" if more else "flat"
    if word == "flat":
        best = span[0]
    return Finding(
        measure=measure,
        word=word,
        method=method,
        why=why,
        data=data,
        quadratic=parabola,
        process=curve,
        range_n=span,
        end_kinds=kinds,
        end_rules=rules,
        best_n=best,
        interval_n=interval,
        shared=shared_error([t.tension for t in trials]),
        outliers=_outliers(method, data),
        seen=_seen(parabola, len(data.cost)),
        more=more,
    )


def _data(measure: Measure, index: int, trials: Sequence[Trial]) -> Data:
    tensions = [t.tension for t in trials]
    values = [t.results[index] for t in trials]
    return Data(
        numbers=tuple(t.number for t in trials),
        tension_n=np.array([t.value for t in tensions]),
        result=np.array([np.nan if v is None else v for v in values], dtype=float),
        own_u_n=np.array(own_errors(tensions)),
        sign=-1.0 if measure.goal == "larger" else 1.0,
    )


def _check(measure: Measure, data: Data) -> None:
    count = len(data.numbers)
    if count < FEWEST_TRIALS:
        few = "1 trial is" if count == 1 else f"{count} trials are"
        raise CannotTell(
            f"{measure.name}: {few} too few to tell; make {FEWEST_TRIALS} at "
            f"{FEWEST_LEVELS} tensions at least, twelve are better"
        )
    low, high = float(data.tension_n.min()), float(data.tension_n.max())
    own = float(np.median(data.own_u_n))
    found = max(levels(list(data.tension_n))) + 1 if high - low > max(2 * own, 0.0) else 1
    if found < FEWEST_LEVELS:
        what = "one tension" if found == 1 else f"{found} tensions"
        raise CannotTell(
            f"{measure.name}: all trials lie at {what} ({low:.1f} to {high:.1f} N); a best one "
            f"shows only against others: try {FEWEST_LEVELS} tensions at least"
        )
    if float(np.ptp(data.result)) == 0:
        raise CannotTell(
            f"{measure.name}: every result is {measure.value(float(data.result[0]))}, so it tells "
            "nothing of tension; measure it finer, or measure something else"
        )


def _choice(parabola: Quadratic, data: Data) -> tuple[Method, str]:
    """Return which curve is used, and why."""
    p = parabola.lack_of_fit_p
    if p is None and parabola.pure_dof:
        return "quadratic", (
            "quadratic: three tensions cannot tell a parabola from another curve; try a fourth"
        )
    if p is None:
        return "quadratic", (
            "quadratic: without repeats nothing can tell whether the curve is a parabola; repeat a "
            "tension in the middle"
        )
    ends = np.linspace(data.tension_n.min(), data.tension_n.max(), GRID)
    reach = float(np.ptp(parabola.value(ends)))
    if p < NOTHING_AGAINST:
        sure = "is no parabola" if p < SIGNIFICANT else "may be no parabola"
        return "gaussian process", (
            f"Gaussian process: the curve {sure} (lack of fit against the repeats, {p_words(p)}; "
            f"the quadratic is used above {NOTHING_AGAINST:g})"
        )
    if parabola.scatter > CLEAR * reach:
        return "gaussian process", (
            "Gaussian process: with this much scatter the repeats cannot tell a parabola from "
            f"another curve (s = {parabola.scatter:.3g} on a curve that spans {reach:.3g})"
        )
    return "quadratic", (
        f"quadratic: the repeats say nothing against a parabola (lack of fit {p_words(p)}), "
        f"curvature {p_words(parabola.curvature_p)}"
    )


def p_words(p: float) -> str:
    """Return a probability as it is told; what is smaller than LEAST_P says no more."""
    return f"p = {p:.2g}" if p >= LEAST_P else f"p < {LEAST_P:g}"


def _process(parabola: Quadratic, data: Data) -> TensionProcess:
    """Return the Gaussian process, its noise known from the repeats."""
    spread = float(np.ptp(data.cost))
    share, dof = 1.0, parabola.dof
    if parabola.pure_scatter is not None and parabola.pure_dof >= FEW_REPEATS:
        share = parabola.pure_scatter**2 * float(np.mean(parabola.weights))
        dof = parabola.pure_dof
    variances = np.maximum(share / np.array(parabola.weights), (LEAST * spread) ** 2)
    return process(list(data.tension_n), list(data.cost), list(variances), dof)


def _range(
    data: Data, field: Field
) -> tuple[tuple[float, float], tuple[EndKind, EndKind], tuple[str, str]]:
    """Return the window as far as it was tried, and what binds at its ends."""
    low, high = float(data.tension_n.min()), float(data.tension_n.max())
    if high <= field.low_n or low >= field.high_n:
        raise CannotTell(
            f"the trials lie from {low:.1f} to {high:.1f} N, outside the window of "
            f"{field.low_n:.1f} to {field.high_n:.1f} N: nothing can be recommended from them"
        )
    near = SAME_LEVEL * field.width_n
    kinds: list[EndKind] = [field.low_kind, field.high_kind]
    rules = [field.low_rule, field.high_rule]
    if low > field.low_n + near:
        kinds[0], rules[0] = "tried", "the lowest tension tried"
    if high < field.high_n - near:
        kinds[1], rules[1] = "tried", "the highest tension tried"
    span = (max(low, field.low_n), min(high, field.high_n))
    return span, (kinds[0], kinds[1]), (rules[0], rules[1])


# --- the word -----------------------------------------------------------------------------------


def _costs(curve: Floats, measure: Measure) -> Floats:
    """Return what is to be small, from a fitted curve."""
    return curve if measure.target is None else np.abs(curve - measure.target)


def _judge(
    measure: Measure,
    method: Method,
    parabola: Quadratic,
    curve: TensionProcess | None,
    span: tuple[float, float],
) -> tuple[Word, float, tuple[float, float] | None]:
    """Return the word, the best tension and its interval."""
    grid = np.linspace(*span, GRID)
    draws, middle = _drawn(method, parabola, curve, grid)
    costs = _costs(draws, measure)
    best = _surest(grid, _named_by(method, measure, curve, grid, costs))
    if method == "quadratic" and measure.target is None:
        word, interval = _by_fieller(parabola, grid)
        vertex = parabola.vertex_n
        best = vertex if word == "optimum" and vertex is not None else best
        gate = parabola.trend_p
    else:
        word, interval = _by_draws(costs, grid)
        best = best if interval is None else float(np.clip(best, *interval))
        gate = min(parabola.trend_p, _one_if_none(parabola.between_p))
    if gate > SIGNIFICANT:
        return "noisy", best, None
    if word == "hump":
        ends = _costs(middle[[0, -1]], measure)
        return word, span[int(np.argmin(ends))], None
    if word in ("upper edge", "lower edge"):
        edge = span[1] if word == "upper edge" else span[0]
        near = abs(best - edge) <= SNAP * (span[1] - span[0])
        return word, edge if near else best, None
    return word, best, interval if word == "optimum" else None


def _named_by(
    method: Method, measure: Measure, curve: TensionProcess | None, grid: Floats, costs: Floats
) -> Floats:
    """Return the drawn curves that name a tension; a wanted value need not lie in a valley."""
    if method == "quadratic" or measure.target is not None:
        return costs
    assert curve is not None
    return curve.both_at(grid)


def _one_if_none(p: float | None) -> float:
    return 1.0 if p is None else p


def _by_fieller(parabola: Quadratic, grid: Floats) -> tuple[Word, tuple[float, float] | None]:
    found = parabola.interval()
    if found is not None and found[0] > grid[0] and found[1] < grid[-1]:
        return "optimum", found
    slope, u = parabola.slopes(grid)
    t = student_quantile(1 - TAIL, parabola.dof)
    falls, rises = bool((slope < -t * u).any()), bool((slope > t * u).any())
    if falls and rises:
        return "hump", None
    if falls or rises:
        return "upper edge" if falls else "lower edge", None
    return "noisy", None


def _drawn(
    method: Method, parabola: Quadratic, curve: TensionProcess | None, grid: Floats
) -> tuple[Floats, Floats]:
    """Return drawn curves, shape (draws, grid), and the middle one."""
    if method == "gaussian process":
        assert curve is not None
        return curve.draws_at(grid), curve.value(grid)
    rng = np.random.default_rng(SEED)
    shift = rng.multivariate_normal(np.zeros(3), np.array(parabola.covariance), DRAWS)
    wider = np.sqrt(parabola.dof / rng.chisquare(parabola.dof, DRAWS))
    z = parabola.z(grid)
    basis = np.stack([np.ones_like(z), z, z**2])
    middle = parabola.value(grid)
    return middle + (wider[:, None] * shift) @ basis, middle


def _by_draws(costs: Floats, grid: Floats) -> tuple[Word, tuple[float, float] | None]:
    at = np.argmin(costs, axis=1)
    low, high = float(np.mean(at == 0)), float(np.mean(at == len(grid) - 1))
    half = (grid[1] - grid[0]) / 2
    ends = np.quantile(grid[at], [TAIL, 1 - TAIL])
    if low < TAIL and high < TAIL:
        first, last = np.clip((ends[0] - half, ends[1] + half), grid[0], grid[-1])
        return "optimum", (float(first), float(last))
    if low < TAIL or high < TAIL:
        return "upper edge" if low < TAIL else "lower edge", None
    return "hump" if low + high > 1 - TAIL else "noisy", None


def _surest(grid: Floats, costs: Floats) -> float:
    """Return the tension at which most drawn curves lose little: `LITTLE` of their own range.

    Where a curve is steep on one side this lies a little to the other side of the lowest point:
    that is the safe side.
    """
    least, most = costs.min(axis=1, keepdims=True), costs.max(axis=1, keepdims=True)
    little = costs - least <= LITTLE * (most - least)
    share = np.convolve(np.pad(little.mean(axis=0), 1, mode="edge"), [0.25, 0.5, 0.25], "valid")
    return float(grid[int(np.argmax(share))])


# --- beside the word ----------------------------------------------------------------------------


def _seen(parabola: Quadratic, count: int) -> float:
    """Return the difference between two thirds of the trials that is seen 8 times in 10."""
    t = student_quantile(1 - TAIL, parabola.dof) + student_quantile(0.8, parabola.dof)
    return float(t * parabola.scatter * np.sqrt(2 / (count / 3)))


def _more(parabola: Quadratic, count: int) -> int:
    """Return how many more trials would tell what these hint at; 0 if they hint at nothing.

    F grows with the number of trials; where it stands now is known from its tail probability.
    """
    p = parabola.trend_p
    if p > HINT:
        return 0
    from scipy.special import fdtri

    now = float(fdtri(2, parabola.dof, 1 - p))
    needed = float(fdtri(2, parabola.dof, 1 - SIGNIFICANT))
    return int(np.clip(np.ceil(count * (needed / max(now, TINY) - 1)), 3, MOST_MORE))


def _outliers(method: Method, data: Data) -> tuple[Outlier, ...]:
    """Return trials that stand apart: studentised residual, 5 % shared among all trials."""
    design = _design(method, data)
    count, columns = design.shape
    dof = count - columns - 1
    if dof < 1:
        return ()
    basis, _ = np.linalg.qr(design)
    lever = np.sum(basis**2, axis=1)
    left = data.cost - basis @ (basis.T @ data.cost)
    square = float(left @ left)
    found = []
    for i in range(count):
        room = 1 - lever[i]
        if room < SIGNIFICANT:
            continue
        others = (square - left[i] ** 2 / room) / dof
        spread = np.sqrt(max(others, (TINY * float(np.ptp(data.cost))) ** 2) * room)
        off = float(left[i] / spread)
        if 2 * (1 - student_cdf(abs(off), dof)) * count < SIGNIFICANT:
            found.append(
                Outlier(data.numbers[i], float(data.tension_n[i]), float(data.result[i]), abs(off))
            )
    return tuple(found)


def _design(method: Method, data: Data) -> Floats:
    """Return what a trial is held against: the parabola, or a cubic where it is none."""
    bends = method == "gaussian process" and max(levels(list(data.tension_n))) >= CUBIC_FROM
    columns = 4 if bends else 3
    z = np.log(data.tension_n) if bends else data.tension_n
    z = (z - z.mean()) / np.ptp(z)
    return np.stack([z**power for power in range(columns)], axis=1)
