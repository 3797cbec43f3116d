"""What trials are said to have shown: optimum, edge, flat, noisy; what they share, and why."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from beltpitch.advice.axis import Layout
from beltpitch.advice.duty import Motion, linear_demand
from beltpitch.errors import CannotTell, RequestError
from beltpitch.study.design import planned, shares
from beltpitch.study.judgement import Finding, learn
from beltpitch.study.study import Study, as_json, study
from beltpitch.study.trials import Field, Measure, Trial, Trials, levels, own_errors, shared_error
from beltpitch.uncertainty import Estimate, Part

LEVELS = np.repeat([20.0, 30, 40, 50, 60], [2, 2, 4, 2, 2])
# scatter that is the same at every level, so that nothing speaks against a parabola
PAIRED = np.array([0.8, -0.8, 0.7, -0.7, 0.9, -0.9, 0.6, -0.6, 0.7, -0.7, 0.8, -0.8])
NOISE = np.random.default_rng(11).normal(0, 1, 12)
WINDOW = Field(20, 60, "seating minimum", "allowable", "seating", "allowable")
ERROR = Measure("size error", "um")


def tension(newtons: float, number: int, shared: float = 0.03, own: float = 0.005) -> Estimate:
    parts = (
        Part("linear mass", "roll:x", shared * newtons),
        Part("plucks", f"pluck@{number}", own * newtons),
    )
    return Estimate(newtons, parts)


def trials(
    results: np.ndarray | list[float], tensions: np.ndarray = LEVELS, measure: Measure = ERROR
) -> Trials:
    every = tuple(
        Trial(i + 1, (tension(float(t), i),), (float(y),))
        for i, (t, y) in enumerate(zip(tensions, results, strict=True))
    )
    return Trials("y", (measure,), every)


def found(
    results: np.ndarray | list[float],
    tensions: np.ndarray = LEVELS,
    measure: Measure = ERROR,
    field: Field = WINDOW,
) -> Finding:
    made = trials(results, tensions, measure)
    return learn(measure, 0, made.of(0), field)


def answer(results: np.ndarray, measure: Measure = ERROR, field: Field = WINDOW) -> Study:
    return study(trials(results, measure=measure), field)


# ---------------------------------------------------------------- the words


def test_a_parabola_has_an_optimum_and_says_why_the_quadratic_was_used() -> None:
    made = answer(12 + 0.05 * (LEVELS - 38) ** 2 + PAIRED)
    one = made.answers[0]
    assert one.finding.word == "optimum"
    assert one.finding.method == "quadratic"
    assert one.finding.interval_n is not None
    low, high = one.finding.interval_n
    assert 34 < low < 38 < high < 42
    assert made.chosen_n == pytest.approx(38, abs=2)
    assert "size error is best at" in one.sentence
    assert "say nothing against a parabola" in one.notes[0]


def test_a_knee_is_no_parabola_and_the_gaussian_process_finds_it() -> None:
    tensions = np.repeat(np.arange(20.0, 61.0, 5.0), 2)
    knee = np.where(tensions < 34, 34 - tensions, 0.15 * (tensions - 34))
    one = found(knee + 0.3 * np.resize(PAIRED, 18), tensions)
    assert one.method == "gaussian process"
    assert "is no parabola" in one.why
    assert one.word == "optimum"
    assert one.interval_n is not None
    assert one.interval_n[0] < 34 + 1 < one.interval_n[1]
    # the parabola alone would have gone astray, which is why it was not used
    assert one.quadratic.vertex_n is not None
    assert one.quadratic.vertex_n > one.best_n + 3


@pytest.mark.parametrize(
    ("slope", "word", "words"),
    [
        (
            -0.5,
            "upper edge",
            "still falling at the upper edge, 60.0 N, which is the allowable: stop",
        ),
        (0.5, "lower edge", "still falling at the lower edge, 20.0 N, which seats the teeth: stay"),
    ],
)
def test_a_result_still_falling_at_an_edge_is_said_so(slope: float, word: str, words: str) -> None:
    made = answer(40 + slope * LEVELS + NOISE)
    assert made.answers[0].finding.word == word
    assert words in made.answers[0].sentence
    assert made.chosen_n == (60 if slope < 0 else 20)
    assert made.answers[0].finding.interval_n is None


def test_flat_takes_the_lower_and_says_what_would_have_shown() -> None:
    quiet = np.array([20.3, 19.8, 20.1, 19.9, 20.2, 19.7, 20.0, 20.1, 19.9, 20.2, 20.1, 19.9])
    made = answer(quiet)
    assert made.answers[0].finding.word == "flat"
    assert "is flat between 20.0 and 60.0 N" in made.answers[0].sentence
    assert "take the lower for the bearings' sake" in made.answers[0].sentence
    assert made.answers[0].finding.seen == pytest.approx(0.4, abs=0.2)
    assert made.chosen_n == 20
    assert made.answers[0].next.tension_n is None


def test_too_noisy_says_how_many_more_and_where() -> None:
    one = answer(20 + 0.02 * (LEVELS - 40) ** 2 + 5 * PAIRED).answers[0]
    assert one.finding.word == "noisy"
    assert 3 <= one.finding.more <= 12
    assert f"{one.finding.more} more at {one.finding.best_n:.1f} N would" in one.sentence
    assert one.next.trials == one.finding.more


def test_a_hump_has_no_optimum() -> None:
    one = found(60 - 0.05 * (LEVELS - 38) ** 2 + NOISE)
    assert one.word == "hump"
    assert one.interval_n is None
    assert one.best_n == 60


def test_larger_is_better_mirrors_smaller() -> None:
    curve = 12 + 0.05 * (LEVELS - 38) ** 2 + 0.5 * NOISE
    small = found(curve)
    large = found(-curve, measure=Measure("stiffness", "N/mm", "larger"))
    assert large.word == small.word
    assert large.best_n == pytest.approx(small.best_n)
    assert float(large.curve(np.array([38.0]))[0]) == pytest.approx(
        -float(small.curve(np.array([38.0]))[0])
    )


def test_a_wanted_value_is_found_where_the_curve_meets_it() -> None:
    one = found(0.5 * (LEVELS - 35) + 0.7 * NOISE, measure=Measure("size", "um", "target", 0.0))
    assert one.word == "optimum"
    assert one.best_n == pytest.approx(35, abs=2)
    assert one.interval_n is not None
    assert one.interval_n[0] < 35 < one.interval_n[1]
    far = found(0.5 * LEVELS + 0.7 * NOISE, measure=Measure("size", "um", "target", 99.0))
    assert far.word == "upper edge"


def test_nothing_is_recommended_outside_the_window() -> None:
    window = Field(30, 50, "chosen", "allowable", "chosen", "allowable")
    beyond = found(0.05 * (LEVELS - 58) ** 2 + 0.5 * NOISE, field=window)
    assert beyond.word == "upper edge"
    assert beyond.best_n <= 50
    assert beyond.range_n == pytest.approx((30, 50))
    with pytest.raises(CannotTell, match="outside the window"):
        found(NOISE, field=Field(70, 90))


def test_an_edge_that_is_only_the_last_one_tried_sends_further() -> None:
    tensions = 20 + (LEVELS - 20) * 0.5
    made = study(trials(40 - 0.8 * tensions + 0.5 * NOISE, tensions), WINDOW)
    one = made.answers[0]
    assert one.finding.word == "upper edge"
    assert "end of what was tried, 40.0 N; the window goes on: try beyond it" in one.sentence
    assert one.next.tension_n == pytest.approx(45)


# ---------------------------------------------------------------- bad input, one line each


@pytest.mark.parametrize(
    ("tensions", "results", "words"),
    [
        (np.full(6, 30.0), np.arange(6.0), "all trials lie at one tension"),
        (np.repeat([20.0, 40.0], 3), np.arange(6.0), "all trials lie at 2 tensions"),
        (np.linspace(20, 60, 6), np.full(6, 12.0), "every result is 12 um, so it tells nothing"),
        (np.array([20.0, 40, 60]), np.arange(3.0), "3 trials are too few"),
        (np.array([20.0]), np.arange(1.0), "1 trial is too few"),
    ],
)
def test_what_cannot_tell_is_one_line(
    tensions: np.ndarray, results: np.ndarray, words: str
) -> None:
    with pytest.raises(CannotTell, match=words) as caught:
        study(trials(results, tensions), WINDOW)
    assert "\n" not in caught.value.message


def test_one_measure_that_cannot_be_judged_does_not_hide_the_other() -> None:
    both = (ERROR, Measure("skipped steps"))
    curve = 12 + 0.05 * (LEVELS - 38) ** 2 + 0.5 * NOISE
    every = tuple(
        Trial(i + 1, (tension(float(t), i),), (float(y), 0.0))
        for i, (t, y) in enumerate(zip(LEVELS, curve, strict=True))
    )
    made = study(Trials("y", both, every), WINDOW)
    assert [a.finding.measure.name for a in made.answers] == ["size error"]
    assert made.refused[0][0] == "skipped steps"


def test_an_outlier_is_named_and_left_in() -> None:
    curve = 12 + 0.05 * (LEVELS - 38) ** 2 + 0.5 * NOISE
    spoilt = curve.copy()
    spoilt[5] += 15
    made = answer(spoilt)
    one = made.answers[0]
    assert [o.number for o in one.finding.outliers] == [6]
    assert len(one.finding.data.numbers) == 12
    notes = " ".join(one.notes)
    assert "trial 6" in notes
    assert "it was left in" in notes
    assert "without it: size error is best at" in notes
    assert answer(curve).answers[0].finding.outliers == ()


# ---------------------------------------------------------------- whose error it is


def test_what_the_readings_share_shifts_the_axis_and_is_not_scatter() -> None:
    tensions = [tension(t, i, shared=0.03, own=0.005) for i, t in enumerate(LEVELS)]
    assert shared_error(tensions).u == pytest.approx(0.03)
    assert own_errors(tensions) == pytest.approx(0.005 * LEVELS)
    curve = 12 + 0.05 * (LEVELS - 38) ** 2 + 0.5 * NOISE
    one = found(curve)
    assert one.interval_n is not None
    assert one.whole_interval_n is not None
    own, whole = np.ptp(one.interval_n) / 2, np.ptp(one.whole_interval_n) / 2
    assert whole == pytest.approx(math.hypot(own, 1.96 * 0.03 * one.best_n), rel=0.05)
    exact = [
        Trial(i + 1, (Estimate(t),), (float(y),))
        for i, (t, y) in enumerate(zip(LEVELS, curve, strict=True))
    ]
    alone = learn(ERROR, 0, exact, WINDOW)
    assert alone.interval_n == pytest.approx(one.interval_n, abs=0.25)
    assert alone.whole_interval_n == pytest.approx(alone.interval_n)


def test_an_own_error_of_tension_weighs_where_the_curve_is_steep() -> None:
    from beltpitch.study.quadratic import quadratic

    curve = 12 + 0.05 * (LEVELS - 40) ** 2 + 0.5 * NOISE
    weights = np.array(quadratic(list(LEVELS), list(curve), [1.0] * 12).weights)
    assert weights[0] < 0.5 * weights[5]


def test_repeats_are_told_by_their_nearness() -> None:
    assert levels([20.3, 30.1, 19.8, 40.0, 30.4, 59.5, 60.4]) == (0, 1, 0, 2, 1, 3, 3)


# ---------------------------------------------------------------- several measures, a pair


def several(first: np.ndarray, second: np.ndarray) -> Study:
    every = tuple(
        Trial(i + 1, (tension(float(t), i),), (float(a), float(b)))
        for i, (t, a, b) in enumerate(zip(LEVELS, first, second, strict=True))
    )
    return study(Trials("y", (ERROR, Measure("noise", "dB")), every), WINDOW)


def test_measures_that_disagree_are_said_to() -> None:
    made = several(
        12 + 0.05 * (LEVELS - 30) ** 2 + 0.5 * NOISE, 60 + 0.05 * (LEVELS - 50) ** 2 + 0.5 * NOISE
    )
    assert made.chosen_n is None
    assert "they disagree: size error is best at" in made.agreement
    assert "worse than its best" in made.agreement


def test_measures_that_agree_share_a_tension() -> None:
    made = several(12 + 0.05 * (LEVELS - 38) ** 2 + PAIRED, 60 + 0.05 * (LEVELS - 38) ** 2 - PAIRED)
    assert made.chosen_n == pytest.approx(39, abs=1.5)
    assert made.agreement.startswith("they agree: ")


def test_a_little_difference_is_no_disagreement() -> None:
    made = several(
        12 + 0.05 * (LEVELS - 37) ** 2 + PAIRED / 4, 60 + 0.05 * (LEVELS - 40) ** 2 - PAIRED / 4
    )
    assert made.agreement.startswith("they differ by little")
    assert made.chosen_n == pytest.approx(38.5, abs=0.7)


def test_two_belts_of_a_gantry_count_by_their_mean_and_their_mismatch_is_told() -> None:
    curve = 12 + 0.05 * (LEVELS - 38) ** 2 + 0.5 * NOISE
    every = tuple(
        Trial(i + 1, (tension(t * 1.08, i), tension(t * 0.92, 50 + i)), (float(y),))
        for i, (t, y) in enumerate(zip(LEVELS, curve, strict=True))
    )
    made = study(Trials("y", (ERROR,), every), WINDOW)
    assert made.answers[0].finding.data.tension_n == pytest.approx(LEVELS)
    assert any("match the pair first" in words for words in made.notes)


def test_trials_chosen_by_earlier_ones_are_said_to_narrow_the_interval() -> None:
    made = trials(12 + 0.05 * (LEVELS - 38) ** 2 + PAIRED)
    assert study(made, WINDOW).notes == ()
    *first, last = made.trials
    later = Trials("y", made.measures, (*first, replace(last, planned=False)))
    (words,) = study(later, WINDOW).notes
    assert words.startswith("trial 12: chosen by what the earlier ones showed")
    assert "too sure of itself" in words
    record = as_json(study(later, WINDOW))
    assert [t["planned"] for t in record["trials"]] == [True] * 11 + [False]
    aside = Trials("y", made.measures, (*first, replace(last, planned=False, left_out=True)))
    assert study(aside, WINDOW).notes == ("left out by you: trial 12",)


# ---------------------------------------------------------------- next, why, plan, JSON


def test_the_next_trial_narrows_the_interval_and_says_by_how_much() -> None:
    one = answer(12 + 0.05 * (LEVELS - 38) ** 2 + PAIRED).answers[0]
    assert one.finding.method == "quadratic"
    assert one.next.half_width_n is not None
    now, after = one.next.half_width_n
    assert 0.5 * now < after < now
    assert one.next.tension_n is not None
    assert 20 <= one.next.tension_n <= 60


def test_after_a_knee_the_next_trial_is_where_improvement_is_expected() -> None:
    knee = np.where(LEVELS < 34, 34 - LEVELS, 0.15 * (LEVELS - 34)) + NOISE
    one = answer(knee).answers[0]
    assert one.next.expected_improvement is not None
    assert one.next.expected_improvement > 0
    assert one.next.tension_n is not None
    assert 30 < one.next.tension_n < 44


def test_the_mechanics_say_where_the_strand_goes_slack_and_what_a_reversal_loses() -> None:
    layout = Layout(2.4, 0.15, 0.9)
    demand = linear_demand(
        "fixed", Motion(mass_kg=4, acceleration_m_per_s2=3, friction_n=6, process_force_n=18),
        layout=layout,
    )  # fmt: skip
    lost = Measure("lost motion", "um")
    knee = np.where(LEVELS < 34, 5 * (34 - LEVELS), 0.3 * (LEVELS - 34)) + 95 + NOISE
    made = study(trials(knee, measure=lost), WINDOW, demand=demand, layout=layout, ea_n=437.5e3)
    assert made.expected is not None
    # by hand: (12 + 18 + 6) N, of which the slack strand loses 2250/2400 at the end of the travel
    assert made.expected.slack_n == pytest.approx(36 * 2250 / 2400)
    # softest where both strands are most alike: at 1050 mm of 2400
    k = 437.5e3 * (1 / 1.05 + 1 / 1.35)
    assert made.expected.lost_m == pytest.approx(2 * 6 / k)
    said = " ".join(made.answers[0].compared)
    assert "where the slack strand goes slack: as belts do" in said
    assert "most of it is something else" in said
    give = dict(made.expected.give_m)
    assert give[20.0] > give[60.0] == pytest.approx(36 / k)


def test_a_plan_has_five_levels_repeats_in_the_middle_and_a_random_order() -> None:
    made = planned(WINDOW, 12, seed=3)
    tensions = [p.tension_n for p in made]
    assert sorted(tensions) == sorted(LEVELS)
    assert tensions != sorted(tensions)
    assert [p.order for p in made] == list(range(1, 13))
    assert planned(WINDOW, 12, seed=3) == made
    assert planned(WINDOW, 12, seed=4) != made
    assert shares(3, 5) == (1, 3, 1) or sum(shares(3, 5)) == 5
    with pytest.raises(RequestError, match="a study takes 5 to 60"):
        planned(WINDOW, 4)


def test_the_record_is_json_with_every_key() -> None:
    made = answer(12 + 0.05 * (LEVELS - 38) ** 2 + NOISE)
    record = json.loads(json.dumps(as_json(made), allow_nan=False))
    flat = as_json(answer(np.abs(NOISE) + 10))
    assert set(record) == set(flat)
    assert set(record["measures"][0]) == set(flat["measures"][0])
    assert record["measures"][0]["shared_by"] == ["linear mass"]
