"""Recordings read as a sitting: the same answer as the file by itself, pairs, plucks by hand."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from beltpitch import belt
from beltpitch.advice.window import Window
from beltpitch.audio.block import Block, Samples
from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.parsing import span as from_text
from beltpitch.reading import read
from beltpitch.session.recorded import Recorded
from beltpitch.session.session import Subject

RATE_HZ = 16_000.0


def sound(frequency_hz: float, seed: int = 7) -> Samples:
    return pluck_recording(
        frequency_hz, rate_hz=RATE_HZ, plucks=4, decay_s=0.15, scatter=0.001, seed=seed
    )


def blocks(samples: Samples) -> Iterator[Block]:
    for at in range(0, len(samples), 1_000):
        yield Block(samples[at : at + 1_000], RATE_HZ)


def test_it_says_what_the_file_says(tmp_path: Path) -> None:
    made = sound(95.0)
    save_sound(tmp_path / "y.wav", made, RATE_HZ)
    file = read(tmp_path / "y.wav")
    recorded = Recorded([Subject("y")])
    states = list(recorded.take(0, blocks(made), RATE_HZ))
    assert [s.event for s in states] == ["taken"] * 4 + ["ended"]
    assert all(s.taken and s.taken.raw is not None for s in states[:-1])
    (reading,) = recorded.readings[0]
    assert reading.frequency is not None
    assert file.frequency is not None
    assert reading.frequency.value == pytest.approx(file.frequency.value, rel=1e-5)
    assert states[-1].phase == "done"


def test_two_groups_of_plucks_are_told_with_both_tensions_and_no_word() -> None:
    own = belt("2GT 9 mm", linear_mass="12.6 +/- 0.1 g/m")
    me = Subject("y", own, from_text("412 mm"), window=Window(20.0, 60.0, "a", "b"))
    recorded = Recorded([me])
    list(recorded.take(0, blocks(np.concatenate([sound(57.0), sound(66.0)])), RATE_HZ))
    (verdict,) = recorded.verdicts[0]
    reading = verdict.reading
    assert [group.plucks for group in reading.groups] == [(0, 1, 2, 3), (4, 5, 6, 7)]
    tensions = [group.tension.value for group in reading.groups if group.tension]
    assert tensions == pytest.approx([27.8, 37.4], rel=0.01)
    assert (reading.frequency, reading.preload, verdict.word) == (None, None, "cannot tell")
    assert "27." in reading.warnings[0]
    assert "37." in reading.warnings[0]


def test_what_was_answered_stays_when_other_sounds_follow() -> None:
    recorded = Recorded([Subject("y")])
    foreign = [sound(f)[: int(2.5 * RATE_HZ)] for f in (91.0, 171.0, 131.0, 203.0, 59.0, 241.0)]
    list(recorded.take(0, blocks(np.concatenate([sound(66.0), *foreign])), RATE_HZ))
    (reading,) = recorded.readings[0]
    assert [p.used for p in reading.plucks] == [True] * 4 + [False] * 6
    assert reading.frequency is not None


def test_a_pluck_is_left_out_by_hand() -> None:
    recorded = Recorded([Subject("y")])
    *_, state = recorded.take(0, blocks(sound(95.0)), RATE_HZ)
    assert state.verdicts[0] is not None
    onset_s = state.verdicts[0].reading.plucks[1].onset_s
    assert onset_s is not None
    (after,) = recorded.by_hand(0, onset_s, use=False)
    assert after.verdicts[0] is not None
    assert [p.used for p in after.verdicts[0].reading.plucks] == [True, False, True, True]
    assert list(recorded.by_hand(0, -1.0, use=False)) == []


def test_two_recordings_are_a_pair_and_a_file_can_be_replaced() -> None:
    recorded = Recorded([Subject("a"), Subject("b")])
    *_, state = recorded.take(0, blocks(sound(95.0)), RATE_HZ)
    assert (state.match, state.order) == (None, "Give a recording of b.")
    *_, state = recorded.take(1, blocks(sound(85.0, 8)), RATE_HZ)
    assert state.match is not None
    assert (state.match.word, state.order) == ("unmatched", "")
    *_, state = recorded.take(1, blocks(sound(95.0, 9)), RATE_HZ)
    assert state.match is not None
    assert state.match.word == "matched"


def test_silence_is_said() -> None:
    recorded = Recorded([Subject("y")])
    *_, state = recorded.take(0, blocks(np.zeros(32_000)), RATE_HZ)
    assert state.cautions[0].startswith("silence")
    recorded.warn("a word")
    assert recorded.readings == ((),)
