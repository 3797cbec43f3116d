"""The tension to try next, and what it is expected to teach.

Where an optimum is known by a parabola: the trial that narrows its interval most, reckoned from the
design alone (a further row of the normal equations). Elsewhere: the trial after which the tension
named is most likely to be as good as the best. Its outcome is imagined from the drawn curves, which
are weighed by it: one step ahead, as in the knowledge gradient of Frazier, Powell and Dayanik 2008.
Beside it stands the expected improvement over the best mean at a tried tension, EI = (m - mu)
Phi(z) + s phi(z) (Mockus 1978; Jones, Schonlau and Welch 1998; the mean, not the luckiest reading,
for m). The largest EI alone taught little on simulated machines: it tries the best again. Where the
best lies at the end of what was tried and the window goes on: there. Never outside the window.

Conventions: newtons; results in the user's unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beltpitch.study.judgement import LITTLE, TAIL, Finding
from beltpitch.study.quadratic import vertex_u
from beltpitch.study.trials import Field
from beltpitch.uncertainty import student_quantile

Floats = NDArray[np.float64]
Reals = NDArray[np.floating[Any]]

ON_BEYOND = 0.25  # of the range tried: how far to go on beyond it
OUTCOMES = 60  # of a trial that are imagined at each place
STEP = 3  # places tried on the grid: every third
SEED = 11
TOLD = 0.01  # of the curve's range: a smaller improvement is not worth a word
WORTH = 0.01  # of a chance: a trial that raises it by less teaches hardly anything
NARROWER = 0.95  # an interval that a trial leaves wider than this share is as good as known


@dataclass(frozen=True, slots=True)
class Next:
    """What to try next.

    Parameters
    ----------
    tension_n
        The tension; None where nothing more is to be learnt in the window.
    trials
        How many cuts there.
    teaches
        What it is expected to teach, in words.
    expected_improvement
        Of the result, in its unit; None where it was not reckoned.
    half_width_n
        Half of the optimum's interval now and after the trial; None where it was not reckoned.
    """

    tension_n: float | None
    trials: int
    teaches: str
    expected_improvement: float | None = None
    half_width_n: tuple[float, float] | None = None


def next_trial(finding: Finding, field: Field) -> Next:
    """Return the tension to try next."""
    if finding.word in ("upper edge", "lower edge"):
        return _at_edge(finding, field)
    if finding.word == "flat":
        return Next(
            None,
            0,
            "nothing more within this window: a finer measure of the cut would teach more than "
            "more cuts",
        )
    if finding.method == "gaussian process" and finding.measure.target is None:
        return _telling(finding) or Next(
            finding.best_n, 1, "hardly more than is known: the tension named is as good as the best"
        )
    return _narrowing(finding)


def _at_edge(finding: Finding, field: Field) -> Next:
    upper = finding.word == "upper edge"
    if finding.end_kinds[1 if upper else 0] != "tried":
        edge = finding.range_n[1 if upper else 0]
        if finding.process is not None and finding.measure.target is None:
            inside = _telling(finding)
            if inside is not None:
                return inside
        if finding.best_n != edge:
            return Next(edge, 2, "whether it goes on getting better towards the edge, or turns")
        return Next(
            edge,
            1,
            "whether the best found comes out again; the window ends there, so nothing lies beyond",
        )
    step = ON_BEYOND * (finding.range_n[1] - finding.range_n[0])
    at = min(finding.range_n[1] + step, field.high_n)
    if not upper:
        at = max(finding.range_n[0] - step, field.low_n)
    return Next(float(at), 2, "whether it turns there: the window goes on beyond what was tried")


# --- a narrower interval ------------------------------------------------------------------------


def _narrowing(finding: Finding) -> Next:
    """Return the trial that narrows the interval of the vertex most."""
    if finding.measure.target is not None and finding.word == "optimum":
        return _confirmed(finding)
    parabola = finding.quadratic
    grid = finding.grid()
    z = parabola.z(grid)
    rows = np.stack([np.ones_like(z), z, z**2], axis=1)
    inverse = np.linalg.inv(np.array(parabola.covariance))
    weight = float(np.mean(parabola.weights))
    count = max(1, finding.more)
    if parabola.b[2] <= 0:
        return _hinted(finding)
    widths = []
    for row in rows:
        after = np.linalg.inv(inverse + count * weight * np.outer(row, row))
        widths.append(_half_width(finding, after, parabola.dof + count))
    best = int(np.argmin(widths))
    now = _half_width(finding, np.array(parabola.covariance), parabola.dof)
    if finding.word == "noisy":
        return _hinted(finding)
    words = f"narrows the interval of the optimum from +/- {now:.2g} to +/- {widths[best]:.2g} N"
    if widths[best] > NARROWER * now:
        words += ": hardly worth a cut"
    return Next(float(grid[best]), 1, words, half_width_n=(now, float(widths[best])))


def _confirmed(finding: Finding) -> Next:
    """Return the tension at which a wanted value is met, to be tried."""
    at = np.array([finding.best_n])
    now, value = float(finding.curve_u(at)[0]), finding.measure.value
    after = now * finding.quadratic.scatter / np.hypot(now, finding.quadratic.scatter)
    words = (
        "whether the wanted value is met there; the doubt of the curve falls from "
        f"{value(now, 2)} to {value(float(after), 2)}"
    )
    return Next(finding.best_n, 1, words)


def _half_width(finding: Finding, covariance: Reals, dof: int) -> float:
    parts = (covariance[1, 1], covariance[1, 2], covariance[2, 2])
    u = vertex_u(finding.quadratic.b[1], finding.quadratic.b[2], parts)
    return float(student_quantile(1 - TAIL, dof) * u * finding.quadratic.half_n)


def _hinted(finding: Finding) -> Next:
    """Return where more trials would tell, for results that only hint at something."""
    best = finding.best_n
    return Next(
        best,
        finding.more or 2,
        "whether what these trials hint at is there: the scatter hides it so far",
    )


# --- a better result ----------------------------------------------------------------------------


def expected_improvement(mean: Floats, u: Floats, best: float) -> Floats:
    """Return by how much a curve is expected to lie below `best`, where it lies below it."""
    normal = NormalDist()
    z = (best - mean) / np.maximum(u, np.finfo(float).tiny)
    tail = np.array([normal.cdf(float(v)) for v in z])
    density = np.array([normal.pdf(float(v)) for v in z])
    return np.asarray(np.maximum((best - mean) * tail + u * density, 0.0))


def chances(costs: Floats, noise: float, seed: int = SEED) -> tuple[float, Floats]:
    """Return the chance that the tension named loses little, now and after a trial at each place.

    Drawn curves are weighed by how well they agree with an outcome that one of them, with noise,
    would give; over many such outcomes the chance is averaged.

    Parameters
    ----------
    costs
        Drawn curves, shape (draws, grid).
    noise
        Scatter of one trial.
    seed
        Of the outcomes.

    Returns
    -------
    now, after
        A share, and shares of shape (grid,).
    """
    rng = np.random.default_rng(seed)
    least, most = costs.min(axis=1, keepdims=True), costs.max(axis=1, keepdims=True)
    little = (costs - least <= LITTLE * (most - least)).astype(float)
    truths = rng.integers(len(costs), size=OUTCOMES)
    off = noise * rng.standard_normal(OUTCOMES)
    after = np.empty(costs.shape[1])
    for at in range(costs.shape[1]):
        seen = costs[truths, at] + off
        weights = np.exp(-(((seen[:, None] - costs[None, :, at]) / noise) ** 2) / 2)
        named = (weights @ little) / weights.sum(axis=1, keepdims=True)
        after[at] = named.max(axis=1).mean()
    return float(little.mean(axis=0).max()), after


def _telling(finding: Finding) -> Next | None:
    """Return the trial after which the tension named is most likely to lose little.

    None where no trial makes that more likely than it is.
    """
    curve = finding.process
    assert curve is not None
    grid = finding.grid()[::STEP]
    now, after = chances(curve.both_at(grid), curve.scatter)
    at = int(np.argmax(after))
    tried = np.clip(finding.data.tension_n, *finding.range_n)
    best = float(curve.value(tried).min())
    gain = float(expected_improvement(curve.value(grid), curve.u_at(grid), best)[at])
    words = (
        f"the chance that the tension named is as good as the best (within {LITTLE:.0%} of the "
        f"range) rises from {now:.0%} to {float(after[at]):.0%}"
    )
    if gain > TOLD * float(np.ptp(curve.mean)):
        gained = finding.measure.value(gain, 2)
        words += f"; an improvement of {gained} is expected over the best so far"
    if float(after[at]) - now < WORTH:
        return None
    return Next(float(grid[at]), max(1, finding.more), words, gain)
