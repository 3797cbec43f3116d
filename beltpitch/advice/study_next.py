"""The tension to try next, and what it is expected to teach.

Where an optimum is known by a parabola: the trial that narrows its interval most, reckoned from the
design alone (a further row of the normal equations). Where the Gaussian process was used: the
largest expected improvement over the best mean at a tried tension, EI = (m - mu) Phi(z) + s phi(z)
(Mockus 1978; Jones, Schonlau and Welch 1998; with the mean, not the luckiest reading, for m as
the readings are noisy). Where the best lies at the end of what was tried and the window goes on:
there. Never outside the window.

Conventions: newtons; results in the user's unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beltpitch.advice.study_judge import TAIL, Finding
from beltpitch.advice.study_quadratic import vertex_u
from beltpitch.advice.study_trials import Field
from beltpitch.estimate import student_quantile

Floats = NDArray[np.float64]
Reals = NDArray[np.floating[Any]]

ON_BEYOND = 0.25  # of the range tried: how far to go on beyond it
WORTH = 0.01  # of the curve's range: expected improvement below it is none
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
        return _improvement(finding)
    return _narrowing(finding)


def _at_edge(finding: Finding, field: Field) -> Next:
    upper = finding.word == "upper edge"
    if finding.end_kinds[1 if upper else 0] != "tried":
        edge = finding.range_n[1 if upper else 0]
        if finding.process is not None and finding.measure.target is None:
            inside = _improvement(finding)
            if inside.tension_n != edge and (inside.expected_improvement or 0.0) > 0:
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


def _improvement(finding: Finding) -> Next:
    curve = finding.process
    assert curve is not None
    grid = finding.grid()
    mean, u = curve.value(grid), curve.u_at(grid)
    inside = np.clip(finding.data.tension_n, *finding.range_n)
    best = float(curve.value(inside).min())
    gain = expected_improvement(mean, u, best)
    at = int(np.argmax(gain))
    reach = float(np.ptp(mean))
    now = float(u[at])
    after = now * curve.scatter / np.hypot(now, curve.scatter)
    value = finding.measure.value
    words = (
        f"an improvement of {value(float(gain[at]), 2)} is expected over the best so far; the "
        f"doubt of the curve there falls from {value(now, 2)} to {value(float(after), 2)}"
    )
    if gain[at] < WORTH * reach:
        words = (
            f"hardly more than is known: an improvement of {value(float(gain[at]), 2)} is expected"
        )
    return Next(float(grid[at]), max(1, finding.more), words, float(gain[at]))
