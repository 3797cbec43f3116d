"""The page on adjusting says the program's own cautions."""

from __future__ import annotations

from pathlib import Path

from beltpitch.advice.safety import turning

ROOT = Path(__file__).resolve().parent.parent.parent


def test_the_page_that_says_turn_says_every_caution() -> None:
    text = " ".join((ROOT / "docs" / "adjusting.md").read_text("utf-8").replace("> ", "").split())
    assert [c for c in turning(pair=True) if c not in text] == []
