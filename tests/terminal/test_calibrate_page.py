"""The page "Calibrate your belt" shows what its commands print."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.page import COMMAND, PAGE, filled


def test_the_page_is_what_its_commands_print(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    text = PAGE.read_text(encoding="utf-8")
    assert len(COMMAND.findall(text)) >= 4
    now = filled(text, tmp_path)
    assert now == text, "run python -m calibration.page and read what changed"
