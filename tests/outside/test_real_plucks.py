"""Real plucked strings, measured by others.

Source: `tests/data/plucks.csv`, whose reference frequencies were accepted only where Praat
(Boersma, Proc. Inst. Phonetic Sciences 17 (1993) 97), pYIN (Mauch and Dixon, ICASSP 2014) and the
phase slope of partial 1 agree; see `tests/data/NOTICE.md`.
"""

from __future__ import annotations

import csv
import functools
from pathlib import Path

import pytest

from beltpitch.audio.files import open_recording
from beltpitch.pitch.estimator import hear
from beltpitch.pitch.pluck_detector import Pluck, PluckDetector
from beltpitch.pitch.results import FrequencyRange, PitchResult

DATA = Path(__file__).parents[1] / "data"
RIGHT = 0.005  # within half a percent of the reference
WRONG = 0.02  # an answer further off than this is a confident wrong number


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="", encoding="utf-8") as table:
        return list(csv.DictReader(table))


PLUCKS = rows("plucks.csv")
NOISES = rows("noise.csv")


@functools.cache
def heard(file: str) -> PitchResult:
    recording = open_recording(DATA / file)
    listener = PluckDetector(recording.rate_hz)
    plucks: list[Pluck] = []
    for block in recording:
        plucks += listener.feed(block)
    plucks += listener.finish()
    return hear(plucks, FrequencyRange())


def answer_hz(file: str) -> float | None:
    """The fundamental of the single pluck in a file; None where there is no answer."""
    used = [each.pitch.frequency_hz for each in heard(file).plucks if each.used and each.pitch]
    return sum(used) / len(used) if used else None


def error(row: dict[str, str]) -> float | None:
    """How far the answer is from the nearest right one, relative; None without an answer."""
    answer = answer_hz(row["file"])
    if answer is None:
        return None
    known = [float(row[key]) for key in ("reference_hz", "early_hz", "late_hz") if row[key]]
    reference, span = known[0], known[1:]
    if span and min(known) <= answer <= max(known):
        return 0.0
    return abs(answer / reference - 1.0)


def test_nearly_every_string_is_heard_right() -> None:
    errors = {row["original_name"]: error(row) for row in PLUCKS}
    right = [name for name, off in errors.items() if off is not None and off <= RIGHT]
    assert len(right) >= 0.97 * len(PLUCKS), {
        name: off for name, off in errors.items() if name not in right
    }


@pytest.mark.parametrize("row", PLUCKS, ids=[Path(row["file"]).stem for row in PLUCKS])
def test_no_string_is_heard_wrong(row: dict[str, str]) -> None:
    off = error(row)
    assert off is None or off <= WRONG, heard(row["file"]).plucks


@pytest.mark.parametrize("row", NOISES, ids=[Path(row["file"]).stem for row in NOISES])
def test_a_room_without_a_string_gives_no_number(row: dict[str, str]) -> None:
    assert answer_hz(row["file"]) is None
    assert heard(row["file"]).reason


def test_the_strings_are_spread_and_free_to_copy() -> None:
    assert len(PLUCKS) >= 24
    for row in [*PLUCKS, *NOISES]:
        assert row["licence"] == "MIT" or row["licence"].startswith("CC0"), row["file"]
        assert (DATA / row["file"]).is_file()
    frequencies = [float(row["reference_hz"]) for row in PLUCKS]
    assert min(frequencies) < 45
    assert max(frequencies) > 400
    assert len({row["instrument"] for row in PLUCKS}) >= 12
