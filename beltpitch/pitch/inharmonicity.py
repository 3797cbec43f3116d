"""The stiff series laid through fitted partials: mode 1 and B, with their uncertainties.

(f_n / n)^2 = f_s^2 + (f_s^2 B) n^2 is linear in f_s^2 and f_s^2 B, so it is fitted by generalised
least squares with the full covariance of the partials. If the partials scatter more than that
covariance allows, each gets a relative misplacement just large enough to explain it (the consensus
method of Mandel & Paule, Anal. Chem. 42, 1194, 1970).

Conventions: mode 1 is ``f_s sqrt(1 + B)``; B is never negative.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from beltpitch.audio.block import Samples
from beltpitch.pitch.candidates import STIFFNESS_SCALE
from beltpitch.pitch.damped_fit import DampedFit
from beltpitch.pitch.likelihood import Candidate

OFF_STEPS = 24
LEAST_OFF, OFF_FACTOR = 2e-6, 1.6  # relative misplacements that are tried
# Standard deviations of chi squared: up to the first chance makes it, up to the second the whole
# covariance grows with it (Birge, Phys. Rev. 40, 207, 1932), beyond it partials lie off the series.
CHI_CHANCE, CHI_DOUBT = 1.0, 4.0
ENOUGH_TO_SPARE = 5  # partials: four that agree outvote one
ALONE_SPOILS = 0.8  # share of chi squared that one partial brings in, to be left out for it
LINGERS = 0.5  # of the slowest decay below it: what dies so slowly is none of them
LINGERS_DOUBT = 2.0  # standard uncertainties
LINES_U = 0.003  # relative: twice what real partials lie off their series
SERIES_NEEDS = 2  # partials for two unknowns
# What the model leaves out, relative: held ends move the partials off the stiff series, and the
# glide of each partial depends on how the motion is shared, which is known to a tenth.
MODEL_U = 1.5e-4
GLIDE_MODEL_U = 0.1


@dataclass(frozen=True, slots=True)
class Mode:
    """Mode 1 and B; B is None where one partial alone was fitted.

    ``agree`` is how many partials lie on one series within their uncertainties.
    """

    frequency_hz: float
    frequency_u_hz: float
    inharmonicity: float | None
    inharmonicity_u: float | None
    agree: int = 0


def laid_through(found: DampedFit, string_hz: float) -> Mode:
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
    fits = _fitting(_own(found), n, square, covariance, prior)
    n, square, covariance = n[fits], square[fits], covariance[np.ix_(fits, fits)]
    solution, inverse, chi = _laid(n, square, covariance, prior)
    free = max(1, len(n) - SERIES_NEEDS)
    agree = len(n) if chi <= _bearable(free) else 0
    off = LEAST_OFF
    for _ in range(OFF_STEPS):
        if chi <= _bearable(free) or len(n) <= SERIES_NEEDS:
            break
        wider = covariance + np.diag((2 * off * square) ** 2)
        solution, inverse, chi = _laid(n, square, wider, prior)
        off *= OFF_FACTOR
    inverse = inverse * max(1.0, chi / (free + CHI_CHANCE * math.sqrt(2.0 * free)))
    f = math.sqrt(float(solution.sum()))
    u = math.sqrt(float(inverse.sum())) / (2 * f)
    u = math.hypot(u, f * math.hypot(MODEL_U, GLIDE_MODEL_U * found.glide))
    if len(n) < SERIES_NEEDS:
        return Mode(f, u, None, None)
    b_u = math.sqrt(float(inverse[1, 1])) / float(solution[0])
    return Mode(f, u, float(solution[1] / solution[0]), b_u, agree)


def _bearable(free: int) -> float:
    """Chi squared that chance may make of so many degrees of freedom."""
    return free + CHI_DOUBT * math.sqrt(2.0 * free)


def _own(found: DampedFit) -> list[int]:
    """Return the partials but for those that linger: a peak of the noise does not die away.

    Higher partials die sooner (physics.md, section 2), but for some whose neighbours the frame
    drains; the frequency of one has the doubt of its decay (section 4).
    """
    doubt = LINGERS_DOUBT * 2 * np.pi * np.sqrt(np.diag(found.covariance))
    own: list[int] = []
    slowest = math.inf
    for k, (decay, u) in enumerate(zip(found.decay_per_s.tolist(), doubt.tolist(), strict=True)):
        if not own or decay >= LINGERS * slowest or decay + u >= slowest:
            own.append(k)
            slowest = min(slowest, decay)
    return own if len(own) >= ENOUGH_TO_SPARE - 1 else list(range(len(doubt)))


def _fitting(
    every: list[int], n: Samples, square: Samples, covariance: Samples, prior: Samples
) -> list[int]:
    """Return the partials to be used: those given, but for such as alone spoil the series."""

    def chi_of(kept: list[int]) -> float:
        return _laid(n[kept], square[kept], covariance[np.ix_(kept, kept)], prior)[2]

    kept, chi = every, chi_of(every)
    while len(kept) >= ENOUGH_TO_SPARE and chi > _bearable(len(kept) - SERIES_NEEDS):
        without = [[k for k in kept if k != one] for one in kept]
        left = [chi_of(w) for w in without]
        best = int(np.argmin(left))
        bearable = _bearable(len(kept) - 1 - SERIES_NEEDS)
        if left[best] > max(bearable, (1 - ALONE_SPOILS) * chi):
            break
        kept, chi = without[best], left[best]
    return kept


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
