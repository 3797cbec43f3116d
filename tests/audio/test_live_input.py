"""Level, ear and ring: what a live input does, what is left out of it, what is kept of it."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.audio.block import Block, Samples
from beltpitch.audio.input_monitor import DEAD_AFTER_S, InputMonitor
from beltpitch.audio.ring_buffer import RING_S, RingBuffer
from beltpitch.audio.synthesis import pluck_recording, room_noise
from beltpitch.pitch.live_detector import LivePluckDetector

RATE_HZ = 8_000.0


def noise(seconds: float, level: float = 1e-3, seed: int = 1) -> Samples:
    return room_noise(round(seconds * RATE_HZ), level, seed)


def watched(sound: Samples, size: int = 160) -> InputMonitor:
    watch = InputMonitor(RATE_HZ)
    for start in range(0, len(sound), size):
        watch.feed(Block(sound[start : start + size], RATE_HZ))
    return watch


@pytest.mark.parametrize("size", [64, 160, 999, 100_000])
def test_levels_do_not_depend_on_the_blocks(size: int) -> None:
    sound = noise(2.0)
    assert watched(sound, size).room() == pytest.approx(watched(sound).room())
    assert watched(sound, size).heard_s == pytest.approx(2.0)


def test_room_is_its_noise_even_if_a_pluck_is_in_it() -> None:
    sound = noise(1.0)
    sound[2000:4000] += 0.3
    sound[2000:4000:2] -= 0.6
    assert watched(sound).room() == pytest.approx(1e-3, rel=0.3)


def test_dead_after_a_second_and_alive_at_once() -> None:
    watch = watched(np.zeros(round((DEAD_AFTER_S + 0.1) * RATE_HZ)))
    assert watch.dead
    assert watch.unborn
    alive = watched(np.concatenate([np.zeros(round(2 * RATE_HZ)), noise(0.1)]))
    assert (alive.dead, alive.unborn) == (False, False)


def test_a_constant_offset_is_dead_too() -> None:
    assert watched(np.full(round(1.5 * RATE_HZ), 0.01)).dead


def test_a_single_loud_sample_shows_in_the_peak() -> None:
    sound = noise(0.5)
    sound[-10] = 0.9
    assert watched(sound).peak == pytest.approx(0.9)


def test_quiet_is_found_back_to_the_last_loud_frame() -> None:
    sound = noise(3.0)
    sound[round(1.0 * RATE_HZ) : round(1.2 * RATE_HZ)] *= 100
    watch = watched(sound)
    assert watch.quiet_since(2.5, 2.5e-3) == pytest.approx(1.2, abs=0.03)
    assert watch.quiet_between(1.5, 2.5, 2.5e-3)
    assert not watch.quiet_between(0.9, 1.5, 2.5e-3)
    assert not watch.quiet_between(5.0, 6.0, 2.5e-3)  # nothing is known of it


def test_not_a_number_does_no_harm() -> None:
    sound = noise(0.5)
    sound[100:200] = np.nan
    assert np.isfinite(watched(sound).room())


# --- ear ------------------------------------------------------------------------------------------


def heard(ear: LivePluckDetector, sound: Samples, size: int = 160) -> list[float]:
    onsets: list[float] = []
    for start in range(0, len(sound), size):
        onsets += [p.onset_s or 0.0 for p in ear.hear(Block(sound[start : start + size], RATE_HZ))]
    return onsets


def plucks(count: int = 2) -> Samples:
    return pluck_recording(
        90.0,
        rate_hz=RATE_HZ,
        plucks=count,
        first_s=1.0,
        apart_s=2.5,
        decay_s=0.1,
        noise=3e-4,
        seed=4,
    )


def test_onsets_stay_in_the_inputs_time_over_gaps() -> None:
    ear, sound = LivePluckDetector(RATE_HZ), plucks()
    onsets = heard(ear, sound[: round(2.8 * RATE_HZ)])
    for _ in range(5):
        ear.skip(Block(np.ones(round(0.1 * RATE_HZ)), RATE_HZ))  # half a second of beep
    onsets += heard(ear, sound[round(2.8 * RATE_HZ) :])
    onsets += [p.onset_s or 0.0 for p in ear.finish()]
    assert onsets == pytest.approx([1.0, 3.5 + 0.5], abs=0.02)
    assert ear.came_s == pytest.approx(len(sound) / RATE_HZ + 0.5)


def test_a_pluck_that_spans_a_gap_is_refused() -> None:
    ear, sound = LivePluckDetector(RATE_HZ), plucks(1)
    cut = round(1.1 * RATE_HZ)
    heard(ear, sound[:cut])
    ear.skip(Block(np.zeros(800), RATE_HZ))
    found = []
    for start in range(cut, len(sound), 160):
        found += ear.hear(Block(sound[start : start + 160], RATE_HZ))
    found += ear.finish()
    assert found[0].refused is not None
    assert "sound was lost" in found[0].refused


def test_a_dead_stretch_ends_a_pluck_and_waking_begins_anew() -> None:
    ear, sound = LivePluckDetector(RATE_HZ), plucks(1)
    assert heard(ear, sound[: round(1.5 * RATE_HZ)]) == []
    dead = Block(np.zeros(round(0.5 * RATE_HZ)), RATE_HZ)
    ended = ear.sleep(dead)
    assert [p.onset_s for p in ended] == pytest.approx([1.0], abs=0.02)
    assert ear.sleep(dead) == []
    onsets = heard(ear, sound)
    onsets += [p.onset_s or 0.0 for p in ear.finish()]
    assert onsets == pytest.approx([1.5 + 1.0 + 1.0], abs=0.02)


def test_an_input_that_wakes_within_a_block_is_no_pluck() -> None:
    """A large block holds the last of the silence and the first of the room."""
    sound = np.concatenate([np.zeros(round(0.4 * RATE_HZ)), plucks()])
    ear = LivePluckDetector(RATE_HZ)
    onsets = heard(ear, sound, 4096)
    onsets += [p.onset_s or 0.0 for p in ear.finish()]
    assert onsets == pytest.approx([1.4, 3.9], abs=0.02)


# --- ring -----------------------------------------------------------------------------------------


def test_the_ring_gives_back_what_came() -> None:
    ring, sound = RingBuffer(RATE_HZ), noise(4.0)
    for start in range(0, len(sound), 333):
        ring.feed(Block(sound[start : start + 333], RATE_HZ))
    piece = ring.cut(1.0, 2.5)
    np.testing.assert_array_equal(piece, sound[round(1.0 * RATE_HZ) : round(2.5 * RATE_HZ)])


def test_the_ring_lets_go_of_the_oldest() -> None:
    ring, sound = RingBuffer(RATE_HZ), noise(30.0)
    for start in range(0, len(sound), 800):
        ring.feed(Block(sound[start : start + 800], RATE_HZ))
    kept = ring.cut(0.0, 30.0)
    assert RING_S * RATE_HZ <= len(kept) <= RING_S * RATE_HZ + 800
    np.testing.assert_array_equal(kept, sound[-len(kept) :])


def test_the_ring_remembers_where_sound_was_left_out() -> None:
    ring = RingBuffer(RATE_HZ)
    ring.feed(Block(noise(1.0), RATE_HZ))
    ring.gap()
    assert ring.gap_s == pytest.approx(1.0)
