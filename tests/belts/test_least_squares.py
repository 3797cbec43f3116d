"""Least squares with errors in both variables: against closed forms, and what it refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltpitch.belts.least_squares import Array, Predict, Unknown, fit
from beltpitch.errors import CannotTell

X = np.array([0.0, 1.0, 2.0, 4.0, 7.0])
U = np.array([0.1, 0.2, 0.1, 0.3, 0.1])
Y = 2.0 + 0.5 * X + np.array([0.05, -0.1, 0.02, 0.3, -0.07])


def line(x: Array) -> Predict:
    def predict(p: Array) -> tuple[Array, Array]:
        return p[0] + p[1] * x, np.column_stack([np.ones_like(x), x])

    return predict


def test_a_straight_line_is_the_weighted_normal_equations() -> None:
    found = fit(line(X), Y, U, [Unknown("a", 0.0), Unknown("b", 1.0)])
    design = np.column_stack([np.ones_like(X), X]) / U[:, None]
    covariance = np.linalg.inv(design.T @ design)
    assert found.values == pytest.approx(covariance @ design.T @ (Y / U), rel=1e-9)
    assert found.covariance == pytest.approx(covariance, rel=1e-6)
    assert found.dof == 3
    assert found.leverage.sum() == pytest.approx(2.0)  # trace of the hat matrix
    assert found.chi2 == pytest.approx(float((found.residuals**2).sum()))


def test_what_is_known_beforehand_weighs_like_one_more_row() -> None:
    free = fit(line(X), Y, U, [Unknown("a", 0.0), Unknown("b", 1.0)])
    known = fit(line(X), Y, U, [Unknown("a", 0.0), Unknown("b", 0.4, 0.02)])
    weights = [1 / free.u[1] ** 2, 1 / 0.02**2]
    assert known.values[1] == pytest.approx(np.average([free.values[1], 0.4], weights=weights))
    assert known.u[1] == pytest.approx(1 / math.sqrt(sum(weights)))
    assert known.dof == 4


def test_an_answer_is_what_the_unknown_does_when_a_row_moves() -> None:
    unknowns = [Unknown("a", 0.0), Unknown("b", 0.4, 0.02)]
    first = fit(line(X), Y, U, unknowns)
    moved = fit(line(X), Y + U * np.eye(5)[2], U, unknowns)
    assert moved.values - first.values == pytest.approx(first.by_rows[:, 2], abs=1e-9)
    shifted = fit(line(X), Y, U, [unknowns[0], Unknown("b", 0.42, 0.02)])
    assert shifted.values - first.values == pytest.approx(first.by_known[:, 1], abs=1e-9)


def test_an_exact_unknown_stays_and_has_no_doubt() -> None:
    found = fit(line(X), Y, U, [Unknown("a", 0.0), Unknown("b", 0.5, 0.0)])
    assert found.values[1] == 0.5
    assert found.u[1] == 0.0
    assert found.values[0] == pytest.approx(np.average(Y - 0.5 * X, weights=U**-2))


def test_a_bound_that_stops_an_unknown_is_said() -> None:
    found = fit(line(X), Y, U, [Unknown("a", 0.0), Unknown("b", 1.0, low=0.8, high=2.0)])
    assert found.values[1] == pytest.approx(0.8, abs=1e-3)
    assert found.on_bound.tolist() == [False, True]


def test_too_few_rows_are_refused() -> None:
    with pytest.raises(CannotTell, match="1 rows cannot tell a and b"):
        fit(line(X[:1]), Y[:1], U[:1], [Unknown("a", 0.0), Unknown("b", 1.0)])


def test_unknowns_that_the_rows_do_not_tell_apart_are_named() -> None:
    same = np.full(3, 2.0)
    with pytest.raises(CannotTell, match="do not tell offset and slope apart: use weights"):
        fit(
            line(same),
            np.array([1.0, 1.1, 0.9]),
            np.ones(3),
            [Unknown("offset", 0.0), Unknown("slope", 1.0)],
        )
