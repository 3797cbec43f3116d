"""The robust line against least squares, against its own promises, and with one bad reading."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from beltpitch.store.robust_line import STATED_DOF, robust_line
from beltpitch.uncertainty import student_quantile

DAYS = [0.0, 20.0, 45.0, 60.0, 95.0, 130.0, 150.0, 185.0]


def u_of_slope(line: object, u: list[float]) -> float:
    weights, scatter = line.slope_weights, line.scatter  # type: ignore[attr-defined]
    return float(scatter * math.hypot(*(w * s for w, s in zip(weights, u, strict=True))))


def test_without_outliers_it_is_weighted_least_squares() -> None:
    u = [1.0, 2.0, 1.0, 1.0, 3.0, 1.0, 1.0, 2.0]
    rest = [0.3, -0.9, 0.2, -0.4, 1.1, 0.1, -0.3, 0.6]
    values = [40 - 0.02 * t + r for t, r in zip(DAYS, rest, strict=True)]
    line = robust_line(DAYS, values, u)
    slope, at_zero = np.polyfit(DAYS, values, 1, w=1 / np.array(u))
    assert line.outliers == ()
    assert line.slope == pytest.approx(slope, rel=1e-6)
    assert line.level == pytest.approx(at_zero + slope * DAYS[-1], rel=1e-9)


def test_slope_and_level_are_the_sums_they_say_they_are() -> None:
    rest = [0.3, -0.9, 8.0, -0.4, 1.1, 0.1, -0.3, 0.6]
    values = [40 - 0.02 * t + r for t, r in zip(DAYS, rest, strict=True)]
    line = robust_line(DAYS, values, [1.0] * 8)
    assert np.dot(line.slope_weights, values) == pytest.approx(line.slope)
    assert np.dot(line.level_weights, values) == pytest.approx(line.level)
    assert sum(line.slope_weights) == pytest.approx(0.0, abs=1e-12)
    assert np.dot(line.slope_weights, DAYS) == pytest.approx(1.0)
    assert sum(line.level_weights) == pytest.approx(1.0)


def test_one_bad_reading_hardly_bends_it_and_is_named() -> None:
    rest = [0.1, -0.2, 0.15, -0.1, 0.2, -0.15, 0.1, 0.0]
    values = [40 - 0.02 * t + r for t, r in zip(DAYS, rest, strict=True)]
    good = robust_line(DAYS, values, [0.2] * 8)
    values[6] -= 12.0
    bent = robust_line(DAYS, values, [0.2] * 8)
    plain = np.polyfit(DAYS, values, 1)[0]
    assert bent.outliers == (6,)
    assert abs(bent.slope - good.slope) < 0.15 * abs(plain - good.slope)


def test_its_uncertainty_goes_with_the_scatter_that_is_seen_not_with_the_one_stated() -> None:
    chance = random.Random(5)
    days = [float(t) for t in range(0, 400, 10)]
    values = [40 + chance.gauss(0, 1) for _ in days]
    right, modest = (u_of_slope(robust_line(days, values, [s] * 40), [s] * 40) for s in (1.0, 0.3))
    assert modest == pytest.approx(right, rel=0.15)


def test_two_readings_believe_what_they_state() -> None:
    line = robust_line([0.0, 10.0], [40.0, 39.0], [0.5, 0.5])
    assert line.slope == pytest.approx(-0.1)
    assert line.scatter == pytest.approx(1.0)
    assert u_of_slope(line, [0.5, 0.5]) == pytest.approx(math.hypot(0.05, 0.05))
    assert line.dof == math.inf


def test_the_dof_are_those_of_the_readings_and_of_the_statement() -> None:
    assert robust_line(DAYS, DAYS, [1.0] * 8).dof == 6 + STATED_DOF


@pytest.mark.parametrize("days", [[3.0], [3.0, 3.0, 3.0]])
def test_one_time_makes_no_line(days: list[float]) -> None:
    with pytest.raises(ValueError, match="two different times"):
        robust_line(days, days, [1.0] * len(days))


@pytest.mark.parametrize(
    ("wrong_by", "least", "most"), [(0.6, 94, 99.7), (1.0, 93, 98.5), (1.5, 91, 97)]
)
def test_the_true_slope_lies_inside_even_if_the_statement_is_wrong(
    wrong_by: float, least: float, most: float
) -> None:
    chance = random.Random(11)
    hits = count = 0
    for _ in range(250):
        n = chance.choice((5, 8, 12, 20))
        days = sorted(chance.uniform(0, 300) for _ in range(n))
        u = [chance.choice((1.0, 1.7)) for _ in range(n)]
        values = [
            40 - 0.01 * t + chance.gauss(0, s * wrong_by) for t, s in zip(days, u, strict=True)
        ]
        line = robust_line(days, values, u)
        half = student_quantile(0.975, line.dof) * u_of_slope(line, u)
        hits, count = hits + (abs(line.slope + 0.01) <= half), count + 1
    assert least <= 100 * hits / count <= most
