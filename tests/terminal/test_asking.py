"""What is missing is asked for on a terminal, and named all at once elsewhere."""

from __future__ import annotations

from pathlib import Path

import pytest

from beltpitch.errors import RequestError
from beltpitch.terminal import pair, tension
from beltpitch.terminal.main import run_with

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """Return the questions; the answers are those of a person with a belt and no machine file."""
    monkeypatch.chdir(tmp_path)
    questions: list[str] = []
    answers = iter(["2GT 6 mm", "300 mm", "x-axis", "110 Hz"])

    def prompt(words: str, **_: object) -> str:
        questions.append(words)
        return next(answers)

    monkeypatch.setattr("typer.prompt", prompt)
    monkeypatch.setattr(tension, "on_terminal", lambda: True)
    return questions


def test_tension_asks_for_belt_span_and_frequency(asked: list[str], capsys: Capture) -> None:
    assert run_with(["tension", "--no-keep"]) == 0
    out = capsys.readouterr().out
    assert [words.split(",")[0] for words in asked] == [
        "Which belt",
        "Free span",
        "Name to keep it under in beltpitch.toml",
        "Frequency in Hz",
    ]
    assert "tight: 9.3 to 21.4 N" in out
    assert 'belt = "2GT 6 mm"' in Path("beltpitch.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["tension"], "a tension needs belt, span and frequency: add --belt"),
        (["tension", "-b", "2GT 9 mm"], "a tension needs span and frequency: add --span"),
        (["tension", "-b", "2GT 9 mm", "-s", "412"], "a tension needs frequency: add --frequency"),
        (["frequency", "-b", "2GT 9 mm"], "a frequency needs span: add --span"),
    ],
)
def test_elsewhere_all_that_is_missing_is_named_at_once(
    capsys: Capture, words: list[str], said: str
) -> None:
    assert run_with(words) == 2
    assert said in capsys.readouterr().err


def test_a_pair_asks_for_its_belt_and_span(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    answers = iter(["2GT 9 mm", "412 mm"])
    monkeypatch.setattr("typer.prompt", lambda *_, **__: next(answers))
    monkeypatch.setattr(pair, "on_terminal", lambda: True)
    seen: list[object] = []

    def listened(live: object, plan: object, *_: object) -> object:
        seen.append(plan)
        raise RequestError("enough")

    monkeypatch.setattr(pair, "_listened", listened)
    assert run_with(["pair"]) == 2
    (plan,) = seen
    both = plan.asked  # type: ignore[attr-defined]
    assert [one.belt.name for one in both] == ["2GT 9 mm"] * 2
    assert [round(one.span.length_m, 3) for one in both] == [0.412] * 2
    assert next(answers, None) is None
