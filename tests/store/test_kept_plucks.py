"""Single plucks in a folder: numbered, never overwritten, read again as they were."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from beltpitch.audio.files import open_recording
from beltpitch.errors import RequestError
from beltpitch.store.audio_clips import PluckFolder

SOUND = np.linspace(-0.5, 0.5, 4800)


def test_plucks_are_numbered_on_and_never_overwritten(tmp_path: Path) -> None:
    first = PluckFolder(tmp_path / "new" / "folder")
    assert first.keep("y-left", SOUND, 48_000.0, {"number": 1}).name == "y-left-001.flac"
    assert first.keep("y-left", SOUND, 48_000.0, {"number": 2}).name == "y-left-002.flac"
    again = PluckFolder(tmp_path / "new" / "folder")
    assert again.keep("y-left", SOUND, 48_000.0, {"number": 1}).name == "y-left-003.flac"
    assert again.keep("y-right", SOUND, 48_000.0, {"number": 2}).name == "y-right-001.flac"


def test_sound_and_figures_come_back(tmp_path: Path) -> None:
    path = PluckFolder(tmp_path).keep("y", SOUND, 44_100.0, {"frequency_hz": 66.3})
    recording = open_recording(path)
    heard = np.concatenate([block.samples for block in recording])
    assert recording.rate_hz == 44_100
    np.testing.assert_allclose(heard, SOUND, atol=2**-23)
    assert json.loads(path.with_suffix(".json").read_text()) == {"frequency_hz": 66.3}


@pytest.mark.parametrize(
    ("name", "stem"),
    [("Y left/upper", "Y-left-upper"), ("../x", "x"), ("…", "pluck"), ("", "pluck")],
)
def test_any_name_makes_a_file_in_the_folder(tmp_path: Path, name: str, stem: str) -> None:
    path = PluckFolder(tmp_path).keep(name, SOUND, 48_000.0, {})
    assert path.parent == tmp_path
    assert path.name == f"{stem}-001.flac"


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RequestError, match="cannot make this folder"):
        PluckFolder(tmp_path / "file" / "sub")
