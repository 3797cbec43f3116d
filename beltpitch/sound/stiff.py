"""The stiff series laid through fitted partials: mode 1 and B, with their uncertainties.

(f_n / n)^2 = f_s^2 + (f_s^2 B) n^2 is linear in f_s^2 and f_s^2 B: generalised least squares with
the full covariance of the fit. What the partials scatter about it beyond that covariance is added
as a relative misplacement of each, as large as it must be (the consensus method of Mandel & Paule,
Anal. Chem. 42, 1194, 1970).

Conventions: mode 1 is ``f_s sqrt(1 + B)``; B is never negative.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from beltpitch.sound.block import Samples
from beltpitch.sound.evidence import Candidate
from beltpitch.sound.fit import Fit
from beltpitch.sound.series import STIFFNESS_SCALE

OFF_STEPS = 24
LEAST_OFF, OFF_FACTOR = 2e-6, 1.6  # relative misplacements that are tried
CHI_DOUBT = 2.0  # standard deviations of chi squared
ENOUGH_TO_SPARE = 5  # partials: four that agree outvote one
LINES_U = 0.003  # relative: twice what real partials lie off their series
SERIES_NEEDS = 2  # partials for two unknowns
# What the model leaves out, relative: held ends move the partials off the stiff series, and the
# glide of each partial depends on how the motion is shared, which is known to a tenth.
MODEL_U = 1.5e-4
GLIDE_MODEL_U = 0.1


@dataclass(frozen=True, slots=True)
class Mode:
    """Mode 1 and B; B is None where one partial alone was fitted."""

    frequency_hz: float
    frequency_u_hz: float
    inharmonicity: float | None
    inharmonicity_u: float | None


def laid_through(found: Fit, string_hz: float) -> Mode:
    """Lay the series through the partials of a fit.

    Parameters
    ----------
    found
        At least one partial.
    string_hz
        About where f_s is; it scales the prior on B.
    """
    n = found.number
    square = (found.frequency_hz / n) ** 2
    jacobian = 2 * found.frequency_hz / n**2
    covariance = jacobian[:, None] * found.covariance * jacobian
    prior = np.diag([0.0, (string_hz**2 * STIFFNESS_SCALE) ** -2.0])
    fits = _fitting(n, square, covariance, prior)
    n, square, covariance = n[fits], square[fits], covariance[np.ix_(fits, fits)]
    solution, inverse, chi = _laid(n, square, covariance, prior)
    free = max(1, len(n) - SERIES_NEEDS)
    off = LEAST_OFF
    for _ in range(OFF_STEPS):
        if chi <= _bearable(free) or len(n) <= SERIES_NEEDS:
            break
        wider = covariance + np.diag((2 * off * square) ** 2)
        solution, inverse, chi = _laid(n, square, wider, prior)
        off *= OFF_FACTOR
    f = math.sqrt(float(solution.sum()))
    u = math.sqrt(float(inverse.sum())) / (2 * f)
    u = math.hypot(u, f * math.hypot(MODEL_U, GLIDE_MODEL_U * found.glide))
    if len(n) < SERIES_NEEDS:
        return Mode(f, u, None, None)
    b_u = math.sqrt(float(inverse[1, 1])) / float(solution[0])
    return Mode(f, u, float(solution[1] / solution[0]), b_u)


def _bearable(free: int) -> float:
    """Chi squared that chance may make of so many degrees of freedom."""
    return free + CHI_DOUBT * math.sqrt(2.0 * free)


def _fitting(n: Samples, square: Samples, covariance: Samples, prior: Samples) -> list[int]:
    """Return the partials to be used: all, or all but the one that alone spoils the series."""
    every = list(range(len(n)))
    if len(n) < ENOUGH_TO_SPARE or _laid(n, square, covariance, prior)[2] <= _bearable(
        len(n) - SERIES_NEEDS
    ):
        return every
    without = [[k for k in every if k != one] for one in every]
    chi = [_laid(n[w], square[w], covariance[np.ix_(w, w)], prior)[2] for w in without]
    best = int(np.argmin(chi))
    return without[best] if chi[best] <= _bearable(len(n) - 1 - SERIES_NEEDS) else every


def from_lines(candidate: Candidate) -> Mode:
    """Return mode 1 as the peaks of the spectrum alone have it."""
    f = candidate.frequency_hz
    return Mode(f, LINES_U * f, None, None)


def _laid(
    n: Samples, square: Samples, covariance: Samples, prior: Samples
) -> tuple[Samples, Samples, float]:
    """Return (f_s^2, f_s^2 B), their covariance and chi squared."""
    design = np.stack([np.ones_like(n), n**2], axis=1)
    weight = np.linalg.inv(covariance)
    inverse: Samples = np.asarray(np.linalg.inv(design.T @ weight @ design + prior), np.float64)
    solution = inverse @ (design.T @ (weight @ square))
    if solution[1] < 0:  # at its bound: the slope's doubt stays, its pull does not
        solution = np.array([float((weight @ square).sum() / weight.sum()), 0.0])
    left = square - design @ solution
    return solution, inverse, float(left @ weight @ left)
