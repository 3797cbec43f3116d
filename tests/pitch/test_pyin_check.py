"""librosa beside ours: an estimate of its own, and a plain word where it is missing."""

from __future__ import annotations

import sys

import pytest

from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.errors import RequestError
from beltpitch.pitch.pyin_check import by_librosa
from beltpitch.pitch.results import FrequencyRange

RATE = 44_100.0


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # librosa's and numba's own
def test_librosa_hears_the_same_pluck_within_its_bins() -> None:
    sound = pluck_recording(110.0, rate_hz=RATE, plucks=1, decay_s=0.4, seed=1)
    (heard,) = by_librosa([Block(sound, RATE)], [1.0], FrequencyRange(60, 300))
    assert heard == pytest.approx(110.0, rel=0.01)


def test_without_librosa_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "librosa", None)
    sound = pluck_recording(110.0, rate_hz=RATE, plucks=1, seed=1)
    with pytest.raises(RequestError, match="pip install librosa"):
        by_librosa([Block(sound, RATE)], [1.0], FrequencyRange())
