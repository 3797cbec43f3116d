"""A curve that need be no parabola: a Gaussian process with known noise (scikit-learn).

The axis is the root of tension, x from -1 to 1 over the range tried: a belt changes more between
20 and 30 N than between 50 and 60 N, as its tone does. The prior is a parabola in x with free
coefficients plus what departs from it: ``100 (1 + x x')^2 + a^2 Matern(5/2, l)``, results scaled to
a spread of one. The noise is known from the repeats. Height and length of the departure are not
fitted to one value, which few trials cannot tell, but averaged over a small grid by their marginal
likelihood (Rasmussen and Williams 2006, section 5.2).

The interval of the best tension comes from drawn curves: where each has its lowest point. Their
spread is widened by Student's over the normal quantile, for the noise is known from few repeats.
The draws are the same each time.

Beside them stand curves with one valley, as belts have (`study_turn`): as many of all draws as the
evidence gives them, even odds before the trials. They help to name a tension, where they cost a
twentieth of the range less often; the interval is the process's alone, which knows less. Where the
scatter hides the shape they are left out: there they did harm.

Conventions: tables have shape (grid,); smaller is better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beltpitch.study.unimodal import UnimodalCurve, turn
from beltpitch.uncertainty import student_quantile

Floats = NDArray[np.float64]

GRID = 61  # points from end to end of the range
DRAWS = 1000
SEED = 20260301
UPPER = 0.975  # the upper end of a 95 % interval
FREE = 100.0  # variance of the parabola's coefficients, results of spread one: as good as free
HEIGHTS = (0.2, 0.4, 1.0)  # standard deviation of the departure, results of spread one
LENGTHS = (0.5, 1.0, 2.0)  # of the departure, on the x of -1 to 1
ROUNDING = 1e-6  # variance added so that rounding leaves the covariance positive
CLEAR = 0.14  # of the curve's own range: with more scatter trials do not tell its shape
LIGHT = 0.005  # settings of the prior with less weight are passed over


@dataclass(frozen=True, slots=True, eq=False)
class TensionProcess:
    """A curve with its doubt, as a table over the range.

    Parameters
    ----------
    tension_n, mean, u
        The table; `u` is of the curve, not of a new trial.
    draws
        Curves drawn, shape (draws, grid).
    both
        The same with curves of one valley among them, weighed by the evidence.
    scatter
        Of one trial, taken as known.
    """

    tension_n: Floats
    mean: Floats
    u: Floats
    draws: Floats
    both: Floats
    scatter: float

    def value(self, tension_n: float | Sequence[float] | Floats) -> Floats:
        """Return the curve at tensions inside the range."""
        return np.asarray(np.interp(tension_n, self.tension_n, self.mean))

    def u_at(self, tension_n: float | Sequence[float] | Floats) -> Floats:
        """Return its standard uncertainty there."""
        return np.asarray(np.interp(tension_n, self.tension_n, self.u))

    def draws_at(self, tension_n: Floats) -> Floats:
        """Return the drawn curves there, shape (draws, len(tension_n))."""
        return self._at(self.draws, tension_n)

    def both_at(self, tension_n: Floats) -> Floats:
        """Return the same with the curves of one valley among them."""
        return self._at(self.both, tension_n)

    def _at(self, draws: Floats, tension_n: Floats) -> Floats:
        step = float(self.tension_n[1] - self.tension_n[0])
        at = np.clip((tension_n - self.tension_n[0]) / step, 0, GRID - 1)
        left = np.minimum(at.astype(int), GRID - 2)
        share = at - left
        found: Floats = (1 - share) * draws[:, left] + share * draws[:, left + 1]
        return found


def kernels() -> list[Any]:
    """Return the settings of the prior, as scikit-learn's kernels; nothing in them is fitted."""
    from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct, Matern

    parabola = ConstantKernel(FREE, "fixed") * DotProduct(1.0, "fixed") ** 2
    return [
        parabola + ConstantKernel(a**2, "fixed") * Matern(length, "fixed", nu=2.5)
        for a in HEIGHTS
        for length in LENGTHS
    ]


