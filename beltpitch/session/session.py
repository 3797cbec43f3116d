"""One belt while it is measured: a plan of steps, and the plucks of each step made into readings.

A belt is read in one step (a strand as it is) or in two: both strands, one strand arriving from
either side, or the same strand at two parks. Each pluck is heard as it comes; where it does not
fit the others, the last ones are decided anew together.

Conventions: no input, no output; bounded memory however many plucks there are.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from beltpitch import parsing
from beltpitch.advice.window import Window
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.span import Span
from beltpitch.errors import CannotTell
from beltpitch.pitch.estimator import hear
from beltpitch.pitch.messages import UNCLEAR
from beltpitch.pitch.pluck_detector import Pluck
from beltpitch.pitch.results import FrequencyRange, PitchResult, PluckResult
from beltpitch.pitch.selection import in_a_row
from beltpitch.reading import PluckReading, Reading, both_strands, from_parks, heard_reading
from beltpitch.session.verdict import Verdict, judged
from beltpitch.uncertainty import Estimate

Hearing = Callable[[Sequence[Pluck], FrequencyRange], PitchResult]
Way = Literal["one", "strands", "sides", "parks"]

MOST_PLUCKS = 50  # of one step that are kept: their mean is known to a seventh of their scatter
JOINT = 8  # plucks that are decided together anew when one of them disagrees
SAME_TONE = 0.01  # relative; within it plucks need no new decision
BOTH = 2
SAME_STEADY_HZ = 1.0  # a fan's tone wanders by less within a sitting
MOST_STEADY = 20
BY_HAND = "left out by hand"
ASKED_ABOUT = "counts for no belt until the question about it is answered"
ONE_PARK = "one place alone tells no tension here: pluck at the other too"


@dataclass(frozen=True, slots=True)
class Subject:
    """A belt to be measured, and how.

    Parameters
    ----------
    name
        What the person calls it.
    belt, span
        What is plucked; without them only frequencies are given.
    other_span
        The span of the second of both strands; None for as that of the first.
    window
        Where its preload should lie.
    expected
        Where its frequency must lie.
    expected_then
        The same in the second step, whose span is another; None for as in the first.
    way
        ``one`` strand as it is, both ``strands``, one strand arriving from either of two ``sides``,
        or the same strand at two ``parks``.
    strands
        Names of the strand, or of the two strands.
    travel
        How far the carriage moves between two parks, in m.
    sides
        All of the loop that stands at each strand's tension, in m; None where not known.
    echoes
        Defaults that were taken for it, to be shown.
    """

    name: str
    belt: Belt | None = None
    span: Span | None = None
    other_span: Span | None = None
    window: Window | None = None
    expected: FrequencyRange = field(default_factory=FrequencyRange)
    expected_then: FrequencyRange | None = None
    way: Way = "one"
    strands: tuple[str, ...] = ()
    travel: Estimate | None = None
    sides: tuple[Estimate, Estimate] | None = None
    echoes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.way == "parks" and (self.travel is None or self.belt is None):
            raise ValueError(f"{self.name}: two parks need the belt and the travel")
        if self.way == "strands" and len(self.strands) != BOTH:
            raise ValueError(f"{self.name}: both strands need two names, got {self.strands}")

    @property
    def orders(self) -> tuple[str, ...]:
        """One sentence for each step."""
        settle = f"{self.name}: push the carriage slowly to and fro three times and let go"
        on = f"the {self.strands[0]} strand" if self.strands else "the belt"
        if self.way == "strands":
            first, second = self.strands
            return (
                f"{settle}; then pluck the {first} strand.",
                f"{settle}; then pluck the {second} strand.",
            )
        if self.way == "sides":
            return (
                f"{self.name}: push the carriage to one side, bring it slowly back to its place, "
                f"let go; then pluck {on}.",
                f"{self.name}: now arrive from the other side, let go; then pluck {on}.",
            )
        if self.way == "parks":
            assert self.travel is not None
            return (
                f"{self.name}: park the carriage at the first place; then pluck {on}.",
                f"{self.name}: move the carriage by {self.travel.value * 1000:.4g} mm; then pluck "
                f"{on} again.",
            )
        return (f"{settle}; then pluck {on}.",)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What can be said against the way it is read before anything is plucked."""
        if self.travel is None or self.belt is None:
            return ()
        return parsing.odd_teeth((self.travel,), self.belt)

    def span_at(self, step: int) -> Span | None:
        """Return the span that is plucked in one of its steps."""
        return self.other_span if step and self.other_span else self.span

    def expected_at(self, step: int) -> FrequencyRange:
        """Where the frequency must lie in one of its steps."""
        return self.expected_then if step and self.expected_then else self.expected

    @property
    def parts(self) -> tuple[str, ...]:
        """What each step reads, in a few words; "" where there is only one."""
        on = self.strands[0] if self.strands else "strand"
        return {
            "one": ("",),
            "strands": self.strands,
            "sides": (f"{on}, from one side", f"{on}, from the other"),
            "parks": ("first place", "second place"),
        }[self.way]


