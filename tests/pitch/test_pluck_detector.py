"""The PluckDetector: where plucks begin, whole or in crumbs, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import hum, pluck_recording, room_noise
from beltpitch.pitch.pluck_detector import Pluck, PluckDetector

Samples = NDArray[np.float64]
RATE_HZ = 44_100.0


def onsets(plucks: list[Pluck]) -> list[float]:
    return [p.onset_s for p in plucks if p.onset_s is not None]


def listen(samples: Samples, rate_hz: float = RATE_HZ, size: int | None = None) -> list[Pluck]:
    listener = PluckDetector(rate_hz)
    step = size or max(1, len(samples))
    plucks: list[Pluck] = []
    for start in range(0, len(samples), step):
        plucks += listener.feed(Block(samples[start : start + step], rate_hz))
    return plucks + listener.finish()


@pytest.mark.parametrize("rate_hz", [8_000.0, 22_050.0, 48_000.0, 192_000.0])
def test_onsets_are_found_within_six_milliseconds(rate_hz: float) -> None:
    sound = pluck_recording(80.0, rate_hz=rate_hz, plucks=3, first_s=0.8, apart_s=1.2)
    assert onsets(listen(sound, rate_hz)) == pytest.approx([0.8, 2.0, 3.2], abs=0.006)


@pytest.mark.parametrize("size", [1_000, 4_097])
def test_in_crumbs_the_plucks_are_the_same(size: int) -> None:
    sound = pluck_recording(66.0, plucks=2, rate_hz=RATE_HZ, noise=3e-3)
    whole, crumbs = listen(sound), listen(sound, size=size)
    assert [p.onset_s for p in whole] == [p.onset_s for p in crumbs]
    for one, other in zip(whole, crumbs, strict=True):
        np.testing.assert_array_equal(one.samples, other.samples)
        np.testing.assert_array_equal(one.noise.power, other.noise.power)


def test_one_sample_at_a_time() -> None:
    sound = pluck_recording(90.0, plucks=1, rate_hz=8_000.0, first_s=0.6, apart_s=0.8)
    whole, crumbs = listen(sound, 8_000.0), listen(sound, 8_000.0, size=1)
    assert [p.onset_s for p in whole] == [p.onset_s for p in crumbs]
    np.testing.assert_array_equal(whole[0].samples, crumbs[0].samples)


def test_hum_as_loud_as_the_pluck_does_not_hide_it() -> None:
    sound = pluck_recording(82.0, plucks=1, rate_hz=RATE_HZ, level=0.1)
    sound = sound + hum(len(sound), RATE_HZ, 50.0, 0.1)
    found = [p.onset_s for p in listen(sound) if p.refused is None]
    assert any(at is not None and abs(at - 1.0) < 0.01 for at in found)


def test_a_weak_pluck_after_a_strong_one_is_found() -> None:
    strong = pluck_recording(70.0, plucks=1, rate_hz=RATE_HZ, level=0.5, apart_s=2.0)
    weak = pluck_recording(70.0, plucks=1, rate_hz=RATE_HZ, level=0.05, first_s=2.0, apart_s=1.0)
    assert onsets(listen(strong + weak)) == pytest.approx([1.0, 2.0], abs=0.01)


def test_a_file_may_begin_in_a_pluck() -> None:
    sound = pluck_recording(66.0, plucks=1, first_s=0.2, rate_hz=RATE_HZ)
    first = listen(sound[round(0.21 * RATE_HZ) :])[0]
    assert first.opened
    assert first.onset == 0
    assert not first.noise.measured


def test_the_record_follows_the_decay() -> None:
    short, long = (
        listen(pluck_recording(66.0, plucks=1, decay_s=d, rate_hz=RATE_HZ, apart_s=3.0))[0]
        for d in (0.03, 0.5)
    )
    assert len(short.samples) < 0.6 * short.rate_hz
    assert len(long.samples) > 1.5 * long.rate_hz


def test_a_clipped_start_is_left_out() -> None:
    sound = np.clip(8 * pluck_recording(66.0, plucks=1, rate_hz=RATE_HZ, decay_s=0.1), -1, 1)
    pluck = listen(sound)[0]
    assert pluck.clipped
    assert pluck.refused is None
    left = pluck.samples[pluck.clear :]
    assert np.abs(left).max() < 1.0


def test_clipped_throughout_is_refused() -> None:
    sound = np.clip(9e4 * pluck_recording(66.0, plucks=1, rate_hz=RATE_HZ, noise=0), -1, 1)
    assert any("clipped throughout" in (p.refused or "") for p in listen(sound))


@pytest.mark.parametrize("wrong", [np.nan, np.inf])
def test_samples_that_are_no_numbers_refuse_the_pluck_they_lie_in(wrong: float) -> None:
    sound = pluck_recording(66.0, plucks=2, rate_hz=RATE_HZ)
    sound[round(1.1 * RATE_HZ)] = wrong
    first, second = listen(sound)
    assert "not a number" in (first.refused or "")
    assert second.refused is None
    assert np.isfinite(first.samples).all()


def test_nothing_but_nan_is_refused() -> None:
    (only,) = listen(np.full(44_100, np.nan))
    assert only.onset_s is None
    assert "not numbers" in (only.refused or "")


def test_sound_that_was_lost_refuses_the_pluck_it_was_lost_from() -> None:
    sound = pluck_recording(66.0, plucks=2, rate_hz=RATE_HZ)
    listener = PluckDetector(RATE_HZ)
    cut = round(1.1 * RATE_HZ)
    plucks = listener.feed(Block(sound[:cut], RATE_HZ))
    plucks += listener.feed(Block(sound[cut:], RATE_HZ, overflow=True))
    plucks += listener.finish()
    assert "lost" in (plucks[0].refused or "")
    assert plucks[1].refused is None


@pytest.mark.parametrize("silence_s", [0.1, 0.8, 6.0])
@pytest.mark.parametrize("noise", [1e-4, 3e-3])
def test_digital_silence_ahead_of_the_room_cuts_no_pluck(silence_s: float, noise: float) -> None:
    rate = 48_000.0
    sound = pluck_recording(80.0, rate_hz=rate, plucks=2, first_s=0.8, apart_s=1.5, noise=noise)
    silence = np.zeros(round(silence_s * rate))
    found = onsets(listen(np.concatenate([silence, sound]), rate))
    assert found == pytest.approx([silence_s + 0.8, silence_s + 2.3], abs=0.006)
    twice = onsets(listen(np.concatenate([sound, silence, sound]), rate))
    second = len(sound) / rate + silence_s
    assert twice == pytest.approx([0.8, 2.3, second + 0.8, second + 2.3], abs=0.006)


def test_a_pluck_may_come_right_out_of_digital_silence() -> None:
    sound = pluck_recording(80.0, rate_hz=RATE_HZ, plucks=1, first_s=0.5, noise=0.0)
    assert onsets(listen(sound)) == pytest.approx([0.5], abs=0.006)


def test_silence_says_so() -> None:
    (only,) = listen(np.zeros(90_000))
    assert (only.refused or "").startswith("silence")


def test_noise_alone_begins_nothing() -> None:
    plucks = listen(room_noise(5 * 44_100, 0.01, seed=3))
    assert all(p.onset_s is None for p in plucks)


def test_no_sound_at_all_is_silence() -> None:
    (only,) = PluckDetector(RATE_HZ).finish()
    assert (only.refused or "").startswith("silence")


def test_a_block_of_another_rate_is_a_mistake() -> None:
    with pytest.raises(ValueError, match="block at 8000"):
        PluckDetector(RATE_HZ).feed(Block(np.zeros(10), 8_000.0))


def test_hours_take_no_more_memory_than_seconds() -> None:
    listener = PluckDetector(8_000.0)
    sound = pluck_recording(66.0, plucks=2, rate_hz=8_000.0)
    for _ in range(20):
        listener.feed(Block(sound, 8_000.0))
    kept = sum(len(s.samples) for s in listener._slabs)
    assert kept < 6 * 8_000
    assert len(listener._intake._waiting) <= 1


def test_the_level_is_that_of_the_last_slab() -> None:
    listener = PluckDetector(8_000.0)
    assert listener.level == 0.0
    listener.feed(Block(np.full(8_000, 0.25), 8_000.0))
    assert listener.level == pytest.approx(0.25, rel=0.05)
