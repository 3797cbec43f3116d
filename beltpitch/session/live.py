"""A measurement while it runs: blocks in, states out; no input, no output, no clock.

One belt, or two as a guided pair; one strand, both strands, one strand arriving from either side,
or two parks: each is a plan of steps, and every step is one sentence to the person at the machine.
Whatever shows a measurement (the terminal, the page) draws the same `State` records.

`Measuring` is a protocol engine: the owner of the microphone feeds blocks and draws what comes
back, and may say that the person has moved on, turned a tensioner or wants to end. Its phases and
what may follow what stand in `TRANSITIONS`.

    listening = Measuring(rate_hz, [Subject("y-left", belt, span)])
    for block in microphone:
        for state in listening.feed(block):
            draw(state)
    draw(listening.finish())

Conventions: time is counted in samples and given in seconds from the first block; levels are
fractions of full scale; frequencies in Hz, forces in newtons.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from beltpitch.advice.comparison import TOLERANCE, Comparison
from beltpitch.advice.repeatability import Advice, advice
from beltpitch.audio.block import Block, Samples
from beltpitch.audio.input_monitor import SILENT, TOO_LOUD, InputMonitor
from beltpitch.audio.ring_buffer import RingBuffer
from beltpitch.pitch.live_detector import LivePluckDetector
from beltpitch.pitch.messages import HOLD
from beltpitch.pitch.pluck_detector import Pluck
from beltpitch.pitch.results import PluckResult
from beltpitch.reading import PluckReading, Reading
from beltpitch.session.guide import Guide, Question, Task
from beltpitch.session.session import Subject
from beltpitch.session.verdict import Verdict
from beltpitch.uncertainty import Estimate

DEAD = (
    "the input is dead: not one sample changes; choose another with --device, plug the microphone "
    "in, or unmute it in the system's sound settings"
)
FAINT = (
    "hardly any sound comes in: check that the microphone is not muted or turned down, and " + HOLD
)
LOUD = "it is too loud here, or the input is turned up too far: turn it down or move away"
OVERFLOW = "sound was lost: the computer is too busy; close other programs"
CUT = (
    "the system cuts the plucks off (noise suppression): switch it off in the sound settings, "
    "or record with another program and use beltpitch recording"
)
PUMPED = (
    "the system turns the level up between plucks (automatic gain): switch it off in the sound "
    "settings; frequencies still hold, faint plucks may be missed"
)

Phase = Literal["level", "room", "waiting", "hearing", "deaf", "lost", "done"]
Event = Literal[
    "heard",
    "taken",
    "refused",
    "moved on",
    "turned",
    "by hand",
    "answered",
    "sound lost",
    "input lost",
    "ended",
]

# What may follow what. "level": is there any sound; "room": a second of the room's noise;
# "deaf": a beep sounds; "lost": the input is gone.
TRANSITIONS: Mapping[Phase, frozenset[Phase]] = {
    "level": frozenset({"room", "deaf", "lost", "done"}),
    "room": frozenset({"level", "waiting", "hearing", "deaf", "lost", "done"}),
    "waiting": frozenset({"level", "hearing", "deaf", "lost", "done"}),
    "hearing": frozenset({"level", "waiting", "deaf", "lost", "done"}),
    "deaf": frozenset({"level", "room", "waiting", "hearing", "lost", "done"}),
    "lost": frozenset({"done"}),
    "done": frozenset(),
}

PHASE_WORDS: Mapping[Phase, str] = {
    "level": "checking the input",
    "room": "hearing the room",
    "waiting": "waiting for a pluck",
    "hearing": "hearing",
    "deaf": "beep",
    "lost": "input lost",
    "done": "done",
}
QUIETEST_DB = -72.0  # a level meter begins there
LEVEL_S = 0.3
ROOM_S = 1.0
EARLY_S = 0.35  # of a pluck, after which it is read for the first time
HEARING_OVER = 4.0  # times the room's level: something sounds
LEAD_S, TAIL_S = 1.5, 0.25  # of quiet, kept around a pluck
SHORT_LEAD_S = 0.06  # where another rang just before
QUIET_BELOW = 2.5  # times the room


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """The sound of one pluck at the input's own rate, to be kept."""

    samples: Samples
    rate_hz: float


@dataclass(frozen=True, slots=True)
class Taken:
    """One pluck, as it came: taken or refused.

    Parameters
    ----------
    subject, step
        Which belt and which of its steps, from 0.
    number
        Counts all plucks of the measurement from 1.
    pluck
        Its figures; ``used`` tells whether it counts.
    verdict
        The belt as it stood with this pluck.
    sound
        The sound itself where it is to be kept.
    heard, raw
        What was heard of it, and the stretch of sound in which it was heard, to be looked at.
    """

    subject: int
    step: int
    number: int
    pluck: PluckReading
    verdict: Verdict
    sound: Sound | None = None
    heard: PluckResult | None = None
    raw: Pluck | None = None