def scaled(tension_n: Sequence[float] | Floats, ends_n: tuple[float, float]) -> Floats:
    """Return x: the root of tension, -1 and 1 at the ends of the range tried."""
    low, high = np.sqrt(ends_n)
    found: Floats = (2 * np.sqrt(np.asarray(tension_n, dtype=float)) - low - high) / (high - low)
    return found


def process(
    tension_n: Sequence[float],
    results: Sequence[float],
    variances: Sequence[float],
    dof: float,
) -> TensionProcess:
    """Return the curve through trials, tabled from the lowest tension to the highest.

    Parameters
    ----------
    tension_n
        Of each trial, N.
    results
        Its result.
    variances
        Of each result about the curve, taken as known.
    dof
        Degrees of freedom they were learnt with.
    """
    from scipy.special import logsumexp
    from sklearn.gaussian_process import GaussianProcessRegressor

    y, noise = np.asarray(results, dtype=float), np.asarray(variances, dtype=float)
    centre, spread = float(y.mean()), float(y.std())
    ends = (min(tension_n), max(tension_n))
    tabled = np.linspace(*ends, GRID)
    x, grid = scaled(tension_n, ends)[:, None], scaled(tabled, ends)[:, None]
    wider = student_quantile(UPPER, dof) / student_quantile(UPPER, np.inf)
    fits = [
        GaussianProcessRegressor(kernel, alpha=noise / spread**2, optimizer=None).fit(
            x, (y - centre) / spread
        )
        for kernel in kernels()
    ]
    likely = np.array([fit.log_marginal_likelihood_value_ for fit in fits])
    weights = np.exp(likely - likely.max())
    weights /= weights.sum()
    weights[weights < LIGHT] = 0.0
    weights /= weights.sum()
    rng = np.random.default_rng(SEED)
    counts = rng.multinomial(DRAWS, weights)
    mean, square, draws = np.zeros(GRID), np.zeros(GRID), []
    for fit, weight, count in zip(fits, weights, counts, strict=True):
        if not weight:
            continue
        middle, covariance = fit.predict(grid, return_cov=True)
        mean += weight * middle
        square += weight * (np.diag(covariance) + middle**2)
        draws.append(middle + wider * _drawn(covariance, count, rng))
    every = both = np.concatenate(draws)
    scatter = float(np.sqrt(noise.mean()))
    if scatter <= CLEAR * spread * float(np.ptp(mean)):
        valley = turn(x[:, 0], (y - centre) / spread, noise / spread**2, grid[:, 0], FREE)
        both = _mixed(every, float(logsumexp(likely)) - np.log(len(likely)), valley, wider, rng)
    return TensionProcess(
        tension_n=tabled,
        mean=centre + spread * mean,
        u=spread * np.sqrt(np.maximum(square - mean**2, 0.0)),
        draws=centre + spread * every,
        both=centre + spread * both,
        scatter=scatter,
    )


def _mixed(
    every: Floats, likely: float, valley: UnimodalCurve, wider: float, rng: np.random.Generator
) -> Floats:
    """Return draws of the process, as many of them as the evidence says from the valleys."""
    from scipy.special import expit

    count = round(len(every) * float(expit(valley.likely - likely)))
    kept = every[rng.permutation(len(every))[count:]]
    return np.concatenate([kept, valley.draws(count, wider, rng)])


def _drawn(covariance: Floats, count: int, rng: np.random.Generator) -> Floats:
    """Return departures from the mean, shape (count, grid)."""
    root = np.linalg.cholesky(covariance + ROUNDING * np.eye(len(covariance)))
    found: Floats = rng.standard_normal((count, len(covariance))) @ root.T
    return found
