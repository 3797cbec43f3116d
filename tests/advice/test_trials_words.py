"""Sentences a study says in corners: other rules, humps, records that contradict themselves."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.errors import RequestError
from beltpitch.study.judgement import p_words
from beltpitch.study.next_trial import next_trial
from beltpitch.study.trials import Field, Measure, Trial, Trials
from beltpitch.uncertainty import Estimate
from tests.advice.test_trials_judged import LEVELS, NOISE, PAIRED, WINDOW, found, tension


def test_a_measure_says_what_is_wanted_of_it() -> None:
    assert Measure("noise", "dB").wanted == "smaller is better"
    assert Measure("size", "um", "target", 2.0).wanted == "2 um is wanted"
    assert Measure("steps").value(3.0) == "3"
    with pytest.raises(ValueError, match="go together"):
        Measure("size", "um", "target")


def test_a_probability_too_small_to_tell_is_not_told() -> None:
    assert p_words(0.0312) == "p = 0.031"
    assert p_words(1e-9) == "p < 0.001"


def test_an_edge_of_another_rule_is_named_by_it() -> None:
    from beltpitch.study.explanation import sentence

    shaft = Field(20, 60, "seating", "permitted radial load 250 N", "seating", "shaft")
    one = found(40 - 0.5 * LEVELS + NOISE, field=shaft)
    assert "60.0 N, permitted radial load 250 N: stop here" in sentence(one)


def test_at_the_end_of_the_window_nothing_lies_beyond() -> None:
    one = found(40 - 0.5 * LEVELS + 0.2 * NOISE)
    step = next_trial(one, WINDOW)
    assert step.tension_n is not None
    assert step.tension_n <= 60


def test_a_hump_is_followed_up_inside_the_window() -> None:
    one = found(60 - 0.05 * (LEVELS - 38) ** 2 + 0.5 * PAIRED)
    step = next_trial(one, WINDOW)
    assert step.tension_n is not None
    assert 20 <= step.tension_n <= 60


def test_a_trial_has_one_tension_or_two() -> None:
    with pytest.raises(RequestError, match="has 3 tensions"):
        Trial(1, (tension(20, 0), tension(20, 1), tension(20, 2)), (1.0,))
    with pytest.raises(RequestError, match="greater than zero"):
        Trial(1, (Estimate(0.0),), (1.0,))
    with pytest.raises(RequestError, match="has 2 results; the table has 1"):
        Trials("y", (Measure("a"),), (Trial(1, (tension(20, 0),), (1.0, 2.0)),))


def test_a_range_must_rise_from_above_zero() -> None:
    with pytest.raises(RequestError, match="has no room"):
        Field(60, 20)


def test_a_result_three_trials_share_is_still_judged_where_the_others_tell() -> None:
    curve = np.round(12 + 0.05 * (LEVELS - 38) ** 2)
    one = found(curve)
    assert one.word == "optimum"
    assert one.quadratic.scatter > 0.2  # not less than the rounding of the results


def test_a_trial_teaches_where_the_curves_part_and_nothing_where_they_agree() -> None:
    from beltpitch.study.next_trial import chances

    grid = np.linspace(-1, 1, 21)
    left, right = (grid + 0.6) ** 2, (grid - 0.6) ** 2
    costs = np.repeat([left, right], 50, axis=0)
    now, after = chances(costs, 0.2)
    assert now == pytest.approx(0.5)
    assert after[0] > 0.98
    assert after[-1] > 0.98
    assert after[10] == pytest.approx(0.5, abs=0.01)
    _, deaf = chances(costs, 50.0)
    assert deaf.max() < 0.6
