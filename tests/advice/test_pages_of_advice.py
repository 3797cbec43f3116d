"""The pages on windows and adjusting: their commands are run, their cautions are the program's."""

from __future__ import annotations

from pathlib import Path

import pytest

from beltpitch.advice.cautions import turning
from tests import readme

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.mark.parametrize("page", ["windows.md", "adjusting.md"])
def test_every_command_prints_what_stands_there(page: str, tmp_path: Path) -> None:
    text = (ROOT / "docs" / page).read_text("utf-8")
    blocks = [match[2] for match in readme.BLOCK.finditer(text)]
    assert blocks
    for block in blocks:
        command, _, printed = block.removeprefix("$ ").partition("\n")
        assert readme.output_of(command, tmp_path).rstrip() == printed.rstrip()


def test_the_page_that_says_turn_says_every_caution() -> None:
    text = " ".join((ROOT / "docs" / "adjusting.md").read_text("utf-8").replace("> ", "").split())
    assert [c for c in turning(pair=True) if c not in text] == []
