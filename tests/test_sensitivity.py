"""The changes to thresholds: which there are, what a change is, what is counted, a page of it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from calibration import sensitivity

FOLDER = "beltpitch/pitch"


@pytest.mark.parametrize(
    ("value", "index", "factor", "changed"),
    [
        (2.0, None, 1.5, 3.0),
        (-30.0, None, 0.5, -15.0),
        (8, None, 0.85, 7),
        (1, None, 1.15, 2),
        (1, None, 0.85, 0),
        ((1.0, 2.0), 1, 1.5, (1.0, 3.0)),
    ],
)
def test_a_number_is_changed_and_a_whole_one_stays_whole(
    value: object, index: int | None, factor: float, changed: object
) -> None:
    found = sensitivity.scaled(value, index, factor)
    assert found == changed
    assert type(found) is type(value)


def test_what_becomes_of_answers_is_counted() -> None:
    truths = [100.0, 100.0, None, 100.0, 100.0]
    before = [(100.0, 0.1), (100.0, 0.1), (None, 0.0), (130.0, 0.1), (100.0, 0.1)]
    after = [(100.005, 0.1), (100.02, 0.1), (50.0, 0.1), (100.0, 0.1), (None, 0.0)]
    assert sensitivity.count(truths, before, after) == {
        "moved": 1,
        "none > wrong": 1,
        "wrong > right": 1,
        "right > none": 1,
    }


def test_every_threshold_is_found_with_its_comment_and_where_it_enters() -> None:
    found = sensitivity.thresholds([Path(FOLDER)])
    assert len({(each.module, each.name, each.index) for each in found}) == len(found)
    stages = [each.stage for each in found]
    assert stages.count("cut") > 20
    assert stages.count("hear") > 100
    assert any(each.words for each in found)


def test_a_run_writes_its_page_and_goes_on_where_it_stopped(tmp_path: Path) -> None:
    """In a process of its own: it loads the program anew for each change."""
    every = sensitivity.thresholds([Path(FOLDER)])
    label = next(each.label for each in every if each.stage == "hear" and each.index is None)
    page, counts = tmp_path / "page.md", tmp_path / "counts.jsonl"
    command = [sys.executable, "-m", "calibration.sensitivity", FOLDER, "--kept", str(tmp_path)]
    command += ["--files", "2", "--only", label, "--page", str(page)]
    subprocess.run(command, check=True, capture_output=True)
    first = counts.read_text()
    subprocess.run(command, check=True, capture_output=True)
    assert counts.read_text() == first
    assert f"| `{label}` |" in page.read_text()
    assert first.count("-50%") == first.count("+50%") == 1
