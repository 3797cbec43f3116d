"""What is drawn of a pluck: the outline keeps every peak, the spectrum shows the partials."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import SynthesisedTone, pluck_recording, synthesise
from beltpitch.pitch.estimator import pitch_of
from beltpitch.pitch.pluck_detector import PluckDetector
from beltpitch.pitch.results import FrequencyRange
from beltpitch.pitch.waveform_view import COLUMNS, FLOOR_DB, levels_db, outline, portrait_of

RATE_HZ = 16_000.0


def test_the_outline_keeps_a_single_peak() -> None:
    sound = np.zeros(10_000)
    sound[1_234], sound[7_000] = 0.5, -0.25
    low, high = outline(sound, 100)
    assert (high.max(), low.min()) == (0.5, -0.25)
    assert int(np.argmax(high)) == 12
    assert [len(part) for part in outline(sound[:7], 100)] == [7, 7]


def test_a_line_stands_where_it_is_and_is_the_top() -> None:
    hertz, level = levels_db(synthesise([SynthesisedTone(200.0, 0.3, 0.3)], 1.0, RATE_HZ), RATE_HZ)
    assert hertz[int(np.argmax(level))] == pytest.approx(200.0, abs=0.5)
    assert level.max() == 0.0
    assert levels_db(np.zeros(0), RATE_HZ)[1].max() == FLOOR_DB


def test_a_portrait_shows_what_was_used_recognised_and_set_aside() -> None:
    sound = pluck_recording(
        95.0, rate_hz=RATE_HZ, plucks=1, first_s=2.0, hum_level=5e-3, decay_s=0.2, seed=3
    )
    listener = PluckDetector(RATE_HZ)
    (pluck,) = [*listener.feed(Block(sound, RATE_HZ)), *listener.finish()]
    drawn = portrait_of(pluck, pitch_of(pluck, FrequencyRange()))
    assert drawn.begins_s == pytest.approx(-0.06, abs=1e-3)
    assert drawn.used_s is not None
    assert 0 <= drawn.used_s[0] < drawn.used_s[1] <= drawn.ends_s
    assert drawn.partials[0][0] == 1
    assert drawn.partials[0][1] == pytest.approx(95.0, abs=0.3)
    assert drawn.top_hz >= max(hz for _, hz in drawn.partials)
    assert any(abs(hz - 50.0) < 0.5 for hz in drawn.steady_hz)
    place = drawn.partials[0][1] / drawn.top_hz * COLUMNS
    assert abs(int(np.argmax(drawn.level_db)) % COLUMNS - place) < 3 or drawn.partials[1:]
    # a pluck that told nothing is drawn whole
    unused = portrait_of(pluck, pitch_of(pluck, FrequencyRange(600.0, 700.0)))
    assert (unused.used_s, unused.partials) == (None, ())
