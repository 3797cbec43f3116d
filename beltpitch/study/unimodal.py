"""A curve with one valley: two straight lines and a rounded bend between them.

As belts do: below some tension the slack strand goes slack, the more the looser the belt; above it
drag grows with tension. Twelve trials seldom show that shape by themselves, so it stands beside the
Gaussian process, which may bend anywhere, and is weighed against it by the evidence
(`study_process`).

Model ``y = b0 + b1 x + b2 h(x)`` with ``h = (sqrt((x - k)^2 + w^2) - (x - k))/2`` and ``b2 >= 0``:
the bent hyperbola of Watts and Bacon (Technometrics 16, 1974; from memory). The bend k and its
width w are averaged over a grid, from sharp to as round as a parabola. The coefficients are
integrated in closed form under a wide normal prior, that of `b2` cut at zero. Nothing is assumed of
where the bend lies, how sharp it is or how steep the sides are.

Conventions: x from -1 to 1 over the range tried, results scaled to a spread of one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BENDS = 17  # places of the bend that are weighed, from end to end
WIDTHS = (0.1, 0.2, 0.4, 0.8)  # half the rounding, on the x of -1 to 1; levels stand 0.5 apart
HALF = 0.5  # of the prior of `b2` lies above zero


@dataclass(frozen=True, slots=True, eq=False)
class UnimodalCurve:
    """All bends weighed.

    Parameters
    ----------
    likely
        Logarithm of the evidence, averaged over the bends.
    weights
        Of each bend, shape (bends,).
    middle, covariance
        Of the coefficients before `b2` is cut at zero, shapes (bends, 3) and (bends, 3, 3).
    basis
        The three curves on the grid, shape (bends, grid, 3).
    """

    likely: float
    weights: Floats
    middle: Floats
    covariance: Floats
    basis: Floats

    def draws(self, count: int, wider: float, rng: np.random.Generator) -> Floats:
        """Return drawn curves, shape (count, grid), their spread widened by `wider`."""
        from scipy.special import ndtr, ndtri

        at = rng.choice(len(self.weights), size=count, p=self.weights)
        middle, covariance = self.middle[at], wider**2 * self.covariance[at]
        u = np.sqrt(covariance[:, 2, 2])
        root = np.linalg.cholesky(covariance)
        free = middle + np.einsum("nij,nj->ni", root, rng.standard_normal((count, 3)))
        bend = middle[:, 2] - u * ndtri(rng.uniform(size=count) * ndtr(middle[:, 2] / u))
        # a bend drawn above zero instead, and the other two moved as they hang on it
        moved = (bend - free[:, 2]) / u**2
        found = free + covariance[:, :, 2] * moved[:, None]
        return np.asarray(np.einsum("ngi,ni->ng", self.basis[at], found))


def turn(x: Floats, y: Floats, noise: Floats, grid: Floats, free: float) -> UnimodalCurve:
    """Return all bends weighed by trials.

    Parameters
    ----------
    x, y, noise
        Of each trial: place, result, variance of the result; shape (trials,).
    grid
        Places where curves are wanted.
    free
        Variance of the coefficients' prior.
    """
    from scipy.special import log_ndtr, logsumexp

    settings = [(k, w) for k in np.linspace(-1, 1, BENDS) for w in WIDTHS]
    rows = np.stack([_basis(x, k, w) for k, w in settings])
    weighed = rows / noise[:, None]
    covariance = np.linalg.inv(np.einsum("sni,snj->sij", weighed, rows) + np.eye(3) / free)
    middle = np.einsum("sij,snj,n->si", covariance, weighed, y)
    whole = np.diag(noise) + free * np.einsum("sni,smi->snm", rows, rows)
    _, size = np.linalg.slogdet(2 * np.pi * whole)
    miss = np.einsum("n,snm,m->s", y, np.linalg.inv(whole), y)
    above = log_ndtr(middle[:, 2] / np.sqrt(covariance[:, 2, 2])) - np.log(HALF)
    likely = above - (miss + size) / 2
    total = float(logsumexp(likely))
    return UnimodalCurve(
        likely=total - float(np.log(len(settings))),
        weights=np.exp(likely - total),
        middle=middle,
        covariance=covariance,
        basis=np.stack([_basis(grid, k, w) for k, w in settings]),
    )


def _basis(x: Floats, bend: float, width: float) -> Floats:
    off = x - bend
    return np.stack([np.ones_like(x), x, (np.hypot(off, width) - off) / 2], axis=1)