@dataclass(slots=True, eq=False)
class Slot:
    """A pluck as it was heard, and its sound while it may still be decided anew.

    ``by_hand`` is what the person said of it: True to use it, False to leave it out. ``alone_hz``
    is its tone as it was heard by itself; ``held`` tells that a question about it is open.
    """

    heard: PluckResult
    pluck: Pluck | None
    by_hand: bool | None = None
    alone_hz: float | None = None
    held: bool = False

    @property
    def tone_hz(self) -> float | None:
        """Its tone, together with the others or by itself; None without one or left out by hand."""
        if self.by_hand is False:
            return None
        return self.heard.pitch.frequency_hz if self.heard.pitch else self.alone_hz

    @property
    def told(self) -> PluckResult:
        """The pluck with what the person said of it; without a tone there is nothing to use."""
        if self.held:
            return replace(self.heard, used=False, reason=ASKED_ABOUT)
        if self.by_hand is False:
            return replace(self.heard, used=False, reason=BY_HAND)
        if self.by_hand and self.heard.pitch is not None:
            return replace(self.heard, used=True, reason=None)
        return self.heard


@dataclass(slots=True)
class Step:
    """The plucks of one step of one belt at one setting of its tensioner."""

    key: str
    slots: deque[Slot] = field(default_factory=lambda: deque(maxlen=MOST_PLUCKS))
    steady_hz: list[float] = field(default_factory=list)
    taken: int = 0

    @property
    def heard(self) -> list[PluckResult]:
        """Every pluck, in order."""
        return [slot.told for slot in self.slots]

    def note_steady(self, found_hz: Iterable[float]) -> None:
        """Remember steady tones, each once and as it was last heard."""
        for hertz in found_hz:
            others = [f for f in self.steady_hz if abs(f - hertz) > SAME_STEADY_HZ]
            self.steady_hz = [*others, hertz][-MOST_STEADY:]

    @property
    def used_hz(self) -> list[float]:
        """Frequencies of the plucks that count, in order."""
        return [h.pitch.frequency_hz for h in self.heard if h.used and h.pitch]


