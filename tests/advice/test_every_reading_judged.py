"""Readings are judged by what their belt says, where no target is given."""

from __future__ import annotations

import json

import pytest

from beltpitch import parsing
from beltpitch.advice.window import Window
from beltpitch.reading import typed_reading
from beltpitch.session.verdict import judged
from beltpitch.terminal.main import run_with

BELT = parsing.belt("2GT 9 mm")
SPAN = parsing.span("412 +/- 1 mm", BELT)
READING = typed_reading(parsing.typed(["66.3 Hz"]), BELT, SPAN)  # 37.6 N


def test_an_end_that_no_rule_names_is_said_to_need_a_target() -> None:
    open_above = judged(READING, Window(13.3, None, "seating", "no rule names one"))
    assert open_above.word == "cannot tell"
    assert open_above.next_step.startswith(
        "No rule names an upper end for this belt: give --target"
    )
    open_below = judged(READING, Window(None, 200, "no rule names one", "allowable"))
    assert open_below.next_step.startswith("No rule names a lower end")


def test_at_the_known_end_the_doubt_itself_is_named() -> None:
    found = judged(READING, Window(38, None, "seating", "no rule names one"))
    assert found.said == "slack, 5 in 10"
    assert found.next_step.startswith("Probably too slack for its window. To know it better: weigh")


@pytest.mark.parametrize(
    ("hz", "word"), [("66.3 Hz", "tight"), ("50 Hz", "within"), ("25 Hz", "slack")]
)
def test_a_typed_tension_is_judged_without_a_target(
    capsys: pytest.CaptureFixture[str], hz: str, word: str
) -> None:
    code = run_with(
        ["tension", "--frequency", hz, "--belt", "2GT 9 mm", "--span", "412 mm", "--json"]
    )
    reading = json.loads(capsys.readouterr().out)["readings"][0]
    assert code == 0
    assert reading["window_n"] == [pytest.approx(13.3), pytest.approx(34.0, abs=0.05)]
    assert reading["recommended_n"] == pytest.approx([13.3, 17.0, 34.0], abs=0.05)
    assert reading["recommended_basis"] == "published"
    assert 0.5 < reading["verdict_probability"] <= 1
    assert reading["verdict"] == word
