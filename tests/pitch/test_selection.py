"""Whether a tone is a plucked string's: it begins, it is one, and it stands alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import (
    SynthesisedTone,
    pluck_tones,
    room_noise,
    series_hz,
    synthesise,
)
from beltpitch.pitch.candidates import candidates_of
from beltpitch.pitch.peaks import lines_of, spectrum_of
from beltpitch.pitch.pluck_detector import PluckDetector
from beltpitch.pitch.results import FrequencyRange
from beltpitch.pitch.selection import LEAST_QUALITY, Decision, PluckEvidence, decide
from tests.pitch.hearing import answers, heard_at

Samples = NDArray[np.float64]
RATE_HZ = 16_000.0


heard = partial(heard_at, RATE_HZ)


def plucked(f: float, level: float = 0.2, *, onset_s: float = 1.0) -> Samples:
    return synthesise(pluck_tones(f, level=level), 2.5, RATE_HZ, onset_s=onset_s)


def syllable(f: float, onset_s: float, duration_s: float = 2.5) -> Samples:
    """A voiced sound: harmonics that swell for a while, glide a little, and stop."""
    time = np.arange(int(duration_s * RATE_HZ)) / RATE_HZ - onset_s
    swell = np.clip(time / 0.03, 0, 1) * np.clip((0.28 - time) / 0.1, 0, 1)
    turns = 2 * np.pi * f * (time - 0.05 * time**2)
    voice: Samples = sum((np.sin(n * turns + n) / n for n in range(1, 9)), np.zeros(len(time)))
    return 0.05 * swell * voice


def test_a_tone_that_was_there_before_is_no_pluck() -> None:
    """A machine whose tone grows louder at once and fades again."""
    count = int(3.0 * RATE_HZ)
    time = np.arange(count) / RATE_HZ
    loud = 0.01 * (1.0 + 1.5 * (time > 1.2) * np.exp(-(time - 1.2) * 2.0 * (time > 1.2)))
    wander = 2 * np.pi * np.cumsum(43.0 + 0.6 * np.sin(2.1 * time)) / RATE_HZ
    tone: Samples = sum((np.sin(n * wander) / n**0.5 for n in range(1, 7)), np.zeros(count))
    found = heard(loud * tone + room_noise(count, 2e-4, 1))
    assert answers(found) == []


def test_a_machine_that_swells_at_once_and_stays_loud_gives_no_number() -> None:
    """Its tone lies near the noise, so that nobody can tell whether it was there before."""
    count = int(2.5 * RATE_HZ)
    time = np.arange(count) / RATE_HZ
    loud = 0.01 * (1.0 + 3.0 * (time > 1.2) * np.exp(-0.6 * np.maximum(time - 1.2, 0.0)))
    turns = 2 * np.pi * np.cumsum(43.0 + 0.43 * np.sin(2.1 * time)) / RATE_HZ
    tone: Samples = sum((np.sin(n * turns + n) / n**0.5 for n in (2, 3, 5)), np.zeros(count))
    found = heard(loud * tone + room_noise(count, 2e-3, 1))
    assert answers(found) == []
    assert found.reason
    assert found.reason.startswith("a machine")


def shown(begun: float, decay_per_s: float, score: float) -> PluckEvidence:
    """Return a string of 150 Hz that began so clearly, dies so and fits so well."""
    sound = plucked(150.0) + room_noise(int(2.5 * RATE_HZ), 2e-4, 3)
    listener = PluckDetector(RATE_HZ)
    (pluck,) = listener.feed(Block(sound, RATE_HZ)) + listener.finish()
    ring = pluck.samples[pluck.clear :]
    lines = lines_of(spectrum_of(ring, pluck.rate_hz, pluck.noise))
    lines = replace(lines, decay_per_s=np.full(len(lines.gain), decay_per_s))
    best = candidates_of(lines, FrequencyRange())[0]
    begins = np.full(len(lines.gain), begun / len(best.numbers))
    return PluckEvidence(pluck, ring, lines, [replace(best, score=score)], None, begins)


def decided(*evidence: PluckEvidence, expected: FrequencyRange | None = None) -> Decision:
    found = decide(evidence, expected or FrequencyRange())
    assert found is not None
    return found


def test_what_neither_begins_nor_dies_may_be_a_machine() -> None:
    doubtful = decided(shown(0.5, 0.4, 14.0))
    assert doubtful.quality < LEAST_QUALITY
    assert doubtful.machine > 0.5
    for clear in (
        shown(8.0, 0.4, 14.0),  # it began
        shown(0.5, 4.0, 14.0),  # it dies
        shown(0.5, 0.4, 30.0),  # no machine holds its speed so well
    ):
        assert decided(clear).quality > LEAST_QUALITY


def test_a_range_that_was_told_says_nothing_of_machines() -> None:
    """The belt is in it; a machine may sound anywhere, and seldom just there."""
    tone = shown(0.5, 0.4, 14.0)
    told = decided(tone, expected=FrequencyRange(90.0, 270.0, why="told"))
    assert told.machine < decided(tone).machine


def test_one_pluck_among_many_sounds_as_loud_may_be_chance() -> None:
    """Fainter ones are the noise of the room, and a pluck that stands clear is not doubted."""
    weak, clear = shown(9.0, 4.0, 6.5), shown(9.0, 4.0, 30.0)
    assert weak.lines is not None
    loud = [replace(weak, candidates=[]) for _ in range(8)]
    quiet = replace(weak.lines, amplitude=0.1 * weak.lines.amplitude)
    faint = [replace(one, lines=quiet) for one in loud]
    assert decided(weak).quality > LEAST_QUALITY
    assert decided(weak, *faint).quality == pytest.approx(decided(weak).quality)
    assert decided(weak, *loud).quality < 0.7
    assert decided(clear, *loud).quality > LEAST_QUALITY


def test_plucks_of_one_string_have_their_partials_in_the_same_places() -> None:
    one, again = shown(9.0, 4.0, 6.0), shown(9.0, 4.0, 6.0)
    (string,) = again.candidates
    stiff = 5e-3
    bent = replace(string, string_hz=string.frequency_hz / (1 + stiff) ** 0.5, stiffness=stiff)
    other = replace(again, candidates=[bent])
    assert bent.frequency_hz == pytest.approx(string.frequency_hz)
    assert decided(one, again).quality > decided(one).quality > decided(one, other).quality


def test_a_string_may_have_begun_unnoticed() -> None:
    """A burst of noise hides the onset, a later one cuts the string's sound: it begins nowhere."""
    time = np.arange(int(2.5 * RATE_HZ)) / RATE_HZ
    burst = np.zeros(len(time))
    for at, lasts, level in ((0.65, 0.5, 1.0), (1.2, 0.06, 0.8)):
        inside = (time >= at) & (time < at + lasts)
        burst += level * inside * np.exp(-6.0 * np.maximum(time - at, 0.0))
    burst *= np.random.default_rng(1).normal(size=len(time))
    found = heard(plucked(125.0, onset_s=0.8) + burst + room_noise(len(time), 2e-4, 3))
    assert answers(found) == pytest.approx([125.0], rel=2e-3)