class Sitting:
    """One belt being measured: its steps, and what has been made of their plucks.

    Parameters
    ----------
    subject
        The belt and how it is measured.
    rate_error
        Of the input, where it is known and its plucks come at the rate put right by it.
    hearing
        What hears plucks together.
    """

    def __init__(
        self, subject: Subject, rate_error: Estimate | None = None, hearing: Hearing = hear
    ) -> None:
        self.subject = subject
        self._rate_error, self._hear = rate_error, hearing
        self.setting = 0
        self.steps: list[Step] = []
        self.parts: tuple[tuple[int, Reading], ...] = ()
        self.readings: tuple[Reading, ...] = ()
        self.verdicts: tuple[Verdict, ...] = ()
        self.begin_setting()

    def begin_setting(self) -> None:
        """Forget the plucks: the tensioner was turned."""
        self.setting += 1
        name = self.subject.name
        self.steps = [Step(f"{name}/{self.setting}/{i}") for i in range(len(self.subject.orders))]

    def begin_step(self, index: int) -> None:
        """Forget the plucks of one step: it is read anew."""
        self.steps[index] = Step(self.steps[index].key)

    def hold(self, index: int, slots: Sequence[Slot]) -> None:
        """Let plucks of a step count for nothing while a question about them is open."""
        for slot in slots:
            slot.held = True
        step = self.steps[index]
        if any(slot.pluck is not None for slot in step.slots if not slot.held):
            self._decide_together(index)
        step.taken = len(step.used_hz)

    def release(self) -> list[Slot]:
        """Let plucks that were held be plucks like any other; return them."""
        slots = self.held
        for slot in slots:
            slot.held = False
        return slots

    @property
    def held(self) -> list[Slot]:
        """The plucks about which a question is open."""
        return [slot for step in self.steps for slot in step.slots if slot.held]

    def take(self, index: int, slots: Sequence[Slot] = ()) -> None:
        """Count plucks that were heard before for a step, beside those that it has."""
        step = self.steps[index]
        step.slots.extend(slots)
        self._decide_together(index)
        step.taken = len(step.used_hz)

    def give(self, index: int, slots: Sequence[Slot]) -> None:
        """Let go of plucks of a step: they are another belt's."""
        step = self.steps[index]
        step.slots = deque((s for s in step.slots if s not in slots), maxlen=MOST_PLUCKS)

    def settle(self) -> None:
        """Decide over the plucks of each step together once more, as a recording is read."""
        for index in range(len(self.steps)):
            self._decide_together(index)
        self.judge()

    @property
    def plucked(self) -> bool:
        """Whether every step has a pluck that counts."""
        return all(step.used_hz for step in self.steps)

    @property
    def reading(self) -> Reading | None:
        """The last and fullest reading."""
        return self.readings[-1] if self.readings else None

    @property
    def verdict(self) -> Verdict | None:
        """The last and fullest verdict."""
        return self.verdicts[-1] if self.verdicts else None

    def hear(self, index: int, pluck: Pluck) -> PluckResult:
        """Hear one pluck; where it does not fit, decide anew over the last ones together."""
        step, expected = self.steps[index], self.subject.expected_at(index)
        found = self._hear([pluck], expected)
        step.note_steady(found.steady_hz)
        one = found.plucks[0] if found.plucks else _unheard(pluck, found)
        hopeful = one.pitch is not None or _is_unclear(one)
        others_hz = step.used_hz
        alone_hz = one.pitch.frequency_hz if one.pitch else None
        step.slots.append(Slot(one, pluck if hopeful else None, alone_hz=alone_hz))
        for slot in [slot for slot in step.slots if slot.pluck is not None][:-JOINT]:
            slot.pluck = None
        if hopeful and not _fits(one, others_hz):
            self._decide_together(index)
        return step.slots[-1].heard

    def by_hand(self, onset_s: float, *, use: bool) -> bool:
        """Use or leave out the pluck that began there; tell whether there is one that can be so.

        A pluck without a tone of its own cannot be used.
        """
        for step in self.steps:
            for slot in step.slots:
                if slot.heard.onset_s == onset_s and (slot.heard.pitch is not None or not use):
                    slot.by_hand, slot.held = use, False
                    step.taken = len(step.used_hz)
                    self.judge()
                    return True
        return False

    def alone(self, index: int, pluck: Pluck) -> tuple[PluckReading, Verdict] | None:
        """Return what one pluck tells by itself, without taking it; None if it tells nothing."""
        found = self._hear([pluck], self.subject.expected_at(index))
        if not any(h.used for h in found.plucks):
            return None
        me = self.subject
        key = f"{self.steps[index].key}/early"
        reading = self._read(found, key, index)
        if me.way == "parks":
            reading = _of_one_park(reading)
        return reading.plucks[-1], judged(reading, me.window)

    def _decide_together(self, index: int) -> None:
        """Hear the last plucks of a step that have a tone to tell once more, all at once.

        What was answered often enough in a row stays: where it is given no other tone now, what has
        changed is what sounded after it.
        """
        slots = self.steps[index].slots
        kept = [s for s in slots if s.pluck and s.by_hand is not False and not s.held]
        if not kept:
            return
        expected = self.subject.expected_at(index)
        again = self._hear([s.pluck for s in kept if s.pluck is not None], expected).plucks
        if len(again) != len(kept):
            return
        told = [s.heard for s in self.steps[index].slots]
        sounds = [(h.onset_s or 0.0, h.pitch.frequency_hz) for h in told if h.pitch is not None]
        for slot, heard in zip(kept, again, strict=True):
            one = slot.heard
            stays = one.used and one.pitch and in_a_row(sounds, one.pitch.frequency_hz)
            if heard.pitch is not None or not stays:
                slot.heard = heard

    def judge(self) -> None:
        """Make readings and verdicts of what was heard."""
        self.parts = tuple(
            (i, self._reading(i, step)) for i, step in enumerate(self.steps) if step.slots
        )
        parts = [reading for _, reading in self.parts]
        self.readings = self._joined(parts) if parts else ()
        self.verdicts = tuple(judged(r, self.subject.window) for r in self.readings)

    def _reading(self, index: int, step: Step) -> Reading:
        plucks = tuple(step.heard)
        why = None
        if not step.used_hz:
            why = next((h.reason for h in reversed(plucks) if h.reason), None)
        told = PitchResult(plucks, tuple(sorted(step.steady_hz)), why)
        me = self.subject
        reading = self._read(told, step.key, index)
        if me.way == "parks":
            reading = _of_one_park(reading)
        strand = me.strands[index if me.way == "strands" else 0] if me.strands else None
        return replace(reading, strand=strand, echoes=(*reading.echoes, *me.echoes))

    def _read(self, heard: PitchResult, key: str, step: int) -> Reading:
        me, span = self.subject, self.subject.span_at(step)
        return heard_reading(heard, me.name, me.belt, span, key=key, rate_error=self._rate_error)

    def _joined(self, parts: Sequence[Reading]) -> tuple[Reading, ...]:
        """Return readings that share a preload, or with the one that two parks make."""
        me = self.subject
        if len(parts) < len(self.steps) or me.way == "one":
            return tuple(parts)
        first, second = parts
        try:
            if me.way == "parks":
                assert me.travel is not None
                return (first, second, from_parks(first, second, me.travel))
            return both_strands(
                first,
                second,
                (me.parts[0], me.parts[1]),
                me.sides,
                one_strand_twice=me.way == "sides",
            )
        except CannotTell as error:
            said = dict.fromkeys((*second.warnings, error.message))
            return (first, replace(second, warnings=tuple(said)))


def _of_one_park(reading: Reading) -> Reading:
    """Return a park's reading without a tension: the tape's span fits one of the two at most."""
    return replace(
        reading,
        tension=None,
        preload=None,
        groups=tuple(replace(group, tension=None) for group in reading.groups),
        corrections=tuple(c for c in reading.corrections if c.name == "clock"),
        plucks=tuple(replace(p, tension_n=None) for p in reading.plucks),
        warnings=(ONE_PARK,) if reading.frequency else reading.warnings,
    )


def _unheard(pluck: Pluck, heard: PitchResult) -> PluckResult:
    return PluckResult(pluck.onset_s, None, used=False, reason=pluck.refused or heard.reason)


def _is_unclear(one: PluckResult) -> bool:
    """Whether a pluck was withheld only because several tones explain it alike."""
    return one.reason is not None and one.reason.startswith(UNCLEAR.partition("{")[0])


def _fits(one: PluckResult, others_hz: Sequence[float]) -> bool:
    """Whether a pluck says what another says, so that nothing need be decided anew."""
    if not (one.used and one.pitch):
        return False
    tone_hz = one.pitch.frequency_hz
    return any(abs(tone_hz / other - 1) <= SAME_TONE for other in others_hz)
