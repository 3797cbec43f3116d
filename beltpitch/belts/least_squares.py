"""Least squares with errors in both variables, with errors that several rows share.

Every input that is not exact (a weight, a length, a scale's own error) is fitted along with the
unknowns and held to what is known of it by one more residual ``(p - known)/u``. That is the method
of Deming (1943) and of orthogonal distance regression; York's (1966) fit of Pearson's data is one
of the tests. scipy.odr does the same for errors that stand alone, but knows neither an error that
rows share (one tape for all rows of a length) nor anything known beforehand, and it is being
retired. Hence a residual vector of our own and scipy's `least_squares` (trust region, bounds).

Conventions: residuals are in standard uncertainties. With J their Jacobian at the solution, the
unknowns answer to unit errors of the rows and of the known inputs by ``(J^T J)^-1 J^T``; an
`Estimate` is made of these answers, so what two unknowns share is kept.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beltpitch.errors import CannotTell

Array = NDArray[np.float64]
Predict = Callable[[Array], tuple[Array, Array]]

# Beyond this ratio of singular values a combination of unknowns leaves the rows as they are.
CONDITION_LIMIT = 1e9
TOLERANCE = 1e-11
MOST_STEPS = 300  # good tables need 5 to 30
ON_BOUND = 1e-3  # of its own standard uncertainty: the bound, not the data, stopped the unknown
MOSTLY = 0.3  # weight in the undetermined direction from which an unknown is named


@dataclass(frozen=True, slots=True)
class Unknown:
    """One quantity of a fit: free, known beforehand with a doubt, or exact.

    Parameters
    ----------
    name
        In words, for messages.
    start
        Where the search begins; the known value where `u` is finite.
    u
        Standard uncertainty of what is known beforehand: infinite where nothing is, 0 for exact.
    low, high
        Bounds of what makes sense.
    """

    name: str
    start: float
    u: float = math.inf
    low: float = -math.inf
    high: float = math.inf

    @property
    def scale(self) -> float:
        """A step that matters, for the search."""
        return self.u if math.isfinite(self.u) else abs(self.start) or 1.0


@dataclass(frozen=True, slots=True, eq=False)
class LeastSquaresFit:
    """A solution.

    Parameters
    ----------
    values
        The unknowns, in their order, exact ones included; shape (p,).
    residuals
        Observed minus predicted over u, shape (n,).
    leverage
        Share of its own residual that each row hides by pulling the fit, 0 to 1, shape (n,).
    by_rows
        Answer of each unknown to a unit error of each row, shape (p, n).
    by_known
        Answer of each unknown to a unit error of each known input, shape (p, p); columns of free
        and exact unknowns are 0.
    chi2, dof
        Sum of squares of all residuals, known inputs included, and rows less free unknowns.
    on_bound
        Which unknowns were stopped by a bound, shape (p,).
    """

    values: Array
    residuals: Array
    leverage: Array
    by_rows: Array
    by_known: Array
    chi2: float
    dof: int
    on_bound: NDArray[np.bool_]

    @property
    def covariance(self) -> Array:
        """Covariance matrix of the unknowns, shape (p, p)."""
        return self.by_rows @ self.by_rows.T + self.by_known @ self.by_known.T

    @property
    def u(self) -> Array:
        """Standard uncertainties, shape (p,)."""
        return np.sqrt(np.diag(self.covariance))


def fit(
    predict: Predict, observed: Array, u: Array, unknowns: Sequence[Unknown]
) -> LeastSquaresFit:
    """Fit `unknowns` so that `predict` meets `observed`.

    Parameters
    ----------
    predict
        Takes all unknowns, shape (p,); returns the rows, shape (n,), and their derivatives by the
        unknowns, shape (n, p).
    observed, u
        What was read and its standard uncertainty, shape (n,).
    unknowns
        In the order that `predict` takes them.

    Raises
    ------
    CannotTell
        If the rows do not determine the unknowns.
    """
    problem = _Problem(_remembering(predict), observed, u, tuple(unknowns))
    return problem.solve()


def _remembering(predict: Predict) -> Predict:
    """Return `predict` with its last answer kept: residuals and Jacobian are asked in turn."""
    last: list[tuple[bytes, tuple[Array, Array]]] = []

    def remembered(values: Array) -> tuple[Array, Array]:
        key = values.tobytes()
        if not last or last[0][0] != key:
            last[:] = [(key, predict(values))]
        return last[0][1]

    return remembered


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    predict: Predict
    observed: Array
    u: Array
    unknowns: tuple[Unknown, ...]

    def solve(self) -> LeastSquaresFit:
        from scipy.optimize import least_squares

        moving = self._moving()
        names = [self.unknowns[i].name for i in moving]
        if self._dof() < 0:
            raise CannotTell(
                f"{len(self.observed)} rows cannot tell {_listed(names)}: measure at more weights"
            )
        scale = self._column("scale")[moving]
        found = least_squares(
            self._residuals,
            self._column("start")[moving],
            jac=self._jacobian,
            bounds=(self._column("low")[moving], self._column("high")[moving]),
            x_scale=scale,
            ftol=TOLERANCE,
            xtol=TOLERANCE,
            gtol=TOLERANCE,
            max_nfev=MOST_STEPS,
        )
        if not found.success:
            raise CannotTell(
                "the fit finds no rest: a row is far from what any belt would do; check units, "
                "weights, lengths and mode numbers"
            )
        answer = _pseudo_inverse(self._jacobian(found.x) * scale, names) * scale[:, None]
        return self._described(found.x, answer)

    def _described(self, x: Array, answer: Array) -> LeastSquaresFit:
        n, p, moving = len(self.observed), len(self.unknowns), self._moving()
        known = self._known()
        residuals, jacobian = self._residuals(x), self._jacobian(x)
        by_rows, by_known = np.zeros((p, n)), np.zeros((p, p))
        by_rows[moving] = answer[:, :n]
        by_known[np.ix_(moving, known)] = answer[:, n:]
        u = np.sqrt((answer**2).sum(axis=1))
        low, high = self._column("low")[moving], self._column("high")[moving]
        on_bound = np.zeros(p, dtype=np.bool_)
        on_bound[moving] = np.minimum(x - low, high - x) < ON_BOUND * u
        leverage = -(jacobian[:n] * answer[:, :n].T).sum(axis=1)
        return LeastSquaresFit(
            values=self._all(x),
            residuals=residuals[:n],
            leverage=leverage,
            by_rows=by_rows,
            by_known=by_known,
            chi2=float(residuals @ residuals),
            dof=self._dof(),
            on_bound=on_bound,
        )

    def _column(self, name: str) -> Array:
        return np.array([getattr(x, name) for x in self.unknowns], dtype=np.float64)

    def _moving(self) -> list[int]:
        return [i for i, x in enumerate(self.unknowns) if x.u > 0]

    def _known(self) -> list[int]:
        return [i for i, x in enumerate(self.unknowns) if 0 < x.u < math.inf]

    def _dof(self) -> int:
        return len(self.observed) - len(self._moving()) + len(self._known())

    def _all(self, x: Array) -> Array:
        values = self._column("start")
        values[self._moving()] = x
        return values

    def _residuals(self, x: Array) -> Array:
        values, known = self._all(x), self._known()
        rows = (self.observed - self.predict(values)[0]) / self.u
        pulls = (self._column("start") - values)[known] / self._column("u")[known]
        return np.concatenate([rows, pulls])

    def _jacobian(self, x: Array) -> Array:
        moving, known = self._moving(), self._known()
        rows = -self.predict(self._all(x))[1][:, moving] / self.u[:, None]
        pulls = np.zeros((len(known), len(moving)))
        for row, i in enumerate(known):
            pulls[row, moving.index(i)] = -1 / self.unknowns[i].u
        return np.vstack([rows, pulls])


def _pseudo_inverse(jacobian: Array, names: Sequence[str]) -> Array:
    """Return the answer of the unknowns to unit errors of rows and known inputs.

    A residual is observed less predicted, so the answer is minus the pseudo-inverse of its
    Jacobian.
    """
    left, singular, right = np.linalg.svd(jacobian, full_matrices=False)
    if singular[-1] * CONDITION_LIMIT < singular[0]:
        loose = [name for name, c in zip(names, right[-1], strict=True) if abs(c) > MOSTLY]
        apart = " apart" if len(loose) > 1 else ""
        raise CannotTell(
            f"these rows do not tell {_listed(loose or names)}{apart}: use weights (or lengths) "
            "that differ more, or give what is known of it"
        )
    inverse: Array = -(right.T / singular) @ left.T
    return inverse


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