@dataclass(frozen=True, slots=True)
class State:
    """Everything there is to show at one moment.

    Parameters
    ----------
    phase
        What is being done with the sound.
    event
        What has just happened; None if only the phase changed.
    heard_s
        Sound so far.
    level, room
        Largest sample of the last tenth of a second, and the room's level.
    subject, step
        The belt and step that is asked for.
    order
        The sentence for the person.
    advice
        What the plucks of this belt say.
    verdicts
        One for each belt that has been plucked, by its place in the plan; None for the others.
    taken
        The pluck that has just come.
    early
        A pluck that still sounds, read by itself so far; its line follows as `taken`.
    match
        The two belts compared; None for a single belt.
    cautions
        What is wrong with the input, or was lost.
    steps
        How many steps this belt is asked for.
    question
        What only the person can know, with its answers; None where nothing is asked.
    """

    phase: Phase
    event: Event | None
    heard_s: float
    level: float
    room: float
    subject: int
    step: int
    order: str
    advice: Advice
    verdicts: tuple[Verdict | None, ...]
    taken: Taken | None = None
    early: Taken | None = None
    match: Comparison | None = None
    cautions: tuple[str, ...] = ()
    steps: int = 1
    question: Question | None = None

    @property
    def level_db(self) -> float:
        """The level in decibels of full scale, not below `QUIETEST_DB`."""
        return 20 * math.log10(max(self.level, 10 ** (QUIETEST_DB / 20)))


def dead_words(silence: str | None) -> str:
    """Return what to say of an input that delivers nothing: why, where that is known."""
    return f"the input is dead: {silence}" if silence else DEAD