def test_a_voice_gives_no_number() -> None:
    sound = syllable(118.0, 0.6) + syllable(97.0, 1.0)
    sound = sound + syllable(131.0, 1.45) + syllable(109.0, 1.9)
    found = heard(sound + room_noise(len(sound), 2e-4, 2))
    assert answers(found) == []
    assert found.reason
    assert "voice" in found.reason


def test_a_string_is_heard_beside_a_voice_that_is_fainter() -> None:
    sound = plucked(83.0, 0.4, onset_s=0.9)
    sound = sound + 0.1 * syllable(118.0, 0.5) + 0.1 * syllable(97.0, 1.7)
    sound = sound + room_noise(len(sound), 2e-4, 3)
    assert answers(heard(sound)) == pytest.approx([83.0], rel=2e-3)


def beside_a_voice(plucks_s: Sequence[float], voice_s: Sequence[float]) -> Samples:
    """Return a string of 83 Hz plucked again and again between syllables of a voice as loud."""
    sound = room_noise(int(7.0 * RATE_HZ), 2e-4, 3)
    for at in plucks_s:
        sound = sound + synthesise(pluck_tones(83.0, level=0.2), 7.0, RATE_HZ, onset_s=at)
    for f, at in zip((118.0, 97.0, 131.0, 109.0, 140.0), voice_s, strict=False):
        sound = sound + syllable(f, at, 7.0)
    return sound


def test_a_string_plucked_again_is_told_from_a_voice_as_loud() -> None:
    """No voice comes back to one pitch so often, and holds it so long."""
    sound = beside_a_voice((0.6, 1.8, 3.0, 4.2, 5.4), (0.2, 1.4, 2.6, 3.8, 5.0))
    assert answers(heard(sound)) == pytest.approx(5 * [83.0], rel=1e-3)


