"""Noise and intake: the short ways give what the plain ones give."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.audio.block import Block
from beltpitch.pitch.noise import hann, turns, whitened
from beltpitch.pitch.resample import Resampler, _lowpass


@pytest.mark.parametrize("count", [1, 2, 3, 10, 16, 17, 536, 3000])
def test_turns_and_windows_are_those_of_the_textbook(count: int) -> None:
    cycles = np.array([0.0, 0.0123, 0.31, 0.5])
    plain = np.exp(-2j * np.pi * np.outer(np.arange(count), cycles))
    np.testing.assert_allclose(turns(cycles, count), plain, atol=1e-11)
    np.testing.assert_allclose(hann(count), np.hanning(count + 2)[1:-1], atol=1e-14)


@pytest.mark.parametrize("rate_hz", [8_000.0, 22_050.0, 44_100.0, 192_000.0])
def test_slabs_are_the_filtered_sound_thinned_out(rate_hz: float) -> None:
    sound = np.random.default_rng(4).normal(0, 0.1, int(rate_hz / 2))
    intake = Resampler(rate_hz)
    slabs = [*intake.feed(Block(sound, rate_hz)), *intake.finish()]
    heard = np.concatenate([slab.samples for slab in slabs])
    taps = _lowpass(intake.factor)
    plain = np.convolve(sound, taps)[len(taps) // 2 :][: len(sound) : intake.factor]
    np.testing.assert_allclose(heard[: len(plain)], plain, atol=1e-12)
    assert [slab.peak for slab in slabs] == [np.abs(slab.samples).max() for slab in slabs]


def test_hum_is_whitened_by_the_quiet_before() -> None:
    """The prediction error of an autoregression is what drives it (Makhoul 1975)."""
    drive = np.random.default_rng(5).normal(0, 1e-3, 20_000)
    sound = np.zeros_like(drive)
    for k in range(2, len(sound)):
        sound[k] = 1.9 * sound[k - 1] - 0.95 * sound[k - 2] + drive[k]
    white = whitened(sound[12_000:], sound[:12_000])
    error = white[100:] - drive[12_100:]
    assert np.std(error) < 0.1 * np.std(drive) < 0.02 * np.std(sound)