class Measuring:
    """A measurement that is running.

    Parameters
    ----------
    rate_hz
        Rate of the blocks that will be fed.
    subjects
        The belts, in the order in which they are plucked: one, or two as a pair.
    within
        Tolerance of a pair, a fraction of tension.
    same_span, one_roll
        Of a pair, see `beltpitch.advice.comparison.compare`.
    plucks
        Plucks that count after which a step is over; a single belt then ends.
    keep_sound
        Whether each pluck's own sound is handed out.
    rate_error
        Of the input, where it is known (`beltpitch.parsing.clock`); it is corrected.
    cautions
        What is known against the input already, such as that it is a Bluetooth one.
    dead
        What to say while not one sample of the input changes.
    answers
        Whether somebody can answer questions, see `beltpitch.session.guide.Guide`.
    """

    def __init__(
        self,
        rate_hz: float,
        subjects: Sequence[Subject],
        *,
        within: float = TOLERANCE,
        same_span: bool | None = None,
        one_roll: bool = True,
        plucks: int | None = None,
        keep_sound: bool = False,
        rate_error: Estimate | None = None,
        cautions: Sequence[str] = (),
        dead: str = DEAD,
        answers: bool = True,
    ) -> None:
        self._guide = Guide(
            subjects,
            within=within,
            same_span=same_span,
            one_roll=one_roll,
            plucks=plucks,
            rate_error=rate_error,
            answers=answers,
        )
        # As the input states it, to keep its sound by; and as it is, to hear it by.
        self._stated_hz = rate_hz
        rate_hz = rate_hz / (1 + (rate_error.value if rate_error else 0.0))
        self._rate_hz = rate_hz
        self._ear = LivePluckDetector(rate_hz)
        self._watch = InputMonitor(rate_hz)
        self._ring = RingBuffer(rate_hz) if keep_sound else None
        self._cautions = dict.fromkeys(cautions)
        self._dead_words = dead
        self._phase: Phase = "level"
        self._count = 0
        self._room = 0.0
        self._read_early = False
        self._awake_s = 0.0  # since when plucks could be heard
        self._alive_s = 0.0  # since when the input has not been dead
        self.state = self._made(None)

    # --- what the owner says

    def feed(self, block: Block, *, deaf: bool = False) -> Iterator[State]:
        """Take one block; yield the states that follow from it, each as soon as it is known.

        Parameters
        ----------
        block
            The next sound.
        deaf
            Whether a beep sounds in it, so that it must not be heard.
        """
        if self._phase in ("lost", "done"):
            return
        if block.rate_hz != self._rate_hz:
            block = replace(block, rate_hz=self._rate_hz)
        if block.overflow:
            self._cautions.setdefault(OVERFLOW)
            yield self._said("sound lost")
        if self._ring is not None:
            self._ring.feed(block)
        self._watch.feed(block)
        yield from self._passed_over(block) if deaf else self._listened(block)

    def _passed_over(self, block: Block) -> Iterator[State]:
        self._ear.skip(block)
        if self._ring is not None:
            self._ring.gap()
        yield from self._enter("deaf")

    def _listened(self, block: Block) -> Iterator[State]:
        yield from self._enter(self._phase_now())
        if tuple(self._cautions) != self.state.cautions:
            yield self._said(None)
        asleep = self._asleep()
        if asleep:
            self._awake_s = self._watch.heard_s
        heard = self._ear.sleep if asleep else self._ear.hear
        for pluck in heard(block):
            if pluck.onset_s is not None:  # None: the input died before any pluck
                yield from self._pluck(pluck)
        yield from self._early()

    def _early(self) -> Iterator[State]:
        """Read a pluck once while it still sounds, so that its figures are there at once."""
        sounding_s = self._ear.sounding_s
        if sounding_s is None or sounding_s < EARLY_S:
            self._read_early = False
            return
        if self._read_early:
            return
        self._read_early = True
        pluck = self._ear.so_far()
        guide = self._guide
        alone = None if pluck is None else guide.here.alone(guide.step, pluck)
        if alone is not None:
            taken = Taken(guide.subject, guide.step, self._count + 1, *alone)
            self.state = replace(self._made("heard"), early=taken)
            yield self.state

    def finish(self) -> Iterator[State]:
        """Take what is left of the sound and end; yields the last states."""
        if self._phase == "done":
            return
        for pluck in self._ear.finish():
            if pluck.onset_s is not None:
                yield from self._pluck(pluck)
            elif not self._count:
                self._cautions.setdefault(pluck.refused or "no pluck was heard")
        self._guide.finish()
        self._phase = "done"
        yield self._said("ended")

    def lost(self, words: str) -> Iterator[State]:
        """End because the input is gone; everything heard is kept."""
        self._cautions.setdefault(words)
        self._phase = "lost"
        yield self._said("input lost")
        yield from self.finish()

    def warn(self, words: str) -> None:
        """Say something against this measurement from now on."""
        self._cautions.setdefault(words)

    def move_on(self) -> Iterator[State]:
        """Go to the next step, the next belt, or round to the first."""
        if self._phase not in ("lost", "done"):
            self._guide.move_on()
            yield self._said("moved on")

    def turned(self) -> Iterator[State]:
        """Begin anew with the present belt, or the one asked about: its tensioner was turned."""
        if self._phase not in ("lost", "done"):
            self._guide.turned()
            yield self._said("turned")

    def answer(self, task: Task) -> Iterator[State]:
        """Answer the question that is open; nothing where that is no answer to it."""
        if self._phase not in ("lost", "done") and self._guide.answer(task):
            yield self._said("turned" if task == "turned" else "answered")

    def by_hand(self, subject: int, onset_s: float, *, use: bool) -> Iterator[State]:
        """Use or leave out one pluck as the person says; nothing where there is none such."""
        if self._guide.by_hand(subject, onset_s, use=use):
            yield self._said("by hand")

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the belts, in the order of the plan."""
        return tuple(sitting.subject.name for sitting in self._guide.sittings)

    @property
    def heard_s(self) -> float:
        """Sound so far, by the input's own samples."""
        return self._ear.came_s

    def now(self) -> State:
        """Return the last state with the level as it is now, and without what had happened."""
        return replace(
            self.state,
            event=None,
            taken=None,
            early=None,
            heard_s=self.heard_s,
            level=self._watch.peak,
            cautions=tuple(self._cautions),
        )

    @property
    def readings(self) -> tuple[tuple[Reading, ...], ...]:
        """Readings of each belt, in the order of the plan."""
        return tuple(sitting.readings for sitting in self._guide.sittings)

    @property
    def parts(self) -> tuple[tuple[tuple[int, Reading], ...], ...]:
        """Of each belt every step that was plucked, with its reading before they are joined."""
        return tuple(sitting.parts for sitting in self._guide.sittings)

    @property
    def verdicts(self) -> tuple[tuple[Verdict, ...], ...]:
        """Verdicts of each belt, in the order of the plan."""
        return tuple(sitting.verdicts for sitting in self._guide.sittings)

    @property
    def match(self) -> Comparison | None:
        """The pair as it stands."""
        return self._guide.match

    @property
    def matched(self) -> bool:
        """Whether the pair is found equal: a guided pair is then over."""
        return self._guide.matched

    @property
    def complete(self) -> bool:
        """Whether as many plucks as were asked for have been taken in every step."""
        return self._guide.complete

    # --- phases

    def _enter(self, phase: Phase) -> Iterator[State]:
        if phase == self._phase:
            return
        if phase not in TRANSITIONS[self._phase]:
            raise ValueError(f"{phase} cannot follow {self._phase}")
        self._phase = phase
        yield self._said(None)

    def _asleep(self) -> bool:
        """Whether the input is dead, or has not yet delivered anything but one sample."""
        return self._watch.dead or self._watch.unborn

    def _phase_now(self) -> Phase:
        """Return what the sound so far amounts to."""
        watch = self._watch
        if self._asleep():
            if watch.dead:
                self._cautions.setdefault(self._dead_words)
            self._alive_s = watch.heard_s
            return "level"
        self._cautions.pop(self._dead_words, None)
        alive_s = watch.heard_s - self._alive_s
        if alive_s < LEVEL_S:
            return "level"
        if alive_s < LEVEL_S + ROOM_S or self._phase == "level":
            return "room"
        if self._phase == "room":
            self._measure_room()
        return "hearing" if watch.level > HEARING_OVER * self._room else self._at_rest()

    def _at_rest(self) -> Phase:
        """Follow the room slowly while nothing sounds."""
        self._room += (min(self._watch.level, 2 * self._room) - self._room) / 50
        return "waiting"

    def _measure_room(self) -> None:
        self._room = max(self._watch.room(), SILENT / 4)
        if self._room > TOO_LOUD:
            self._cautions.setdefault(LOUD)
        elif self._room < SILENT:
            self._cautions.setdefault(FAINT)

    def _made(self, event: Event | None, taken: Taken | None = None) -> State:
        guide = self._guide
        sitting = guide.here
        return State(
            phase=self._phase,
            event=event,
            heard_s=self.heard_s,
            level=self._watch.peak,
            room=self._room,
            subject=guide.subject,
            step=guide.step,
            order=guide.order,
            advice=advice(sitting.steps[guide.step].heard, sitting.reading),
            verdicts=tuple(b.verdict for b in guide.sittings),
            taken=taken,
            match=guide.match,
            cautions=tuple(self._cautions),
            steps=len(sitting.steps),
            question=guide.question,
        )

    def _said(self, event: Event | None, taken: Taken | None = None) -> State:
        self.state = self._made(event, taken)
        return self.state

    # --- plucks

    def _pluck(self, pluck: Pluck) -> Iterator[State]:
        assert pluck.onset_s is not None
        guide = self._guide
        sitting, subject, index = guide.here, guide.subject, guide.step
        one = guide.hear(pluck)
        self._count += 1
        end_s = pluck.onset_s + (len(pluck.samples) - pluck.onset) / pluck.rate_hz
        if one.used:
            self._watch.plucked(pluck.onset_s, end_s)
            self._judge_input()
        verdict = sitting.verdicts[min(index, len(sitting.verdicts) - 1)]
        taken = Taken(
            subject,
            index,
            self._count,
            self._figures(one, verdict),
            sitting.verdicts[-1],
            self._sound(pluck.onset_s, end_s),
            heard=one,
            raw=pluck,
        )
        yield self._said("taken" if one.used else "refused", taken)
        if one.used and guide.go_on():
            yield self._said("moved on")

    def _figures(self, one: PluckResult, verdict: Verdict) -> PluckReading:
        """Return the pluck's own figures."""
        same = [p for p in verdict.reading.plucks if p.onset_s == one.onset_s]
        if same:
            return same[-1]
        return PluckReading(one.onset_s, None, None, None, used=False, reason=one.reason)

    def _sound(self, onset_s: float, end_s: float) -> Sound | None:
        """Return the pluck with the quiet around it, free of what rang before and came after."""
        if self._ring is None:
            return None
        quiet = QUIET_BELOW * max(self._room, SILENT)
        begin = max(
            self._watch.quiet_since(onset_s - SHORT_LEAD_S, quiet),
            onset_s - LEAD_S,
            self._ring.gap_s,
            self._awake_s,
        )
        if begin > onset_s - 5 * SHORT_LEAD_S:
            begin = onset_s - SHORT_LEAD_S
        tail = TAIL_S if self._watch.quiet_between(end_s, end_s + TAIL_S, quiet) else 0.0
        return Sound(self._ring.cut(begin, end_s + tail), self._stated_hz)

    def _judge_input(self) -> None:
        if self._watch.cut:
            self._cautions.setdefault(CUT)
        if self._watch.pumped:
            self._cautions.setdefault(PUMPED)
