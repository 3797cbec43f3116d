"""A measurement while it runs: its phases, what it guides, and that crumbs and files agree."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from beltpitch import parsing
from beltpitch.audio.block import Block, Samples
from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording, room_noise
from beltpitch.pitch.results import FrequencyRange
from beltpitch.reading import expected_range, read
from beltpitch.session.live import (
    CUT,
    DEAD,
    FAINT,
    LOUD,
    OVERFLOW,
    PUMPED,
    TRANSITIONS,
    Measuring,
    State,
)
from beltpitch.session.session import Step, Subject

RATE_HZ = 16_000.0
BELT = parsing.belt("2GT 10 mm", linear_mass="12.6 +/- 0.1 g/m")
SPAN = parsing.span("286 +/- 0.5 mm", BELT, ends="pulley,clamp")


def plucks(
    frequency_hz: float, count: int = 3, *, seed: int = 1, apart_s: float = 2.2, scatter: float = 0
) -> Samples:
    return pluck_recording(
        frequency_hz,
        rate_hz=RATE_HZ,
        plucks=count,
        apart_s=apart_s,
        first_s=1.5,
        inharmonicity=3e-4,
        decay_s=0.15,
        glide=0.003,
        scatter=scatter,
        seed=seed,
    )


def blocks(sound: Samples, size: int = 320) -> Iterator[Block]:
    for start in range(0, len(sound), size):
        yield Block(sound[start : start + size], RATE_HZ)


def fed(measuring: Measuring, sound: Samples, size: int = 320) -> list[State]:
    return [state for block in blocks(sound, size) for state in measuring.feed(block)]


def whole(measuring: Measuring, sound: Samples, size: int = 320) -> list[State]:
    return fed(measuring, sound, size) + list(measuring.finish())


def heard_hz(states: Sequence[State]) -> list[float]:
    return [s.taken.pluck.frequency_hz or 0.0 for s in states if s.taken and s.taken.pluck.used]


def one(subject: Subject | None = None, **options: object) -> Measuring:
    return Measuring(RATE_HZ, [subject or Subject("y-left", BELT, SPAN)], **options)  # type: ignore[arg-type]


# --- phases and events ---------------------------------------------------------------------------


def test_a_sitting_goes_through_its_phases() -> None:
    states = whole(one(), plucks(95.0))
    phases = [s.phase for s in states]
    assert phases[0] == "room"
    assert phases[-1] == "done"
    assert {"waiting", "hearing"} <= set(phases)
    assert [s.event for s in states if s.event] == ["heard", "taken"] * 3 + ["ended"]
    for earlier, later in pairwise(phases):
        assert later == earlier or later in TRANSITIONS[earlier]


def test_every_phase_can_be_left_and_done_cannot() -> None:
    assert all(TRANSITIONS[phase] for phase in TRANSITIONS if phase != "done")
    assert TRANSITIONS["done"] == frozenset()
    assert {after for phases in TRANSITIONS.values() for after in phases} == set(TRANSITIONS)


def test_a_pluck_is_told_with_frequency_tension_and_verdict() -> None:
    states = whole(one(), plucks(95.0, 2))
    first = next(s.taken for s in states if s.taken)
    assert first.number == 1
    assert first.pluck.frequency_hz == pytest.approx(95.0, rel=1e-3)
    assert first.pluck.onset_s == pytest.approx(1.5, abs=0.01)
    assert first.pluck.tension_n == pytest.approx(36.5, rel=0.05)
    assert first.verdict.reading.belt is BELT
    last = states[-1].verdicts[0]
    assert last is not None
    assert sum(p.used for p in last.reading.plucks) == 2


@pytest.mark.parametrize("size", [64, 8192, 10**9])
def test_crumbs_and_the_whole_give_the_same(size: int) -> None:
    sound = plucks(95.0, 2, scatter=0.002)
    usual, other = whole(one(), sound), whole(one(), sound, size)
    assert heard_hz(other) == pytest.approx(heard_hz(usual), rel=1e-9)


def test_live_equals_the_file(tmp_path: Path) -> None:
    sound = plucks(95.0, 5, scatter=0.002)
    expected = expected_range(BELT, SPAN, None)
    measuring = one(Subject("y-left", BELT, SPAN, expected=expected))
    whole(measuring, sound)
    save_sound(tmp_path / "y.wav", sound, RATE_HZ)
    file = read(tmp_path / "y.wav", belt=BELT, span=SPAN)
    (live,) = measuring.readings[0]
    assert file.frequency is not None
    assert live.frequency is not None
    u = file.frequency.u
    # the file holds 32-bit floats, which iterations may amplify a little
    assert live.frequency.value == pytest.approx(file.frequency.value, abs=0.1 * u)
    assert live.frequency.u == pytest.approx(u, rel=0.1)
    assert [p.used for p in live.plucks] == [p.used for p in file.plucks]
    assert live.preload is not None
    assert file.preload is not None
    assert live.preload.value == pytest.approx(file.preload.value, rel=2e-4)


def test_a_known_rate_error_is_corrected_as_in_a_file(tmp_path: Path) -> None:
    sound = plucks(95.0, 2)
    save_sound(tmp_path / "y.wav", sound, RATE_HZ)
    error, _ = parsing.clock("+1000(50) ppm")
    expected = expected_range(BELT, SPAN, None)
    subject = Subject("y-left", BELT, SPAN, expected=expected)
    plain, put_right = one(subject), one(subject, rate_error=error, keep_sound=True)
    whole(plain, sound)
    states = whole(put_right, sound)
    file = read(tmp_path / "y.wav", belt=BELT, span=SPAN, rate_error=error)
    live = put_right.readings[0][-1]
    uncorrected = plain.readings[0][-1]
    assert live.frequency is not None
    assert file.frequency is not None
    assert uncorrected.frequency is not None
    assert live.frequency.value == pytest.approx(file.frequency.value, rel=1e-4)
    assert uncorrected.frequency.value / live.frequency.value == pytest.approx(1.001, rel=1e-4)
    assert live.corrections[-1].name == "clock"
    # what is kept stays at the rate that the input states
    assert {s.taken.sound.rate_hz for s in states if s.taken and s.taken.sound} == {RATE_HZ}


def test_a_steady_tone_that_wanders_is_told_once() -> None:
    step = Step("y")
    for i in range(1000):
        step.note_steady([49.9 + 0.0002 * i, 120.0, 300.0 + 2 * i])
    assert step.steady_hz[:1] != [49.9]
    assert [f for f in step.steady_hz if f < 200] == [pytest.approx(50.1, abs=0.01), 120.0]
    assert len(step.steady_hz) == 20


def test_a_pluck_is_read_while_it_still_sounds() -> None:
    """The first figures come within half a second and are refined, not revised."""
    measuring = one()
    early: list[tuple[float, float]] = []
    final: list[tuple[float, float]] = []
    for block in blocks(plucks(95.0, 2)):
        for state in measuring.feed(block):
            if state.early is not None:
                early.append((measuring.heard_s, state.early.pluck.frequency_hz or 0))
            if state.taken is not None:
                final.append((measuring.heard_s, state.taken.pluck.frequency_hz or 0))
    assert len(early) == len(final) == 2
    for (soon, first), (later, last), onset_s in zip(early, final, (1.5, 3.7), strict=True):
        assert soon - onset_s < 0.5 < later - onset_s
        assert first == pytest.approx(last, rel=5e-3)


def test_a_bang_is_refused_and_said() -> None:
    sound = room_noise(round(4 * RATE_HZ), 3e-4, 5)
    at = round(2 * RATE_HZ)
    sound[at : at + 400] += 0.4 * np.random.default_rng(6).normal(size=400) * np.hanning(400)
    measuring = one()
    states = whole(measuring, sound)
    refused = [s for s in states if s.event == "refused"]
    assert len(refused) == 1
    assert refused[0].taken is not None
    assert refused[0].taken.pluck.reason
    assert measuring.readings[0][0].frequency is None


def test_silence_ends_with_a_reason() -> None:
    states = whole(one(), room_noise(round(3 * RATE_HZ), 3e-4, 5))
    assert states[-1].verdicts == (None,)
    assert any("no pluck was heard" in said for said in states[-1].cautions)


# --- what happens to an input --------------------------------------------------------------------


def test_a_beep_is_not_heard_and_time_goes_on() -> None:
    """The same plucks, a beep after the first: frequencies and onsets stay what they were."""
    sound = plucks(95.0, 2)
    plain = heard_hz(whole(one(), sound))
    begin, end = round(3.2 * RATE_HZ), round(3.4 * RATE_HZ)
    beeped = sound.copy()
    beeped[begin:end] += 0.3 * np.sin(2 * np.pi * 1320 * np.arange(end - begin) / RATE_HZ)
    measuring = one()
    states = []
    for i, block in enumerate(blocks(beeped)):
        deaf = begin <= i * 320 < end
        states += list(measuring.feed(block, deaf=deaf))
    states += list(measuring.finish())
    assert "deaf" in {s.phase for s in states}
    assert heard_hz(states) == pytest.approx(plain, rel=2e-3)
    onsets = [s.taken.pluck.onset_s for s in states if s.taken]
    assert onsets == pytest.approx([1.5, 3.7], abs=0.01)


def test_a_beep_that_is_heard_would_have_been_a_pluck() -> None:
    """The test above is worth something: without being deaf the beep shows."""
    sound = plucks(95.0, 2)
    begin, end = round(3.2 * RATE_HZ), round(3.4 * RATE_HZ)
    sound = sound.copy()
    sound[begin:end] += 0.3 * np.sin(2 * np.pi * 1320 * np.arange(end - begin) / RATE_HZ)
    states = whole(one(), sound)
    assert len([s for s in states if s.taken]) > 2


def test_a_pluck_that_spans_lost_sound_is_refused() -> None:
    measuring = one()
    states = []
    for i, block in enumerate(blocks(plucks(95.0, 2))):
        lost = i == round(1.7 * RATE_HZ / 320)
        states += list(measuring.feed(Block(block.samples, RATE_HZ, overflow=lost)))
    states += list(measuring.finish())
    assert OVERFLOW in next(s for s in states if s.event == "sound lost").cautions
    assert [s.taken.pluck.used for s in states if s.taken] == [False, True]
    assert OVERFLOW in states[-1].cautions


def test_a_lost_input_keeps_what_was_heard() -> None:
    measuring = one()
    sound = plucks(95.0, 2)
    fed(measuring, sound[: round(4.2 * RATE_HZ)])  # in the second pluck
    states = list(measuring.lost("the sound input was lost"))
    assert states[0].phase == "lost"
    assert states[-1].phase == "done"
    assert "the sound input was lost" in states[-1].cautions
    assert len([p for p in measuring.readings[0][0].plucks if p.used]) == 2
    assert list(measuring.feed(Block(np.zeros(10), RATE_HZ))) == []
    assert list(measuring.finish()) == []


def test_a_dead_input_is_said_and_waking_up_is_no_pluck() -> None:
    measuring = one()
    dead = fed(measuring, np.zeros(round(2 * RATE_HZ)))
    assert measuring.state.phase == "level"
    assert DEAD in dead[-1].cautions
    assert DEAD in measuring.now().cautions
    states = whole(measuring, plucks(95.0, 2))
    assert DEAD not in states[-1].cautions
    assert FAINT not in states[-1].cautions
    assert [s.taken.pluck.used for s in states if s.taken] == [True, True]
    assert next(s.taken.pluck.onset_s for s in states if s.taken) == pytest.approx(3.5, abs=0.01)


def test_an_input_that_dies_before_any_pluck_ends_nothing() -> None:
    measuring = one()
    fed(measuring, room_noise(int(3 * RATE_HZ), 1e-3, 7))
    dead = fed(measuring, np.zeros(int(3 * RATE_HZ)))
    assert all(state.taken is None for state in dead)
    assert DEAD in dead[-1].cautions
    assert heard_hz(whole(measuring, plucks(95.0))) == pytest.approx([95.0] * 3, rel=0.01)


def test_a_faint_and_a_loud_room_are_said() -> None:
    faint = whole(one(), room_noise(round(2 * RATE_HZ), 1e-5, 1))
    assert FAINT in faint[-1].cautions
    loud = whole(one(), room_noise(round(2 * RATE_HZ), 0.2, 1))
    assert LOUD in loud[-1].cautions


def test_cautions_known_beforehand_are_shown_from_the_start() -> None:
    measuring = one(cautions=["a Bluetooth input"])
    assert measuring.state.cautions == ("a Bluetooth input",)


def gated(sound: Samples) -> Samples:
    """A gate: nothing below -46 dB, and shut within 10 ms."""
    size = np.convolve(np.abs(sound), np.ones(80) / 80, "same")
    opened = np.convolve(size > 0.005, np.ones(160), "same") > 0
    return np.where(opened, sound, 0.0)


def compressed(sound: Samples) -> Samples:
    """Automatic gain: turned down at once by a loud sound, back up within seconds."""
    gain, out = 1.0, np.empty_like(sound)
    for i, x in enumerate(sound):
        gain = min(gain * 1.00005, 1.0)
        gain = min(gain, 0.02 / max(abs(x), 1e-9))
        out[i] = gain * x
    return out


def test_a_gate_is_recognised_by_what_it_does() -> None:
    sound = plucks(95.0, 4)
    assert CUT in whole(one(), gated(sound))[-1].cautions
    assert CUT not in whole(one(), sound)[-1].cautions


def test_automatic_gain_is_recognised_by_what_it_does() -> None:
    sound = plucks(95.0, 4, apart_s=3.0)
    assert PUMPED in whole(one(), compressed(sound))[-1].cautions
    assert PUMPED not in whole(one(), sound)[-1].cautions


def test_memory_does_not_grow() -> None:
    """After a while every buffer is full; from then on a knock leaves a line and no sound."""
    noise = room_noise(round(6 * RATE_HZ), 3e-4, 5)
    knock = np.random.default_rng(2).normal(size=300) * 0.3
    for second in (1, 3, 5):
        noise[round(second * RATE_HZ) :][:300] += knock
    measuring = one(keep_sound=True)
    sizes = []
    tracemalloc.start()
    for _ in range(7):
        fed(measuring, noise)
        sizes.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    assert measuring.state.taken is not None or measuring.verdicts[0]
    assert sizes[-1] - sizes[3] < 100_000


# --- guiding -------------------------------------------------------------------------------------


def test_both_strands_give_the_preload_and_the_strand_difference() -> None:
    subject = Subject("y", BELT, SPAN, way="strands", strands=("upper", "lower"))
    measuring = one(subject, plucks=3)
    states = fed(measuring, plucks(95.0)) + fed(measuring, plucks(91.0, seed=2))
    assert "moved on" in [s.event for s in states]
    assert measuring.state.order.endswith("lower strand.")
    assert measuring.complete
    upper, lower = measuring.readings[0]
    assert (upper.strand, lower.strand) == ("upper", "lower")
    assert upper.strand_difference is not None
    assert upper.tension is not None
    assert lower.tension is not None
    assert upper.preload is not None
    assert upper.preload.value == pytest.approx((upper.tension.value + lower.tension.value) / 2)
    assert upper.strand_difference.value > 0


def test_sides_ask_to_arrive_from_each_side() -> None:
    measuring = one(Subject("y", BELT, SPAN, way="sides", strands=("upper",)), plucks=2)
    assert "to one side" in measuring.state.order
    fed(measuring, plucks(95.0, 2))
    assert "the other side" in measuring.state.order
    fed(measuring, plucks(94.0, 2, seed=2))
    first, second = measuring.readings[0]
    assert first.strand == "upper, from one side"
    assert first.preload == second.preload


def test_parks_give_a_tension_without_the_span() -> None:
    travel = parsing.travel("100.0 +/- 0.2 mm")
    subject = Subject("y", BELT, SPAN, way="parks", travel=travel)
    measuring = one(subject, plucks=2)
    assert "first place" in measuring.state.order
    fed(measuring, plucks(60.0, 2))
    assert "100 mm" in measuring.state.order
    fed(measuring, plucks(95.0, 2, seed=2))
    joined = measuring.readings[0][-1]
    assert joined.tension is not None
    mass = BELT.linear_mass.value
    speed = 2 * 0.1 / (1 / 60.0 - 1 / 95.0)
    assert joined.tension.value == pytest.approx(mass * speed**2, rel=0.03)
    # the span of the tape fits neither place for sure: no tension is made of it
    near, far = measuring.readings[0][:2]
    assert (near.tension, far.tension) == (None, None)
    assert [p.tension_n for r in (near, far) for p in r.plucks] == [None] * 4
    told = [p.tension_n for p in joined.plucks]
    assert told == pytest.approx([joined.tension.value] * 4, rel=0.01)


def test_the_second_strand_alone_is_called_by_its_own_name() -> None:
    subject = Subject("y", BELT, SPAN, way="strands", strands=("upper", "lower"))
    measuring = one(subject)
    list(measuring.move_on())
    fed(measuring, plucks(95.0, 1))
    (reading,) = measuring.readings[0]
    assert reading.strand == "lower"


def test_the_person_can_move_on_and_say_that_it_was_turned() -> None:
    subject = Subject("y", BELT, SPAN, way="strands", strands=("upper", "lower"))
    measuring = one(subject)
    fed(measuring, plucks(95.0, 2))
    (state,) = measuring.move_on()
    assert (state.event, state.step) == ("moved on", 1)
    (state,) = measuring.turned()
    assert (state.event, state.step) == ("turned", 0)
    fed(measuring, plucks(80.0, 2, seed=3))
    reading = measuring.readings[0][0]
    assert len(reading.plucks) == 2
    assert reading.frequency is not None
    assert reading.frequency.value == pytest.approx(80.0, rel=2e-3)


def test_enough_is_said_and_plucks_wanted_end_it() -> None:
    measuring = one(plucks=5)
    states = fed(measuring, plucks(95.0, 5, scatter=0.001))
    assert measuring.complete
    assert states[-1].advice.kind == "enough"
    assert states[-1].advice.words.startswith("five plucks agree within 0.")
    assert states[-1].advice.words.endswith("one more will not help")


def pair(**options: object) -> Measuring:
    subjects = [Subject("left", BELT, SPAN), Subject("right", BELT, SPAN)]
    return Measuring(RATE_HZ, subjects, same_span=True, **options)  # type: ignore[arg-type]


def test_a_pair_is_guided_until_it_matches() -> None:
    measuring = pair()
    fed(measuring, plucks(95.0, 5, scatter=0.001))
    assert measuring.state.subject == 1
    assert measuring.state.order.startswith("right:")
    fed(measuring, plucks(88.0, 3, seed=2, scatter=0.001))
    assert measuring.match is not None
    assert measuring.match.word == "unmatched"
    assert measuring.state.order.startswith("Tighten right by")
    assert [s.event for s in measuring.turned()] == ["turned"]
    fed(measuring, plucks(94.8, 1, seed=3))
    assert measuring.state.question is not None
    assert measuring.state.order.endswith("sounds like left: which belt was it?")
    assert [s.event for s in measuring.answer("this belt")] == ["answered"]
    states = fed(measuring, plucks(94.8, 2, seed=4, scatter=0.001))
    assert states[-1].match is not None
    assert states[-1].match.look == 1  # a new setting, a new count of looks
    assert measuring.state.order.startswith("Pluck left once more")
    fed(measuring, plucks(95.0, 1, seed=5))
    assert measuring.matched
    assert measuring.state.order.startswith("The plucked strands match; the preloads may")
    right = measuring.readings[1][0]
    assert len(right.plucks) == 3


def test_a_turn_that_nobody_told_of_is_asked_about() -> None:
    measuring = pair()
    fed(measuring, plucks(95.0, 5, scatter=0.001))
    fed(measuring, plucks(84.0, 2, seed=2))
    fed(measuring, plucks(89.0, 2, seed=3))
    assert measuring.state.question is not None
    assert measuring.state.order.endswith("was right turned?")
    assert list(measuring.answer("other belt")) == []
    assert [s.event for s in measuring.answer("turned")] == ["turned"]
    assert sum(p.used for p in measuring.readings[1][0].plucks) == 2


def test_looks_are_counted_from_three_plucks_of_each() -> None:
    measuring = pair(within=0.001, answers=False)  # never to be reached
    fed(measuring, plucks(95.0, 5, scatter=0.002))
    looks = [
        s.match.look
        for s in fed(measuring, plucks(95.0, 4, seed=2, scatter=0.002))
        if s.match and s.event == "taken"
    ]
    assert looks == [1, 1, 1, 2]


def test_the_less_certain_belt_is_plucked_again() -> None:
    measuring = pair(within=0.001, plucks=5, answers=False)
    fed(measuring, plucks(95.0, 5, scatter=0.004))
    fed(measuring, plucks(95.0, 5, seed=2, scatter=0.0002))
    assert measuring.complete
    assert measuring.state.subject == 0


def test_a_pair_read_on_both_strands_waits_for_three_of_each() -> None:
    subjects = [
        Subject(name, BELT, SPAN, way="strands", strands=("upper", "lower"))
        for name in ("left", "right")
    ]
    measuring = Measuring(RATE_HZ, subjects, same_span=True, plucks=3, answers=False)
    for seed in range(3):
        fed(measuring, plucks(95.0, 3, seed=seed, scatter=0.001))
    states = fed(measuring, plucks(95.0, 3, seed=5, scatter=0.001))
    words = [s.match.word for s in states if s.match and s.event == "taken"]
    assert words == ["not yet known"] * 3
    assert measuring.state.subject == 0
    assert not measuring.complete
    fed(measuring, plucks(95.0, 1, seed=6))
    assert measuring.matched
    assert measuring.match is not None
    assert measuring.match.basis == "preload"


def test_going_round_by_hand_comes_back_to_the_first_belt() -> None:
    measuring = pair()
    assert [next(measuring.move_on()).subject for _ in range(3)] == [1, 0, 1]


# --- what is kept of each pluck ------------------------------------------------------------------


def test_the_kept_sound_reads_again_with_the_same_answer(tmp_path: Path) -> None:
    states = whole(one(keep_sound=True), plucks(95.0, 3, apart_s=3.0, scatter=0.002))
    kept = [s.taken for s in states if s.taken]
    assert len(kept) == 3
    for each in kept:
        assert each.sound is not None
        path = tmp_path / f"{each.number}.flac"
        save_sound(path, each.sound.samples, each.sound.rate_hz)
        again = read(path, belt=BELT, span=SPAN)
        assert len(again.plucks) == 1
        assert again.plucks[0].frequency_hz == pytest.approx(each.pluck.frequency_hz, rel=1e-4)


def test_a_kept_pluck_does_not_hold_the_one_before(tmp_path: Path) -> None:
    """Plucked while the last still rang: the file holds one pluck all the same."""
    states = whole(one(keep_sound=True), plucks(95.0, 3, apart_s=0.7, scatter=0.002))
    for each in [s.taken for s in states if s.taken]:
        assert each.sound is not None
        path = tmp_path / f"{each.number}.flac"
        save_sound(path, each.sound.samples, each.sound.rate_hz)
        again = read(path, belt=BELT, span=SPAN)
        assert len([p for p in again.plucks if p.used]) == 1
        assert again.frequency is not None
        assert again.frequency.value == pytest.approx(each.pluck.frequency_hz, rel=2e-3)


# --- plans that cannot be ------------------------------------------------------------------------


def test_plans_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="two parks need"):
        Subject("y", way="parks")
    with pytest.raises(ValueError, match="two names"):
        Subject("y", way="strands", strands=("upper",))
    with pytest.raises(ValueError, match="one belt or two"):
        Measuring(RATE_HZ, [])
    with pytest.raises(ValueError, match="cannot follow"):
        list(one()._enter("hearing"))


def test_without_belt_and_span_there_are_frequencies() -> None:
    measuring = one(Subject("belt", expected=FrequencyRange(50, 150)))
    whole(measuring, plucks(95.0, 2))
    (reading,) = measuring.readings[0]
    assert reading.tension is None
    assert reading.frequency is not None
    assert reading.frequency.value == pytest.approx(95.0, rel=1e-3)


def test_a_pluck_is_left_out_and_taken_back_by_hand() -> None:
    sound = pluck_recording(
        95.0, rate_hz=RATE_HZ, plucks=4, first_s=1.6, decay_s=0.15, scatter=0.002, seed=7
    )
    measuring = one()
    taken = [s.taken for s in fed(measuring, sound) if s.taken]
    list(measuring.finish())
    whole = measuring.readings[0][-1]
    assert whole.frequency is not None
    first = taken[0].pluck.onset_s
    assert first is not None
    (state,) = measuring.by_hand(0, first, use=False)
    assert state.event == "by hand"
    fewer = measuring.readings[0][-1]
    assert [p.used for p in fewer.plucks] == [False, True, True, True]
    assert fewer.plucks[0].reason == "left out by hand"
    assert fewer.frequency is not None
    assert fewer.frequency.value != whole.frequency.value
    list(measuring.by_hand(0, first, use=True))
    assert measuring.readings[0][-1] == whole
    assert list(measuring.by_hand(0, 99.0, use=False)) == []
