"""Propagation of distributions: laws it must obey, and what it refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, Part
from calibration.intervals import TENSION, Case, covered
from calibration.monte_carlo import Spread, check, propagate, strand_tension

X = Estimate.single(10.0, 1.0, name="x", key="x")


def test_a_linear_model_keeps_mean_and_doubt() -> None:
    found = propagate(lambda x: 3 * x, [X])
    assert found.mean == pytest.approx(30.0, abs=0.03)
    assert found.u == pytest.approx(3.0, rel=0.01)
    assert found.interval() == pytest.approx((30 - 5.88, 30 + 5.88), abs=0.06)
    assert found.shortest() == pytest.approx(found.interval(), abs=0.25)


@pytest.mark.parametrize(
    ("shape", "half"), [("rectangular", 0.95 * math.sqrt(3)), ("arcsine", 1.4098)]
)
def test_shapes_keep_u_and_have_their_own_interval(shape: str, half: float) -> None:
    # half-widths of 95 % of a rectangle, and of the arcsine law, sqrt 2 sin(0.95 pi/2)
    found = propagate(lambda x: x, [X], shapes={"x": shape})  # type: ignore[dict-item]
    assert found.u == pytest.approx(1.0, rel=0.01)
    assert found.interval() == pytest.approx((10 - half, 10 + half), abs=0.01)


def test_few_degrees_of_freedom_are_students() -> None:
    few = Estimate.single(10.0, 1.0, name="x", key="x", dof=4)
    low, high = propagate(lambda x: x, [few]).interval()
    assert (high - low) / 2 == pytest.approx(2.776, rel=0.02)


def test_equal_keys_are_one_draw() -> None:
    twin = Estimate(5.0, (Part("x", "x", -1.0), Part("y", "y", 1.0)))
    found = propagate(lambda a, b: a + b, [X, twin])
    assert found.u == pytest.approx(1.0, rel=0.01)  # only y is left


def test_the_same_seed_tells_the_same() -> None:
    one, two = (propagate(lambda x: x, [X], trials=2000, seed=7) for _ in range(2))
    assert one.interval() == two.interval()
    assert propagate(lambda x: x, [X], trials=2000, seed=8).interval() != one.interval()


def test_shortest_of_a_skew_spread_is_shorter() -> None:
    skew = Spread(np.sort(np.random.default_rng(1).exponential(size=50_000)))
    low, high = skew.shortest()
    assert (low, high) == pytest.approx((0.0, 2.996), abs=0.06)  # -ln 0.05
    assert high - low < skew.interval()[1] - skew.interval()[0]


def test_a_square_of_a_doubtful_number_is_not_linear() -> None:
    wide = Estimate.single(1.0, 0.3, name="x", key="x")
    linear = Estimate.single(1.0, 0.6, name="x", key="x")
    result = check(linear, propagate(lambda x: x**2, [wide]))
    assert not result.agree
    assert result.tolerance == pytest.approx(0.005)
    narrow = Estimate.single(1.0, 1e-3, name="x", key="x")
    first = Estimate.single(1.0, 2e-3, name="x", key="x")
    assert check(first, propagate(lambda x: x**2, [narrow])).agree


def test_what_has_no_answer_is_refused() -> None:
    with pytest.raises(RequestError, match="10 trials tell no interval"):
        propagate(lambda x: x, [X], trials=10)
    with pytest.raises(RequestError, match="of 2000 trials have no answer"):
        propagate(lambda x: np.where(x > 12, np.nan, x), [X], trials=2000)


def test_a_stiffness_drawn_below_zero_counts_as_none() -> None:
    tones = np.array([66.3, 66.3])
    found = strand_tension(np.array(12.6e-3), np.array(0.4), tones, np.array([-1e-4, 0.0]))
    assert found[0] == found[1] == pytest.approx(TENSION)


def test_both_intervals_hold_about_what_they_say_where_the_mass_rules() -> None:
    found = covered(Case(0.10, 0.003, 3), trials=300)
    assert 0.92 <= found.linear <= 0.98
    assert 0.92 <= found.spread <= 0.98


def test_two_plucks_alone_are_too_few_for_the_linear_interval() -> None:
    found = covered(Case(0.005, 0.01, 2), trials=300)
    assert found.linear < 0.94 < found.spread
