"""The short answer: so many lines at 80 columns, in one order, ending in what to do."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from beltpitch.terminal.main import EXAMPLES, run_with

Capture = pytest.CaptureFixture[str]
TYPED = ["tension", "--span", "300 mm"]
ORDER = [
    "  tension ",
    "  verdict ",
    "  range ",
    "  do next ",
    "  assumed ",
    "  caution ",
    "  more ",
]


def lines(capsys: Capture, *words: str) -> list[str]:
    assert run_with(list(words)) in (0, 1)
    out = capsys.readouterr().out
    assert max(len(line) for line in out.splitlines()) <= 80
    return out.rstrip("\n").splitlines()


@pytest.mark.parametrize(
    "words",
    [
        [*TYPED, "--belt", "GT2 6 mm", "--frequency", "110 Hz"],
        [*TYPED, "--belt", "GT2 6 mm", "--frequency", "110 Hz", "--unit", "lbf"],
        [*TYPED, "--belt", "2GT 9 mm", "--frequency", "66.3 Hz, 66.1 Hz, 66.4 Hz"],
        [*TYPED, "--belt", "AT5 25 mm", "--frequency", "130 Hz"],
        [*TYPED, "--belt", "S5M 15 mm", "--frequency", "130 Hz", "--target", "150 N"],
        [*TYPED, "--linear-mass", "12.6 g/m", "--width", "9 mm", "--frequency", "66 Hz"],
        [*TYPED, "--belt", "2GT 9 mm", "--frequency", "66", "--frequency", "80"],
        [*TYPED, "--belt", "2GT 9 mm", "--frequency", "300"],
    ],
)
def test_a_reading_is_answered_in_a_dozen_lines(capsys: Capture, words: list[str]) -> None:
    assert len(lines(capsys, *words)) <= 12


def test_the_lines_stand_in_one_order(capsys: Capture) -> None:
    text = "\n".join(lines(capsys, *TYPED, "--belt", "GT2 6 mm", "--frequency", "110 Hz"))
    places = [text.index(label) for label in ORDER]
    assert places == sorted(places)
    assert "tight: 9.3 to 21.4 N, 10.7 N best (published figures)" in text
    assert "loosen to about 10.7 N (60 Hz)" in text


def test_a_tolerance_that_nobody_gave_says_where_it_comes_from(capsys: Capture) -> None:
    words = [*TYPED, "--belt", "2GT 9 mm", "--frequency", "80 Hz", "--target", "29 N"]
    assert "own target 29.0 N, ±24 % (what it resolves)" in "\n".join(lines(capsys, *words))
    weighed = [*words, "--linear-mass", "12.6 +/- 0.05 g/m", "--strand-limit", "0.5 N"]
    assert "own target 29.0 N, ±10 % (the default)" in "\n".join(lines(capsys, *weighed))
    assert "±10 %" in "\n".join(lines(capsys, *words, "--within", "10%"))


def test_it_stays_readable_where_only_ascii_can_be_shown() -> None:
    words = [*TYPED, "--belt", "GT2 6 mm", "--frequency", "110 Hz"]
    done = subprocess.run(
        [sys.executable, "-m", "beltpitch", *words],
        env={**os.environ, "PYTHONIOENCODING": "ascii", "TERM": "dumb"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "becomes +/-10 %" in done.stdout
    assert "2GT 6 mm - span 300 mm - 110.00 Hz" in done.stdout
    assert "?" not in done.stdout


def test_recordings_and_pairs_are_short_too(capsys: Capture, tmp_path: Path) -> None:
    folder = str(tmp_path / "d")
    assert len(lines(capsys, "demo", "--into", folder)) <= 30
    files = [f"{folder}/y-left.wav", f"{folder}/y-right.wav"]
    belt = ["--belt", "2GT 9 mm", "--span", "286 mm"]
    assert len(lines(capsys, "recording", files[0], *belt)) <= 12
    assert len(lines(capsys, "recording", files[0])) <= 12
    assert len(lines(capsys, "pair", *files, *belt)) <= 15


def test_adjusting_is_short_too(capsys: Capture) -> None:
    screw = ["--tensioner", "idler", "--thread", "M4", "--loop", "1400 mm", "--drive", "fixed"]
    text = lines(capsys, "adjust", "--belt", "2GT 9 mm", "--reading", "12 N", *screw)
    assert len(text) <= 12
    assert any(line.startswith("  do next     Tighten by 55 deg.") for line in text)


@pytest.mark.parametrize(
    "more", [[], ["--target", "30 N"], ["--drive", "fixed", "--force", "20 N"]]
)
def test_a_window_is_short_too(capsys: Capture, more: list[str]) -> None:
    text = lines(capsys, "window", "--belt", "2GT 9 mm", *more)
    assert len(text) <= 12
    assert any(line.startswith("  window ") for line in text)


def test_details_show_everything(capsys: Capture) -> None:
    words = [*TYPED, "--belt", "GT2 6 mm", "--frequency", "110 Hz", "--details"]
    text = "\n".join(lines(capsys, *words))
    for words_there in (
        "uncertainty",
        "corrected",
        "assumed",
        "sources",
        "Power off and isolated first",
    ):
        assert words_there in text


def test_a_reading_too_high_to_be_true_is_not_led_to_a_turn(capsys: Capture) -> None:
    text = "\n".join(lines(capsys, *TYPED, "--belt", "2GT 9 mm", "--frequency", "400"))
    assert "More than tears this belt" in text
    assert "Check belt, span and frequency before you turn anything." in text
    assert "loosen to" not in text


def test_without_a_command_it_says_what_to_do_first(capsys: Capture) -> None:
    first = lines(capsys)
    assert len(first) <= 8
    line = next(one for one in first if one.startswith("  beltpitch tension"))
    assert run_with(shlex.split(line)[1:]) == 0


def test_help_takes_a_command(capsys: Capture) -> None:
    assert "--frequency" in "\n".join(lines(capsys, "help", "tension"))
    assert "Commands" in "\n".join(lines(capsys, "help"))


@pytest.mark.parametrize(("word", "code"), [("within", 3), ("tight", 0), ("loose", 2)])
def test_a_script_may_ask_for_a_word(capsys: Capture, word: str, code: int) -> None:
    words = [*TYPED, "--belt", "GT2 6 mm", "--frequency", "110 Hz", "--fail-unless", word]
    assert run_with(words) == code
    assert ("is none of slack, within" in capsys.readouterr().err) is (code == 2)


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_every_help_has_panels_and_ends_in_an_example_that_can_be_typed(
    capsys: Capture, name: str
) -> None:
    text = lines(capsys, name, "--help")
    line = text[-1].strip()
    assert line.startswith(f"beltpitch {name}")
    assert "Output:" in text
    assert run_with([*shlex.split(line)[1:], "--help"]) == 0
    given = {word for word in shlex.split(line) if word.startswith("-")}
    told = " ".join(text[:-1])
    assert all(f"{option}" in told for option in given)


def test_the_unit_may_come_from_the_environment(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BELTPITCH_UNIT", "lbf")
    text = "\n".join(lines(capsys, *TYPED, "--belt", "GT2 6 mm", "--frequency", "110 Hz"))
    assert " lbf " in text
