"""Laws the hearing must keep: the bound's slopes, and what may change nothing.

Slopes from physics.md section 4: sd(f) goes as noise over amplitude, and as decay to the 3/2.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import SynthesisedTone, pluck_recording, series_hz, synthesise
from beltpitch.pitch.estimator import hear
from beltpitch.pitch.pluck_detector import PluckDetector
from beltpitch.pitch.results import FrequencyRange, Pitch

Samples = NDArray[np.float64]


def pitch(samples: Samples, rate_hz: float, size: int | None = None) -> Pitch:
    listener = PluckDetector(rate_hz)
    plucks = []
    step = size or len(samples)
    for start in range(0, len(samples), step):
        plucks += listener.feed(Block(samples[start : start + step], rate_hz))
    found = hear(plucks + listener.finish(), FrequencyRange())
    used = [h.pitch for h in found.plucks if h.used and h.pitch is not None]
    assert len(used) == 1, found
    return used[0]


def string(f: float, rate_hz: float, decay_s: float, noise: float, seed: int) -> Samples:
    """Six partials with chance phases in white noise, after 0.7 s of it."""
    rng = np.random.default_rng(seed)
    tones = [
        SynthesisedTone(hz, 0.1 / n, decay_s / n**0.5, rng.uniform(0, 2 * np.pi))
        for n, hz in enumerate(series_hz(f, 2e-4, 6), start=1)
    ]
    sound = synthesise(tones, 0.7 + 6 * decay_s, rate_hz, onset_s=0.7)
    return np.asarray(sound + rng.normal(0, noise, len(sound)))


def rms_error(decay_s: float, noise: float, count: int = 16) -> float:
    off = [
        pitch(string(80.0 + 0.37 * i, 8_000.0, decay_s, noise, i), 8_000.0).frequency_hz
        - (80.0 + 0.37 * i)
        for i in range(count)
    ]
    return float(np.median(np.abs(off)) / 0.6745)


def test_the_error_grows_with_the_noise_as_the_bound_does() -> None:
    quiet, loud = rms_error(0.25, 5e-4), rms_error(0.25, 4e-3)
    slope = np.log(loud / quiet) / np.log(8)
    assert slope == pytest.approx(1.0, abs=0.35)


def test_the_error_grows_with_the_decay_as_the_bound_does() -> None:
    long, short = rms_error(0.4, 1e-3), rms_error(0.1, 1e-3)
    slope = np.log(short / long) / np.log(4)
    assert slope == pytest.approx(1.5, abs=0.5)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_transposed_recording_gives_a_transposed_answer(seed: int) -> None:
    low = string(60.0, 8_000.0, 0.3, 1e-3, seed)
    one = pitch(low, 8_000.0)
    high = pitch(low, 12_000.0)  # the same samples, half as fast again
    u = np.hypot(high.frequency_u_hz, 1.5 * one.frequency_u_hz)
    assert high.frequency_hz == pytest.approx(1.5 * one.frequency_hz, abs=3 * u)


@pytest.mark.parametrize("size", [100, 999])
def test_whole_or_in_crumbs_the_answer_is_the_same(size: int) -> None:
    sound = string(95.0, 8_000.0, 0.2, 2e-3, 5)
    assert pitch(sound, 8_000.0) == pitch(sound, 8_000.0, size)


@pytest.mark.parametrize("factor", [-1.0, 0.03, 2.5])
def test_gain_and_polarity_change_nothing(factor: float) -> None:
    sound = string(72.0, 8_000.0, 0.25, 1e-3, 6)
    one, other = pitch(sound, 8_000.0), pitch(factor * sound, 8_000.0)
    assert other.frequency_hz == pytest.approx(one.frequency_hz, abs=0.2 * one.frequency_u_hz)


def test_the_rate_changes_nothing_beyond_the_stated_uncertainty() -> None:
    found = [
        pitch(pluck_recording(88.0, plucks=1, rate_hz=rate, decay_s=0.3, noise=1e-3), rate)
        for rate in (8_000.0, 11_025.0, 44_100.0, 96_000.0, 192_000.0)
    ]
    for each in found:
        assert each.frequency_hz == pytest.approx(88.0, abs=4 * each.frequency_u_hz + 0.01)
