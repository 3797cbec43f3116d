"""The rate error of a sound device, from a tone that is known."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.audio.block import Block, Samples
from beltpitch.audio.clock_error import rate_error
from beltpitch.audio.synthesis import room_noise
from beltpitch.errors import CannotTell

RATE = 48_000.0


def tone(true_rate_hz: float, seconds: float = 12.0, noise: float = 1e-3) -> Samples:
    n = round(seconds * true_rate_hz)
    wave = 0.2 * np.sin(2 * np.pi * 1000.0 * np.arange(n) / true_rate_hz + 0.7)
    return np.asarray(wave + room_noise(n, noise, 4))


@pytest.mark.parametrize("ppm", [-180.0, -12.0, 0.0, 35.0, 2600.0])
def test_a_device_off_by_some_ppm_is_found_within_its_uncertainty(ppm: float) -> None:
    true_rate = RATE / (1 + ppm * 1e-6)
    found = rate_error([Block(tone(true_rate), RATE)], 1000.0)
    assert found is not None
    assert found.u < 1e-6
    assert abs(found.value - ppm * 1e-6) < 4 * found.u


def test_no_tone_is_no_answer() -> None:
    assert rate_error([Block(room_noise(480_000, 0.1, 1), RATE)], 1000.0) is None
    assert rate_error([Block(tone(RATE), RATE)], 1100.0) is None
    assert rate_error([Block(tone(RATE, seconds=1.0), RATE)], 1000.0) is None
    assert rate_error([], 1000.0) is None


def test_a_tone_that_wanders_is_refused() -> None:
    t = np.arange(round(12 * RATE)) / RATE
    wave = 0.2 * np.sin(2 * np.pi * 1000 * t + 3.0 * np.sin(2 * np.pi * 0.17 * t))
    with pytest.raises(CannotTell, match="hold still"):
        rate_error([Block(np.asarray(wave), RATE)], 1000.0)
