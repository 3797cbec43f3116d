"""Lines above the noise: place, decay, amplitude, and how sure."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltpitch.audio.synthesis import SynthesisedTone, hum, synthesise
from beltpitch.pitch.noise import from_quiet, from_within
from beltpitch.pitch.peaks import LEAST_GAIN, spectrum_of

RATE_HZ = 11_025.0


def noise(seconds: float, level: float, seed: int = 0) -> np.typing.NDArray[np.float64]:
    return np.random.default_rng(seed).normal(0, level, round(seconds * RATE_HZ))


def damped(f: float, amplitude: float, decay_s: float) -> np.typing.NDArray[np.float64]:
    return synthesise([SynthesisedTone(f, amplitude, decay_s, 0.5)], 1.5, RATE_HZ)


@pytest.mark.parametrize(("f", "decay_s"), [(41.3, 0.4), (123.4, 0.08), (1000.7, 0.2)])
def test_a_damped_tone_is_found_with_its_decay_and_amplitude(f: float, decay_s: float) -> None:
    sound = damped(f, 0.1, decay_s) + noise(1.5, 1e-3)
    peaks = spectrum_of(sound, RATE_HZ, from_quiet(noise(1.0, 1e-3, 1), RATE_HZ)).peaks
    assert peaks.frequency_hz[0] == pytest.approx(f, abs=max(0.1, 6 * peaks.frequency_u_hz[0]))
    assert peaks.decay_per_s[0] == pytest.approx(1 / decay_s, rel=0.15)
    assert peaks.amplitude[0] == pytest.approx(0.1, rel=0.15)


def test_noise_alone_has_few_lines_and_all_faint() -> None:
    quiet = from_quiet(noise(1.0, 0.01, 2), RATE_HZ)
    peaks = spectrum_of(noise(1.5, 0.01, 3), RATE_HZ, quiet).peaks
    assert len(peaks.gain) < 25
    assert peaks.gain.max() < 3 * LEAST_GAIN


def test_a_steady_tone_that_stood_before_is_no_line() -> None:
    before = noise(1.2, 1e-3, 4) + 0.05 * np.sin(2 * np.pi * 97.3 * np.arange(13_230) / RATE_HZ)
    quiet = from_quiet(before, RATE_HZ)
    assert quiet.near_tone(97.3, 0.2) == pytest.approx(97.3, abs=0.1)
    after = noise(1.5, 1e-3, 5)
    after += 0.05 * np.sin(2 * np.pi * 97.3 * (1.2 + np.arange(len(after)) / RATE_HZ))
    peaks = spectrum_of(after, RATE_HZ, quiet).peaks
    assert not np.any(np.abs(peaks.frequency_hz - 97.3) < 2)


def test_the_floor_is_the_variance_of_white_noise() -> None:
    quiet = from_quiet(noise(1.5, 0.02, 6), RATE_HZ)
    inside = quiet.power[5:-5]
    assert float(np.median(inside)) == pytest.approx(0.02**2, rel=0.25)


def test_hum_is_named_and_is_not_in_the_floor() -> None:
    before = noise(1.4, 1e-3, 7)
    before += hum(len(before), RATE_HZ, 50.0, 0.02)
    quiet = from_quiet(before, RATE_HZ)
    for tone in (50.0, 100.0, 150.0):
        assert quiet.near_tone(tone, 0.3) is not None
    assert quiet.at(np.array([100.0]))[0] < 20 * 1e-6
    total = {round(f): p for f, p in zip(quiet.line_hz, quiet.line_power, strict=True)}
    assert total[50] == pytest.approx(0.02**2 / 2, rel=0.2)


def test_within_a_pluck_the_floor_lies_between_its_partials() -> None:
    sound = sum((damped(110.0 * n, 0.1, 1.0) for n in range(1, 8)), noise(1.5, 1e-3, 8))
    floor = from_within(sound, RATE_HZ)
    assert not floor.measured
    assert float(np.median(floor.power)) == pytest.approx(1e-6, rel=0.6)


def test_two_near_lines_are_both_seen() -> None:
    sound = damped(80.0, 0.1, 0.4) + damped(92.0, 0.05, 0.4) + noise(1.5, 1e-3, 9)
    peaks = spectrum_of(sound, RATE_HZ, from_quiet(noise(1.0, 1e-3, 10), RATE_HZ)).peaks
    for f in (80.0, 92.0):
        assert np.abs(peaks.frequency_hz - f).min() < 0.3
    assert math.isclose(peaks.frequency_hz[0], 80.0, abs_tol=0.3)


@pytest.mark.parametrize("off", [-0.4, 0.0, 0.5])
def test_a_line_on_a_faint_steady_tone_is_found_at_its_place(off: float) -> None:
    """The tone dents the gain there; the peaks beside the dent are not the line."""
    turn = 2 * np.pi * (159.6 + off) / RATE_HZ
    before = noise(1.0, 1e-3, 6) + 3e-4 * np.sin(turn * np.arange(round(RATE_HZ)))
    quiet = from_quiet(before, RATE_HZ)
    assert np.abs(quiet.line_hz - 159.6 - off).min() < 0.3
    sound = damped(159.6, 0.05, 0.2) + noise(1.5, 1e-3, 7)
    peaks = spectrum_of(sound, RATE_HZ, quiet).peaks
    assert peaks.frequency_hz[0] == pytest.approx(159.6, abs=0.3)
    assert np.sum(np.abs(peaks.frequency_hz - 159.6) < 4) == 1