def test_a_narrow_range_asks_less_of_a_string_beside_a_voice() -> None:
    """A voice seldom holds a pitch just there, for however short a time."""
    sound = beside_a_voice((0.6, 1.0, 1.4), (0.2, 1.8, 2.3))
    assert answers(heard(sound)) == []
    told = heard(sound, FrequencyRange(48.0, 144.0, why="told"))
    assert answers(told) == pytest.approx(3 * [83.0], rel=1e-3)


@pytest.mark.parametrize("ratio", [1.18, 1.37, 1.75])
def test_two_strands_as_loud_are_named_and_not_answered(ratio: float) -> None:
    sound = plucked(70.0) + plucked(70.0 * ratio, 0.19)
    found = heard(sound + room_noise(len(sound), 1e-4, 4))
    assert answers(found) == []
    assert found.reason
    assert "strands" in found.reason


def test_a_loud_line_of_no_partial_is_told() -> None:
    """One line of another string, as loud as the belt's: two strands, or a wrong octave."""
    lines = [
        SynthesisedTone(f, 0.05 / n, 0.3 / n**0.5, 1.0 * n)
        for n, f in enumerate(series_hz(110.0, 1e-4, 6), start=1)
    ]
    sound = synthesise([*lines, SynthesisedTone(154.0, 0.05, 0.3, 2.0)], 2.5, RATE_HZ, onset_s=1.0)
    found = heard(sound + room_noise(len(sound), 1e-4, 5))
    assert answers(found) == []
    assert found.reason
    assert "154.0 Hz" in found.reason


def test_lines_at_two_and_three_times_of_nothing_may_be_two_strands() -> None:
    lines = [SynthesisedTone(n * 90.0, 0.05, 0.3, 1.0 * n) for n in (2, 3)]
    sound = synthesise(lines, 2.5, RATE_HZ, onset_s=1.0)
    sound = sound + room_noise(len(sound), 1e-4, 6)
    assert answers(heard(sound)) == []


def test_two_low_lines_may_be_the_even_partials_of_an_octave_below() -> None:
    """Where a microphone may be deaf to the lowest, and none but two are heard."""
    lines = [SynthesisedTone(90.0 * n, 0.05, 0.05 / n**0.5, 1.0 * n) for n in (1, 2)]
    sound = synthesise(lines, 2.5, RATE_HZ, onset_s=1.0)
    sound = sound + room_noise(len(sound), 2e-2, 6)
    found = heard(sound)
    assert answers(found) == []
    assert found.reason
    assert "45.1 Hz or 90.3 Hz" in found.reason
    told = heard(sound, FrequencyRange(60.0, 180.0, why="told"))
    assert answers(told) == pytest.approx([90.0], rel=1e-2)


def test_every_second_partial_alone_is_the_series_of_those() -> None:
    lines = [
        SynthesisedTone(f, 0.05 / n, 0.3 / n**0.5, 1.0 * n)
        for n, f in enumerate(series_hz(200.0, 3e-3, 6), start=1)
    ]
    sound = synthesise(lines, 2.5, RATE_HZ, onset_s=1.0)
    found = answers(heard(sound + room_noise(len(sound), 1e-4, 7)))
    assert found == pytest.approx([200.0], rel=2e-3)


def test_what_sounded_as_the_recording_began_yields_to_a_pluck() -> None:
    """The end of a loud machine tone, then a quieter string: the string, or nothing."""
    time = np.arange(int(2.5 * RATE_HZ)) / RATE_HZ
    machine: Samples = sum(
        (np.sin(2 * np.pi * 43.0 * n * time + n) for n in range(1, 11)), np.zeros(len(time))
    )
    machine = 0.1 * machine * np.exp(-6.0 * time)
    alone = answers(heard(machine + room_noise(len(time), 2e-4, 3)))
    assert alone == pytest.approx([43.0], rel=0.01)  # a file may begin in a pluck
    both = answers(heard(machine + plucked(196.3, 0.05) + room_noise(len(time), 2e-4, 3)))
    assert all(each == pytest.approx(196.3, rel=0.01) for each in both)


def test_a_string_that_stands_between_two_places_is_not_its_own_rival() -> None:
    one = shown(20.0, 4.0, 14.0)
    (best,) = one.candidates
    beside = [
        replace(best, string_hz=best.string_hz * (1.0 - off), score=score)
        for off, score in ((0.006, 13.8), (0.012, 9.0))
    ]
    found = decided(replace(one, candidates=[best, *beside]))
    assert found.quality > LEAST_QUALITY
    assert found.frequency_hz == best.frequency_hz
