"""Made-up plucks have the numbers they were made from."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from beltpitch.audio.synthesis import (
    SynthesisedTone,
    hum,
    pluck_recording,
    pluck_tones,
    room_noise,
    series_hz,
    synthesise,
)

RATE_HZ = 48_000.0


def peak_hz(
    samples: NDArray[np.float64], low: float, high: float, rate_hz: float = RATE_HZ
) -> float:
    """Where the spectrum is tallest, on a grid of 1/16 Hz."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), int(16 * rate_hz)))
    hertz = np.arange(len(spectrum)) / 16
    inside = (hertz >= low) & (hertz <= high)
    return float(hertz[inside][np.argmax(spectrum[inside])])


def test_a_tone_is_the_decaying_sine_it_says() -> None:
    samples = synthesise([SynthesisedTone(100.0, 0.5, 0.2)], 1.0, RATE_HZ, onset_s=0.25)
    assert samples.shape == (48_000,)
    assert not samples[:12_000].any()
    time_s = np.arange(48_000) / RATE_HZ - 0.25
    after = time_s > 0.002  # past the attack
    wanted = 0.5 * np.exp(-time_s / 0.2) * np.sin(2 * np.pi * 100.0 * time_s)
    np.testing.assert_allclose(samples[after], wanted[after], rtol=0, atol=1e-12)


def test_an_onset_between_samples_moves_the_phase() -> None:
    whole = synthesise([SynthesisedTone(1_000.0, 0.5, math.inf)], 0.1, RATE_HZ, onset_s=0.01)
    between = synthesise(
        [SynthesisedTone(1_000.0, 0.5, math.inf)], 0.1, RATE_HZ, onset_s=0.01 + 0.25e-3
    )
    # A quarter period of 1 kHz is 0.25 ms, 12 samples.
    np.testing.assert_allclose(between[612:], whole[600:-12], rtol=0, atol=1e-12)


def test_glide_begins_sharp_and_settles() -> None:
    samples = synthesise(
        [SynthesisedTone(200.0, 0.5, math.inf)], 3.0, RATE_HZ, glide=0.02, glide_s=0.1
    )
    rising = np.flatnonzero((samples[:-1] < 0) & (samples[1:] >= 0))
    crossings = rising + samples[rising] / (samples[rising] - samples[rising + 1])
    local_hz = RATE_HZ / np.diff(crossings)
    at_s = (crossings[:-1] + crossings[1:]) / 2 / RATE_HZ
    np.testing.assert_allclose(local_hz, 200.0 * (1 + 0.02 * np.exp(-at_s / 0.1)), rtol=2e-5)


@given(st.floats(15.0, 700.0), st.floats(0.0, 0.01), st.integers(1, 20))
def test_the_series_starts_at_mode_one(f1: float, inharmonicity: float, count: int) -> None:
    series = series_hz(f1, inharmonicity, count)
    assert len(series) == count
    assert series[0] == pytest.approx(f1, rel=1e-12)
    for n, hertz in enumerate(series, 1):
        ratio = math.sqrt((1 + inharmonicity * n**2) / (1 + inharmonicity))
        assert hertz / (n * f1) == pytest.approx(ratio, rel=1e-12)


def test_plucking_at_a_node_leaves_its_partials_out() -> None:
    tones = pluck_tones(80.0, at=1 / 3, count=9)
    strengths = np.array([abs(tone.amplitude) for tone in tones])
    assert strengths[[2, 5, 8]].max() < 1e-15
    assert strengths[[0, 1, 3, 4]].min() > 1e-3
    assert strengths.sum() == pytest.approx(0.3)


def test_higher_partials_fade_faster() -> None:
    decays = [tone.decay_s for tone in pluck_tones(80.0, decay_s=0.4)]
    assert decays[0] == 0.4
    assert decays == sorted(decays, reverse=True)


def test_a_recording_holds_its_plucks_where_it_says() -> None:
    samples = pluck_recording(66.0, plucks=4, first_s=1.0, apart_s=1.2, noise=1e-4)
    assert samples.shape == (round(5.8 * RATE_HZ),)
    assert np.abs(samples).max() < 0.35
    for number in range(4):
        start = round((1.0 + 1.2 * number) * RATE_HZ)
        before = samples[start - 2_400 : start - 10]
        after = samples[start + 10 : start + 2_400]
        assert after.std() > 10 * before.std()
        pluck = samples[start + 480 : start + 48_000]
        assert peak_hz(pluck, 40.0, 100.0) == pytest.approx(66.0, abs=0.3)


def test_stiffness_moves_the_partials_not_the_first() -> None:
    samples = pluck_recording(66.0, plucks=1, inharmonicity=2e-3, noise=0.0, decay_s=2.0)
    pluck = samples[round(1.0 * RATE_HZ) :]
    assert peak_hz(pluck, 50.0, 80.0) == pytest.approx(66.0, abs=0.1)
    fourth = 4 * 66.0 * math.sqrt((1 + 16 * 2e-3) / (1 + 2e-3))
    assert peak_hz(pluck, 240.0, 300.0) == pytest.approx(fourth, abs=0.2)


def test_seeds() -> None:
    one = pluck_recording(66.0, plucks=1, scatter=0.01, seed=1)
    np.testing.assert_array_equal(one, pluck_recording(66.0, plucks=1, scatter=0.01, seed=1))
    assert not np.allclose(one, pluck_recording(66.0, plucks=1, scatter=0.01, seed=2))


def test_scatter_has_the_size_asked_for() -> None:
    heard = []
    for seed in range(40):
        samples = pluck_recording(
            100.0, rate_hz=8_000.0, plucks=1, scatter=0.01, noise=0.0, seed=seed, decay_s=1.0
        )
        heard.append(peak_hz(samples[8_000:], 90.0, 110.0, rate_hz=8_000.0))
    assert np.mean(heard) == pytest.approx(100.0, abs=0.6)  # 1 Hz / sqrt(40), four times
    assert 0.6 < np.std(heard) < 1.5


def test_room_noise_has_its_level_and_falls_with_frequency() -> None:
    noise = room_noise(1 << 16, 0.01, seed=3)
    assert math.sqrt(np.mean(noise**2)) == pytest.approx(0.01, rel=1e-12)
    power = np.abs(np.fft.rfft(noise)) ** 2
    assert power[10:100].mean() > 5 * power[10_000:30_000].mean()
    assert room_noise(0, 0.01, seed=3).shape == (0,)


def test_hum_lies_on_the_line_and_its_multiples() -> None:
    samples = hum(48_000, RATE_HZ, 60.0, 0.01)
    spectrum = np.abs(np.fft.rfft(samples)) / 24_000
    assert spectrum[60] == pytest.approx(0.01, rel=1e-6)
    assert sorted(np.argsort(spectrum)[-4:].tolist()) == [60, 120, 180, 300]


def test_what_cannot_be_made() -> None:
    with pytest.raises(ValueError, match="4000 Hz cannot be sampled at 8000 Hz"):
        synthesise([SynthesisedTone(4_000.0, 0.1, 1.0)], 0.1, 8_000.0)
    with pytest.raises(ValueError, match="frequency is 0"):
        SynthesisedTone(0.0, 0.1, 1.0)
    with pytest.raises(ValueError, match="decay time is -1"):
        SynthesisedTone(10.0, 0.1, -1.0)
    with pytest.raises(ValueError, match="not finite"):
        SynthesisedTone(10.0, math.nan, 1.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        pluck_tones(66.0, at=1.0)
