"""The fundamental, what makes it sure, and the reason where there is none."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import (
    SynthesisedTone,
    pluck_recording,
    room_noise,
    series_hz,
    synthesise,
)
from beltpitch.pitch.estimator import hear, pitch_of
from beltpitch.pitch.pluck_detector import PluckDetector
from beltpitch.pitch.results import FrequencyRange
from tests.pitch.hearing import answers, heard_at

Samples = NDArray[np.float64]
RATE_HZ = 44_100.0


heard = partial(heard_at, RATE_HZ)


def highpassed(samples: Samples, corner_hz: float) -> Samples:
    from scipy.signal import butter, sosfilt

    sos = butter(4, corner_hz, "high", fs=RATE_HZ, output="sos")
    return np.asarray(sosfilt(sos, samples))


@pytest.mark.parametrize("f", [27.5, 66.31, 180.0, 410.0])
def test_a_pluck_is_heard_to_a_tenth_of_a_percent(f: float) -> None:
    found = heard(pluck_recording(f, plucks=2, rate_hz=RATE_HZ, inharmonicity=3e-4))
    assert answers(found) == pytest.approx([f, f], rel=1e-3)
    for pluck in found.plucks:
        assert pluck.pitch is not None
        assert abs(pluck.pitch.frequency_hz - f) < 4 * pluck.pitch.frequency_u_hz + 1e-4 * f
        assert pluck.pitch.quality > 0.95


def test_the_fundamental_may_be_missing() -> None:
    sound = highpassed(pluck_recording(31.0, plucks=1, rate_hz=RATE_HZ, decay_s=0.5), 120.0)
    sound = sound + room_noise(len(sound), 1e-4, 1)
    assert answers(heard(sound)) == pytest.approx([31.0], rel=3e-3)


def test_odd_partials_decide_the_octave() -> None:
    rng = np.random.default_rng(4)
    lines = [
        SynthesisedTone(f, 0.05 / n, 0.4 / n**0.5, rng.uniform(0, 6))
        for n, f in enumerate(series_hz(70.0, 1e-4, 9), start=1)
    ]
    for left, right in ((lines, 70.0), (lines[1::2], 140.0)):
        sound = synthesise(left, 2.5, RATE_HZ, onset_s=0.8)
        sound = sound + room_noise(len(sound), 2e-4, 2)
        assert answers(heard(sound)) == pytest.approx([right], rel=2e-3)


def test_inharmonicity_comes_with_its_uncertainty() -> None:
    found = heard(pluck_recording(90.0, plucks=1, rate_hz=RATE_HZ, inharmonicity=1.2e-3))
    pitch = found.plucks[0].pitch
    assert pitch is not None
    assert pitch.inharmonicity is not None
    assert pitch.inharmonicity_u is not None
    assert pitch.inharmonicity == pytest.approx(1.2e-3, abs=4 * pitch.inharmonicity_u + 5e-5)
    assert pitch.inharmonicity_u < 2e-4


def test_a_glide_is_taken_out() -> None:
    flat, sharp = (
        heard(pluck_recording(75.0, plucks=1, rate_hz=RATE_HZ, glide=g, decay_s=0.4)).plucks[0]
        for g in (0.0, 0.02)
    )
    assert flat.pitch is not None
    assert sharp.pitch is not None
    assert sharp.pitch.glide > flat.pitch.glide + 0.005
    assert sharp.pitch.frequency_hz == pytest.approx(75.0, rel=4e-3)


def test_hum_is_not_taken_for_the_belt_and_is_named() -> None:
    sound = pluck_recording(83.0, plucks=1, rate_hz=RATE_HZ, hum_level=0.02, level=0.2)
    found = heard(sound)
    assert answers(found) == pytest.approx([83.0], rel=2e-3)
    assert any(abs(tone - 50.0) < 0.5 for tone in found.steady_hz)


def test_a_tone_on_a_hum_line_is_said() -> None:
    sound = pluck_recording(100.4, plucks=1, rate_hz=RATE_HZ, hum_level=0.02, level=0.3)
    found = heard(sound)
    pitch = found.plucks[0].pitch
    assert pitch is not None
    assert any("steady tone" in w for w in pitch.warnings)


def test_several_plucks_decide_together_and_an_outlier_is_set_aside() -> None:
    right = pluck_recording(64.0, plucks=3, rate_hz=RATE_HZ)
    other = pluck_recording(66.5, plucks=1, rate_hz=RATE_HZ, first_s=0.9)
    found = heard(np.concatenate([right, other]))
    assert answers(found) == pytest.approx([64.0] * 3, rel=1e-3)
    last = found.plucks[-1]
    assert not last.used
    assert last.pitch is not None
    assert last.pitch.frequency_hz == pytest.approx(66.5, rel=1e-3)
    assert "66.5" in (last.reason or "")


def quick(f: float, plucks: int, seed: int = 0) -> Samples:
    return pluck_recording(
        f, plucks=plucks, rate_hz=RATE_HZ, decay_s=0.15, scatter=0.003, seed=seed
    )


def test_plucks_that_agree_stay_whatever_sounds_after_them() -> None:
    """Two foreign tones once made a voice of all of it."""
    found = heard(np.concatenate((quick(66.0, 5, seed=3), quick(91.0, 1), quick(171.0, 1))))
    assert answers(found) == pytest.approx([66.0] * 5, rel=0.01)
    foreign = [h for h in found.plucks if not h.used]
    assert all("not what the other plucks say" in (h.reason or "") for h in foreign)


@pytest.mark.parametrize(("first", "then"), [(66.0, 77.0), (66.0, 132.0), (66.0, 67.5)])
def test_plucks_of_two_tones_are_all_used(first: float, then: float) -> None:
    found = heard(np.concatenate((quick(first, 4, seed=1), quick(then, 3, seed=2))))
    assert answers(found) == pytest.approx([first] * 4 + [then] * 3, rel=0.01)


def test_one_loud_pluck_does_not_outweigh_several_that_agree() -> None:
    found = heard(np.concatenate((0.02 * quick(66.0, 3, seed=1), quick(171.0, 1))))
    assert answers(found) == pytest.approx([66.0] * 3, rel=0.01)


def test_plucks_that_scatter_all_count() -> None:
    sounded = [64.0 * (1 + off) for off in (0.008, -0.007, 0.0, 0.004, -0.004)]
    each = [
        pluck_recording(f, plucks=1, rate_hz=RATE_HZ, first_s=0.6 + 0.3 * (not k))
        for k, f in enumerate(sounded)
    ]
    found = heard(np.concatenate(each))
    # cut at 1 % of one of them, two would go, and the others would seem to agree
    assert answers(found) == pytest.approx(sounded, rel=1e-3)


@pytest.mark.parametrize("f", [61.0, 150.0])
def test_one_pluck_alone_is_the_same_as_in_company(f: float) -> None:
    listener = PluckDetector(RATE_HZ)
    sound = pluck_recording(f, plucks=1, rate_hz=RATE_HZ)
    (pluck,) = listener.feed(Block(sound, RATE_HZ)) + listener.finish()
    alone = pitch_of(pluck, FrequencyRange())
    together = hear([pluck], FrequencyRange()).plucks[0]
    assert alone == together


def test_a_range_leaves_out_what_cannot_be() -> None:
    sound = pluck_recording(64.0, plucks=1, rate_hz=RATE_HZ)
    found = heard(sound, FrequencyRange(100.0, 400.0, why="told"))
    assert not any(abs(f - 64.0) < 10 for f in answers(found))


@pytest.mark.parametrize(
    ("f", "low", "high"),
    [(110.2, 40.0, 80.0), (110.2, 150.0, 400.0), (64.0, 100.0, 400.0), (64.0, 150.0, 450.0)],
)
def test_a_string_outside_the_range_is_named_and_not_answered(
    f: float, low: float, high: float
) -> None:
    sound = pluck_recording(f, plucks=2, rate_hz=RATE_HZ)
    found = heard(sound, FrequencyRange(low, high, why="told"))
    assert answers(found) == []
    assert found.reason
    assert f"clear tone at {f:.1f} Hz lies outside {low:.0f} to {high:.0f} Hz" in found.reason


def test_a_sustained_tone_outside_the_range_is_not_named_for_a_string() -> None:
    sound = room_noise(4 * 44_100, 1e-4, 7)
    time = np.arange(3 * 44_100) / RATE_HZ
    for n in range(1, 7):
        sound[44_100:] += 0.1 / n * np.sin(2 * np.pi * n * 220.0 * time)
    found = heard(sound, FrequencyRange(40.0, 120.0, why="told"))
    assert answers(found) == []
    assert "outside" not in (found.reason or "")


def test_a_clipped_start_is_left_out_and_said() -> None:
    sound = np.clip(6 * pluck_recording(66.0, plucks=1, rate_hz=RATE_HZ), -1, 1)
    found = heard(sound)
    assert answers(found) == pytest.approx([66.0], rel=2e-3)
    pitch = found.plucks[0].pitch
    assert pitch is not None
    assert any("clipped" in w for w in pitch.warnings)


# ---------------------------------------------------------------- refusals


def no_answer(samples: Samples) -> str:
    found = heard(samples)
    assert answers(found) == []
    assert found.reason is not None
    assert "\n" not in found.reason
    return found.reason


def test_silence_is_refused() -> None:
    assert no_answer(np.zeros(90_000)).startswith("silence")


def test_hum_alone_is_refused() -> None:
    time = np.arange(4 * 44_100) / RATE_HZ
    sound = sum((0.05 / n * np.sin(2 * np.pi * 50.0 * n * time) for n in (1, 2, 3)), 0 * time)
    no_answer(sound + room_noise(len(sound), 1e-4, 5))


def test_a_click_is_refused() -> None:
    sound = room_noise(3 * 44_100, 1e-4, 6)
    sound[60_000:60_004] += 0.5
    no_answer(sound)


def test_a_sustained_tone_that_begins_is_refused() -> None:
    sound = room_noise(4 * 44_100, 1e-4, 7)
    time = np.arange(3 * 44_100) / RATE_HZ
    sound[44_100:] += 0.1 * np.sin(2 * np.pi * 220.0 * time)
    assert "sustained" in no_answer(sound)


def test_a_burst_of_noise_is_refused() -> None:
    sound = room_noise(3 * 44_100, 1e-4, 8)
    rng = np.random.default_rng(1)
    sound[50_000:62_000] += 0.1 * rng.normal(size=12_000)
    no_answer(sound)


def test_clipped_throughout_is_refused() -> None:
    sound = np.clip(9e4 * pluck_recording(66.0, plucks=1, rate_hz=RATE_HZ, noise=0), -1, 1)
    assert "clipped throughout" in no_answer(sound)


def test_no_pluck_no_answer() -> None:
    found = hear([], FrequencyRange())
    assert found.plucks == ()
    assert found.reason is not None
