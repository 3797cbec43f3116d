"""The rate learnt from readings."""

from __future__ import annotations

import pytest

from beltpitch.advice.screw_rate import learn, scatter, took_hold
from beltpitch.uncertainty import Estimate, Part


def reading(value: float, key: str, own: float = 0.003, mass: float = 0.05) -> Estimate:
    parts = (
        Part("linear mass", "roll:x", mass * value),
        Part("plucks", key, own * value),
    )
    return Estimate(value, parts)


def test_play_is_lost_on_starting_and_on_every_change_of_direction() -> None:
    held, gap = took_hold([1.0, 1.0, -0.5, -0.5, 1.0], 0.2)
    assert held == pytest.approx([0, 0.8, 1.8, 1.5, 1.0, 1.8])
    assert gap == pytest.approx(0.2)
    assert took_hold([0.1, 0.05], 0.2)[0] == [0, 0, 0]


def test_what_all_readings_share_does_not_blur_the_rate() -> None:
    pair = [reading(20, "a"), reading(40, "b")]
    assert scatter(pair) == pytest.approx([0.338, 0.430], rel=0.01)
    blurred, clear = (
        learn([reading(20, "a", mass=m), reading(40, "b", mass=m)], [1.0], 20, 0.35).rate.u
        for m in (0.2, 0.0)
    )
    assert blurred == pytest.approx(clear, rel=1e-6)


def test_before_any_turn_the_catalogue_is_believed_with_its_spread() -> None:
    rate = learn([reading(20, "a")], [], 20, 0.35).rate
    assert rate.value == pytest.approx(20, rel=0.01)
    assert rate.u == pytest.approx(7, rel=0.02)


def test_turns_outweigh_the_catalogue() -> None:
    readings = [reading(n, f"r{n}") for n in (20, 30, 40)]
    rate = learn(readings, [1.0, 1.0], 20, 0.35).rate
    assert rate.value == pytest.approx(10, rel=0.08)
    assert rate.u < 1.5


def test_a_slack_first_turn_does_not_hide_the_true_rate() -> None:
    readings = [reading(n, f"r{n}") for n in (20, 24, 44)]  # 0.8 turns lost, then 20 N a turn
    believed = learn(readings, [1.0, 1.0], 20, 0.35)
    assert believed.rate.value == pytest.approx(20, rel=0.1)
    assert believed.turns(20, 0.5) == pytest.approx(1.0, rel=0.1)


def test_a_turn_back_after_tightening_expects_to_lose_the_play_again() -> None:
    readings = [reading(n, f"r{n}") for n in (20, 24, 44)]
    low, middle, high = learn(readings, [1.0, 1.0], 20, 0.35).rise(0.5)
    assert low <= middle <= high
    assert middle == pytest.approx(10, rel=0.1)
    after_back = learn([*readings, reading(34, "back")], [1.0, 1.0, -0.5], 20, 0.35)
    assert after_back.rise(0.3)[1] < 3  # most of it closes the play


def test_more_doubt_means_fewer_turns() -> None:
    believed = learn([reading(20, "a")], [], 20, 0.35)
    turns = [believed.turns(20, doubt) for doubt in (0.001, 0.05, 0.5)]
    assert turns == sorted(turns)
    assert turns[0] > 0
