"""The adjuster, step by step: direction, caution, learning, refusals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltpitch.advice import adjust
from beltpitch.advice.adjust import AdjustStep, Setup, ceiling
from beltpitch.advice.limits import SafeLimit
from beltpitch.advice.tensioner import Tensioner
from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, Part

EA = Estimate.single(2e4, 4e3, name="EA", key="belt")
IDLER = Tensioner("idler", 0.7e-3)
SETUP = Setup(IDLER, 1.4, EA, allowable_n=200)  # 20 N a turn by the catalogue


def next_step(
    setup: Setup,
    target_n: float,
    now: Sequence[Estimate],
    turned: Sequence[float] = (),
    within: float = 0.05,
    **options: Any,
) -> AdjustStep:
    return adjust.next_step(setup, target_n, now, turned, within=within, **options)


def reading(value: float, key: str = "r", mass: float = 0.03) -> Estimate:
    return Estimate(
        value, (Part("linear mass", "roll:x", mass * value), Part("plucks", key, 0.003 * value))
    )


def readings(*values: float) -> list[Estimate]:
    return [reading(v, f"r{i}") for i, v in enumerate(values)]


def test_too_slack_is_tightened_from_below_and_short_of_the_catalogues_turn() -> None:
    step = next_step(SETUP, 60, readings(30))
    assert step.action == "tighten"
    assert 0.5 < step.turns < 1.5  # 1.5 turns by the catalogue; a stiffer belt must not pass
    assert "flats of a hex screw" in step.says
    assert "to and fro three times" in step.says
    assert step.expected_n is not None
    low, middle, high = step.expected_n
    assert 30 < low < middle < high < 66


def test_a_known_screw_is_turned_all_the_way_at_once() -> None:
    known = Setup(IDLER, 1.4, EA, 200, Estimate.single(15, 0.4, name="rate", key="screw"))
    step = next_step(known, 60, readings(30))
    assert step.turns == pytest.approx(30 / 15, rel=0.1)


def test_the_second_step_uses_what_the_first_turn_did() -> None:
    soft = next_step(SETUP, 60, readings(30, 40), [1.0])  # half the catalogue
    stiff = next_step(SETUP, 90, readings(30, 60), [1.0])  # half as much again
    assert soft.rate is not None
    assert stiff.rate is not None
    assert soft.rate.value < 13
    assert stiff.rate.value > 26
    assert soft.ea is not None
    assert soft.ea.value == pytest.approx(soft.rate.value * 1000, rel=1e-6)  # EA = r L / (2 lead)
    scale = math.hypot(0.03, 0.003)  # linear mass and plucks of the readings
    assert soft.ea.u / soft.ea.value == pytest.approx(
        math.hypot(soft.rate.u / soft.rate.value, scale), rel=1e-6
    )
    assert "EA" in soft.notes[0]


def test_a_belt_far_from_its_catalogue_is_said_to_be() -> None:
    sure = Setup(IDLER, 1.4, Estimate.single(2e4, 1e3, name="EA", key="belt"), 200)
    step = next_step(sure, 80, readings(30, 40, 50), [1.0, 1.0])
    assert any("of the catalogue's EA: softer" in note for note in step.notes)


def test_on_target_it_is_left_alone() -> None:
    for now in (58.5, 60, 62.5):
        step = next_step(SETUP, 60, readings(now))
        assert (step.action, step.turns) == ("leave", 0.0)
        assert step.expected_n is None


def test_too_tight_is_let_off_below_the_target() -> None:
    step = next_step(SETUP, 60, readings(80))
    assert step.action == "loosen"
    assert step.turns < 0
    assert step.expected_n is not None
    assert 30 < step.expected_n[1] < 60
    assert "to come up to it again" in step.says


def test_slack_that_gives_no_tone_is_taken_up_first() -> None:
    step = next_step(SETUP, 60, [])
    assert step.action == "take up slack"
    assert "just gives a tone" in step.says


def test_one_idle_turn_is_slack_or_slip_and_two_are_a_reason_to_stop() -> None:
    once = next_step(SETUP, 60, readings(30, 30.3), [0.9])
    assert once.action == "tighten"
    assert "slack is still being taken up, or a clamp slips" in once.notes[0]
    assert once.ea is None  # a turn that did nothing tells no stiffness
    twice = next_step(SETUP, 60, readings(30, 30.3, 30.2), [0.9, 0.9])
    assert twice.action == "stop"
    for cause in ("clamp that slips", "stop", "creeps", "teeth"):
        assert cause in twice.says


def test_slack_then_grip_goes_on() -> None:
    step = next_step(SETUP, 60, readings(30, 30.3, 45), [0.9, 0.9])
    assert step.action == "tighten"
    assert step.rate is not None
    assert step.ea is not None


def test_a_tension_that_falls_on_tightening_stops_at_once() -> None:
    step = next_step(SETUP, 60, readings(30, 20), [1.0])
    assert step.action == "stop"
    assert "went the other way" in step.notes[0]


def test_a_change_too_small_to_be_told_is_no_idle_turn() -> None:
    step = next_step(SETUP, 60, readings(50, 50.2), [0.02])
    assert step.action == "tighten"
    assert not any("next to nothing" in n for n in step.notes)


def test_without_stiffness_the_first_turn_is_a_small_trial() -> None:
    unknown = Setup(IDLER, 1.4)
    step = next_step(unknown, 60, readings(30))
    assert step.turns == pytest.approx(5e-4 * 1.4 / 1.4e-3)
    assert step.rate is None
    after = next_step(unknown, 60, readings(30, 40), [0.5])
    assert after.rate is not None
    assert after.rate.value == pytest.approx(20, rel=0.3)
    assert next_step(unknown, 60, readings(90)).turns == pytest.approx(-0.5)


def test_no_step_may_pass_the_ceiling_even_for_a_much_stiffer_belt() -> None:
    near = Setup(IDLER, 1.4, EA, allowable_n=75)
    step = next_step(near, 65, readings(50))
    top = ceiling(near, readings(50))
    assert top is not None
    assert 50 + step.turns * 2 * 20 < top
    free = next_step(Setup(IDLER, 1.4, EA), 65, readings(50))
    assert step.turns < free.turns


@pytest.mark.parametrize(
    ("target", "values", "turned", "within", "said"),
    [
        (200, [30], [], 0.05, "not below the allowable strand tension of 200 N"),
        (190, [30], [], 0.05, "at most 183.4 N is safe; weigh the belt"),
        (-5, [30], [], 0.05, "target is -5 N"),
        (math.nan, [30], [], 0.05, "target is nan N"),
        (60, [30], [], 0.0, "a tolerance of 0% leaves no range"),
        (60, [30, 40], [], 0.05, "2 readings with 0 turns between them"),
        (60, [], [1.0], 0.05, "0 readings with 1 turns"),
        (60, [30, 40], [0.0], 0.05, "a turn of zero"),
        (60, [-30], [], 0.05, "zero or less is no reading"),
    ],
)
def test_a_request_that_cannot_be_served_is_refused(
    target: float, values: list[float], turned: list[float], within: float, said: str
) -> None:
    with pytest.raises(RequestError, match=said):
        next_step(SETUP, target, readings(*values), turned, within=within)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"loop_m": 0.0}, "belt loop is 0 m"),
        ({"loop_m": 1.0, "allowable_n": -1.0}, "allowable strand tension is -1 N"),
        ({"loop_m": 1.0, "ea": Estimate(0.0)}, "stiffness EA is 0 N"),
        ({"loop_m": 1.0, "known_rate": Estimate(-2.0)}, "rate of the screw is -2 N/turn"),
    ],
)
def test_a_setup_that_cannot_be_is_refused(given: dict[str, float], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        Setup(IDLER, **given)  # type: ignore[arg-type]


def test_cautions_come_with_every_turn() -> None:
    step = next_step(SETUP, 60, readings(30), pair=True, vertical=True)
    said = " ".join(step.cautions)
    for word in ("Power off", "spindle or laser", "Prop", "Block the axis", "eye", "square"):
        assert word in said
    level = next_step(SETUP, 60, readings(30), vertical=False)
    assert not any("Prop" in c for c in level.cautions)


def test_a_very_long_way_makes_one_look_at_the_inputs() -> None:
    long = Setup(Tensioner("clamp", 0.5e-3), 60.0, EA)
    step = next_step(long, 60, readings(30))
    assert "check that loop, thread and kind" in step.notes[-1]
    assert next_step(SETUP, 60, readings(30)).notes == ()


@given(
    st.lists(st.floats(1, 190), min_size=1, max_size=4),
    st.lists(st.floats(0.05, 3), min_size=3, max_size=3),
    st.lists(st.booleans(), min_size=3, max_size=3),
    st.floats(5, 180),
)
@settings(max_examples=40, deadline=None)
def test_whatever_was_read_the_advice_is_finite_and_goes_the_right_way(
    values: list[float], sizes: list[float], off: list[bool], target: float
) -> None:
    turned = [-t if o else t for t, o in zip(sizes, off, strict=True)][: len(values) - 1]
    step = next_step(SETUP, target, readings(*values), turned)
    assert math.isfinite(step.turns)
    assert (step.turns > 0) == (step.action == "tighten")
    assert (step.turns < 0) == (step.action == "loosen")
    if step.action == "tighten":
        assert values[-1] < target
    if step.action == "loosen":
        assert values[-1] > target
    top = ceiling(SETUP, readings(*values))
    assert top is not None
    if step.expected_n is not None and step.turns > 0:
        assert step.expected_n[2] <= max(top, values[-1]) + 1e-6


@given(st.floats(5, 38), st.floats(5, 39), st.floats(10, 120), st.floats(0.02, 0.2))
@settings(max_examples=40, deadline=None)
def test_no_step_leads_past_what_the_belt_may_carry(
    now: float, target: float, rate: float, within: float
) -> None:
    known = Estimate.single(rate, 0.2 * rate, name="rate", key="screw")
    limit = SafeLimit(39.3, "working", "the published working tension of this belt", "table")
    step = next_step(Setup(IDLER, 1.4, EA, None, known, limit), target, readings(now), (), within)
    if step.turns > 0:
        assert step.expected_n is not None
        assert step.expected_n[2] <= 39.3
