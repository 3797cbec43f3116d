"""Estimates: whose error it is decides what cancels; Student's t against scipy."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from beltpitch.uncertainty import (
    Estimate,
    Part,
    combine,
    difference,
    mean,
    merged,
    ratio,
    rectangular,
    student_cdf,
    student_quantile,
    type_a,
)

sizes = st.floats(-1e3, 1e3).filter(lambda x: abs(x) > 1e-6)
keys = st.sampled_from(["roll", "tape", "clock", "left", "right"])
dofs = st.sampled_from([1.0, 4.0, 9.5, math.inf])
values = st.floats(1.0, 1e3)
part_lists = st.lists(st.builds(Part, st.just("line"), keys, sizes, dofs), max_size=6)
estimates = st.builds(lambda v, p: Estimate(v, tuple(p)), values, part_lists)


def single(value: float, u: float, key: str, dof: float = math.inf) -> Estimate:
    return Estimate.single(value, u, name=key, key=key, dof=dof)


# --- checks at birth ------------------------------------------------------------------------------


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_values_and_parts_must_be_finite(bad: float) -> None:
    with pytest.raises(ValueError, match="must be finite"):
        Estimate(bad)
    with pytest.raises(ValueError, match="must be finite"):
        Part("span", "tape", bad)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_degrees_of_freedom_must_be_positive(bad: float) -> None:
    with pytest.raises(ValueError, match="dof"):
        Part("span", "tape", 1.0, bad)


def test_an_exact_value_has_no_parts() -> None:
    exact = single(3.0, 0.0, "tape")
    assert exact.parts == ()
    assert (exact.u, exact.dof) == (0.0, math.inf)
    assert exact.interval() == (3.0, 3.0)
    assert exact.budget() == ()
    assert exact.probability_below(3.1) == 1.0
    assert exact.probability_below(2.9) == 0.0


# --- combination ----------------------------------------------------------------------------------


def test_independent_parts_add_in_square() -> None:
    both = combine(0.0, [(1.0, single(1, 3.0, "tape")), (-2.0, single(1, 2.0, "roll"))])
    assert both.u == pytest.approx(5.0)


def test_equal_keys_add_before_squaring() -> None:
    both = combine(0.0, [(1.0, single(1, 3.0, "tape")), (-1.0, single(1, 2.0, "tape"))])
    assert both.u == pytest.approx(1.0)
    square = combine(9.0, [(6.0, single(3, 0.1, "tape"))])
    product = combine(9.0, [(3.0, single(3, 0.1, "tape")), (3.0, single(3, 0.1, "tape"))])
    assert product.u == pytest.approx(square.u)  # L times L is L squared, not sqrt 2 less


def test_merging_keeps_the_first_name_and_the_fewest_dof() -> None:
    (one,) = merged([Part("ends", "k", 1.0, 9), Part("stiffness", "k", 2.0, 4)])
    assert one == Part("ends", "k", 3.0, 4)


@given(estimates)
def test_a_value_less_itself_is_exactly_nothing(x: Estimate) -> None:
    nothing = difference(x, x)
    assert nothing.value == 0
    assert nothing.u == pytest.approx(0, abs=1e-12)
    assert ratio(x, x).u == pytest.approx(0, abs=1e-9)


@given(estimates, estimates)
def test_difference_and_its_mirror(a: Estimate, b: Estimate) -> None:
    assert difference(a, b).u == pytest.approx(difference(b, a).u, rel=1e-12, abs=1e-12)
    assert difference(a, b).u <= (a.u + b.u) * (1 + 1e-12)


@given(estimates, values, values)
def test_what_two_belts_share_drops_out(shared: Estimate, one: float, other: float) -> None:
    left = combine(shared.value + one, [(1.0, shared), (1.0, single(one, 0.2, "mine"))])
    right = combine(shared.value + other, [(1.0, shared), (1.0, single(other, 0.3, "yours"))])
    assert difference(left, right).u == pytest.approx(math.hypot(0.2, 0.3), rel=1e-9)


@given(values, values, st.floats(0.001, 0.1))
def test_a_ratio_loses_what_is_shared_in_proportion(a: float, b: float, share: float) -> None:
    x, y = single(a, share * a, "roll"), single(b, share * b, "roll")
    assert ratio(x, y).u == pytest.approx(0, abs=1e-12 * a / b)


@given(estimates)
def test_a_mean_does_not_average_a_shared_error_away(x: Estimate) -> None:
    assert mean([x] * 7).u == pytest.approx(x.u, rel=1e-9)


def test_a_mean_averages_independent_errors() -> None:
    four = [single(10.0 + i, 1.0, f"pluck{i}") for i in range(4)]
    assert mean(four).value == 11.5
    assert mean(four).u == pytest.approx(0.5)


def test_mean_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="no estimates"):
        mean([])


@given(estimates, st.floats(-50, 50))
def test_scaling_scales_value_and_uncertainty(x: Estimate, factor: float) -> None:
    assert x.scaled(factor).value == factor * x.value
    assert x.scaled(factor).u == pytest.approx(abs(factor) * x.u, rel=1e-9, abs=1e-12)


@given(estimates)
def test_budget_accounts_for_the_whole_variance(x: Estimate) -> None:
    lines = x.budget()
    assert math.hypot(*(line.u for line in lines)) == pytest.approx(x.u, rel=1e-9, abs=1e-12)
    assert [line.u for line in lines] == sorted((line.u for line in lines), reverse=True)
    if x.u > 0:
        assert sum(line.share for line in lines) == pytest.approx(1)


def test_budget_lines_gather_names_and_keep_keys() -> None:
    x = Estimate(1.0, (Part("ends", "a", 3.0), Part("span", "t", 1.0), Part("ends", "b", 4.0)))
    first, second = x.budget()
    assert (first.name, first.keys) == ("ends", ("a", "b"))
    assert first.u == pytest.approx(5.0)
    assert second.share == pytest.approx(1 / 26)


def test_renaming_keeps_whose_error_it_is() -> None:
    x = Estimate(1.0, (Part("a", "roll", 3.0, 5), Part("b", "tape", 4.0)))
    assert [(p.name, p.key, p.dof) for p in x.renamed("linear mass").parts] == [
        ("linear mass", "roll", 5),
        ("linear mass", "tape", math.inf),
    ]


# --- degrees of freedom ---------------------------------------------------------------------------


def test_welch_satterthwaite() -> None:
    # GUM G.4.1: 5^4/(3^4/9 + 4^4/4)
    x = combine(0.0, [(1, single(0, 3.0, "a", 9)), (1, single(0, 4.0, "b", 4))])
    assert x.dof == pytest.approx(625 / (81 / 9 + 256 / 4))


@given(estimates, st.floats(1e-90, 1e90))
def test_degrees_of_freedom_do_not_depend_on_the_unit(x: Estimate, unit: float) -> None:
    if x.u > 1e-9:
        assert x.scaled(unit).dof == pytest.approx(x.dof, rel=1e-6)


def test_type_a() -> None:
    readings = [66.2, 66.4, 66.3, 66.7]
    x = type_a(readings, name="plucks", key="pluck")
    assert x.value == pytest.approx(np.mean(readings))
    assert x.u == pytest.approx(stats.sem(readings))
    assert x.dof == 3
    low, high = x.interval(0.95)
    referee = stats.t.interval(0.95, 3, loc=np.mean(readings), scale=stats.sem(readings))
    assert (low, high) == pytest.approx(referee, rel=1e-10)


def test_one_reading_has_no_scatter() -> None:
    with pytest.raises(ValueError, match="at least two readings, got 1"):
        type_a([66.0], name="plucks", key="pluck")


def test_rectangular_is_the_spread_of_a_flat_draw() -> None:
    assert rectangular(2.0) == pytest.approx(stats.uniform(-2.0, 4.0).std())


# --- Student's t ----------------------------------------------------------------------------------


@given(st.floats(-60, 60), st.integers(1, 400))
def test_student_cdf_against_scipy(t: float, dof: int) -> None:
    assume(abs(t) > 1e-4 or dof > 1)  # there scipy is off by up to 2e-9: see the next test
    assert student_cdf(t, dof) == pytest.approx(stats.t.cdf(t, dof), abs=1e-11)


@pytest.mark.parametrize("t", [1e-9, 6.65e-6, -1e-3, 2.0, -40.0])
def test_student_cdf_of_one_degree_of_freedom_is_cauchys(t: float) -> None:
    assert student_cdf(t, 1) == pytest.approx(0.5 + math.atan(t) / math.pi, abs=1e-15)


@pytest.mark.parametrize("p", [0.0005, 0.025, 0.05, 0.5, 0.84, 0.975, 0.995, 0.99995])
@pytest.mark.parametrize("dof", [1, 2, 3, 4, 5, 8, 16, 17, 50, 199, 1999])
def test_student_quantile_against_scipy(p: float, dof: int) -> None:
    assert student_quantile(p, dof) == pytest.approx(stats.t.ppf(p, dof), rel=1e-8, abs=1e-11)


def test_fractions_of_a_degree_are_cut_off() -> None:
    assert student_quantile(0.975, 8.99) == student_quantile(0.975, 8)  # GUM G.4.1
    assert student_quantile(0.975, 9 - 1e-12) == student_quantile(0.975, 9)  # rounding is no cut
    assert student_quantile(0.975, 0.4) == student_quantile(0.975, 1)


def test_many_degrees_are_the_normal() -> None:
    assert student_quantile(0.975, math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert student_cdf(-1.0, math.inf) == NormalDist().cdf(-1.0)
    # the step to the normal is small
    assert student_quantile(0.975, 2000) == pytest.approx(student_quantile(0.975, 2001), rel=1e-3)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, math.nan])
def test_impossible_probabilities_are_refused(p: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        student_quantile(p, 5)


@given(st.floats(0.001, 0.999), dofs)
def test_interval_and_probability_agree(p: float, dof: float) -> None:
    x = single(40.0, 2.0, "all", dof)
    low, high = x.interval(p)
    assert x.probability_below(high) - x.probability_below(low) == pytest.approx(p, abs=1e-9)
    assert x.probability_below(40.0) == pytest.approx(0.5)


# --- the distributions themselves (JCGM 101) where few degrees of freedom rule --------------------


@pytest.mark.parametrize(("few_u", "rest_u", "dof"), [(3.0, 1.0, 2), (1.0, 1.0, 2), (2.0, 1.0, 1)])
def test_the_convolved_interval_is_that_of_drawn_sums(
    few_u: float, rest_u: float, dof: float
) -> None:
    x = Estimate(5.0, (Part("plucks", "a", few_u, dof), Part("mass", "b", rest_u)))
    rng = np.random.default_rng(3)
    drawn = few_u * rng.standard_t(dof, 400_000) + rest_u * rng.standard_normal(400_000)
    low, high = x.propagated()
    assert high - 5 == pytest.approx(np.quantile(np.abs(drawn), 0.95), rel=0.02)
    assert low + high == pytest.approx(10.0)


def test_the_interval_is_chosen_by_who_rules() -> None:
    few = Estimate(0.0, (Part("plucks", "a", 2.0, 2), Part("mass", "b", 1.0)))
    assert few.ruled_by_few
    assert few.interval() == few.propagated()
    many = Estimate(0.0, (Part("plucks", "a", 2.0, 5), Part("mass", "b", 1.0)))
    little = Estimate(0.0, (Part("plucks", "a", 0.5, 2), Part("mass", "b", 1.0)))
    judged = Estimate(0.0, (Part("temperature", "a", 2.0, 2), Part("mass", "b", 1.0)))
    for x in (many, little, judged, Estimate(1.0)):
        assert not x.ruled_by_few
        half = student_quantile(0.975, x.dof) * x.u
        assert x.interval() == pytest.approx((x.value - half, x.value + half))
    assert Estimate(1.0).propagated() == (1.0, 1.0)


def test_the_choice_holds_what_it_says_in_repeated_trials() -> None:
    """Three plucks of their own scatter, twice the rest: the linear interval holds 92.7 %."""
    rng = np.random.default_rng(5)
    shown = np.geomspace(0.02, 12.0, 50)  # half-widths in between are read from these
    found = [Estimate(0.0, (Part("plucks", "a", s, 2), Part("mass", "b", 1.0))) for s in shown]
    used = [x.interval()[1] for x in found]
    plain = [student_quantile(0.975, x.dof) * x.u for x in found]
    trials = 20_000
    scatter = 2 * np.sqrt(rng.chisquare(2, trials) / 2)
    error = np.abs(2 * rng.standard_normal(trials) + rng.standard_normal(trials))
    assert np.mean(error <= np.interp(scatter, shown, plain)) < 0.935
    assert 0.945 < np.mean(error <= np.interp(scatter, shown, used)) < 0.965


def test_a_borrowed_scatter_is_covered_as_stated() -> None:
    """One pluck: its error is 0.3 % times Student's t with 4 degrees of freedom."""
    rng = np.random.default_rng(6)
    x = Estimate(0.0, (Part("plucks", "a", 1.0, 4), Part("mass", "b", 1.0)))
    error = np.abs(rng.standard_t(4, 100_000) + rng.standard_normal(100_000))
    assert np.mean(error <= x.interval()[1]) == pytest.approx(0.95, abs=0.003)
    assert np.mean(error <= student_quantile(0.975, x.dof) * x.u) < 0.935
