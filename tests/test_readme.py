"""README's worked uses are run, and its output is the program's."""

from __future__ import annotations

from pathlib import Path

from tests import readme


def test_every_command_in_the_readme_prints_what_stands_there(tmp_path: Path) -> None:
    text = readme.README.read_text("utf-8")
    assert text.count("```console") >= 3
    assert readme.rendered(text, tmp_path) == text


def test_the_two_commands_are_the_ones_that_ci_and_users_run() -> None:
    text = readme.README.read_text("utf-8")
    assert "python3 tests/run.py" in text
    assert "beltpitch demo" in text
    assert "python3 tests/run.py" in (readme.ROOT / ".ci" / "run").read_text("utf-8")
