"""What several plucks say together: go on, enough, or what is wrong with them."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from beltpitch import parsing
from beltpitch.advice.repeatability import ENOUGH_PLUCKS, advice
from beltpitch.pitch.results import Pitch, PitchResult, PluckResult
from beltpitch.reading import Reading, heard_reading


def heard(values_hz: Sequence[float], glide: float = 0.0) -> list[PluckResult]:
    return [
        PluckResult(
            i * 2.0, Pitch(f, 0.01, None, None, (), glide, 1.0, (0, 1)), used=True, reason=None
        )
        for i, f in enumerate(values_hz)
    ]


def reading(plucks: Sequence[PluckResult]) -> Reading:
    belt = parsing.belt("2GT 9 mm")
    return heard_reading(PitchResult(tuple(plucks)), "y", belt, parsing.span("412 mm", belt))


def test_the_first_plucks_ask_for_more() -> None:
    assert advice([], None).words.startswith("pluck at a quarter")
    assert advice(heard([66.0]), None).words.startswith("one pluck;")
    assert advice(heard([66.0, 66.1]), None).words.startswith("two plucks;")
    assert advice(heard([66.0, 66.1, 66.05]), None).kind == "go on"


def test_five_that_agree_are_enough() -> None:
    plucks = heard([66.30, 66.40, 66.25, 66.35, 66.51])
    found = advice(plucks, reading(plucks))
    assert found.kind == "enough"
    assert found.words == "five plucks agree within 0.39 %, one more will not help"
    assert len(plucks) == ENOUGH_PLUCKS


def test_refused_plucks_do_not_count() -> None:
    plucks = heard([66.30, 66.32, 66.28, 66.31, 66.30])
    plucks[2] = PluckResult(4.0, None, used=False, reason="a knock")
    assert advice(plucks, None).words.startswith("four plucks agree")


def test_enough_waits_where_the_plucks_are_the_doubt() -> None:
    """Frequencies alone that scatter by 0.9 %: the mean is not known to 0.5 % with five."""
    values = [66.0, 66.6, 65.2, 66.4, 65.3]
    assert advice(heard(values), None).kind == "go on"
    assert advice(heard(values * 3), None).kind == "enough"


@pytest.mark.parametrize(
    ("values", "glide", "why"),
    [
        ([70.0, 69.0, 68.0, 67.0], 0.0, "lower than the one before"),
        ([67.0, 68.0, 69.0, 70.0], 0.0, "higher than the one before"),
        ([66.0, 70.0, 66.1, 70.1, 66.05], 0.0, "two tones, 66.0 and 70.0 Hz"),
        ([66.0, 68.0, 66.9, 70.1, 67.5], 0.02, "pluck more gently"),
        ([66.0, 68.0, 66.9, 70.1, 67.5], 0.0, "keep the carriage still"),
    ],
)
def test_what_is_wrong_is_named(values: list[float], glide: float, why: str) -> None:
    found = advice(heard(values, glide), None)
    assert found.kind == "disagree"
    assert why in found.words
