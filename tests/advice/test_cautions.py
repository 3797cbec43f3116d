"""Every caution of the house is said where something is turned or hung."""

from __future__ import annotations

import pytest

from beltpitch.advice.safety import hanging, plucking, turning


@pytest.mark.parametrize(
    "word",
    [
        "Power off and isolated",
        "spindle or laser",
        "by hand, and slowly",
        "Prop a vertical axis",
        "Block the axis",
        "unblock it",
        "eye protection",
        "rating",
        "square the gantry",
        "steps per mm",
        "manual, local codes and licensed practice",
    ],
)
def test_turning_one_of_a_pair_says_everything(word: str) -> None:
    assert word in " ".join(turning(pair=True))


def test_the_prop_is_left_out_only_where_the_axis_is_known_to_be_level() -> None:
    for cautions in (turning, plucking):
        assert any("Prop" in c for c in cautions())
        assert any("Prop" in c for c in cautions(vertical=True))
        assert not any("Prop" in c for c in cautions(vertical=False))


def test_hanging_says_line_and_rating() -> None:
    said = " ".join(hanging())
    assert "Never stand in line with a hung weight" in said
    assert "a hand's breadth above the floor" in said
    assert "rating" in said
