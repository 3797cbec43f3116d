"""What a live measurement asks of the person: which belt, which step, and what only they can know.

Plucks in, orders and questions out; no sound, no clock of its own. A tone tells which string
sounds, not whose hand turned what. Three things are therefore asked, and until they are answered
the plucks concerned count for no belt and the answer before stays:

- two plucks agree with each other and with none of the others: was the belt turned? (One pluck is
  enough where a turn was asked for, or where a pair is about to be called equal.)
- a pluck fits the other belt's tone and not the one that this belt had, or nothing is known of this
  one's yet: which belt was it? Two belts that are equal, and one belt that is plucked in place of
  both, sound the same.

A turn is never guessed: a belt's plucks begin anew only when the person says that it was turned.

A pair is called ``matched`` only by a pluck of each belt, one right after the other: the first, the
second, and the first once more. A belt that was turned without a word, or that moved when the other
was turned, is found by that last pluck.

Conventions: frequencies in Hz, times in seconds from the first block; belts and steps count from 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from beltpitch.advice.comparison import (
    LEAST_PLUCKS,
    TOLERANCE,
    Comparison,
    PluckAgain,
    Reached,
    compare,
    plucks_leave,
    tighter_by,
)
from beltpitch.advice.repeatability import ENOUGH_PLUCKS, advice
from beltpitch.pitch.estimator import hear
from beltpitch.pitch.groups import agreeing, groups
from beltpitch.pitch.pluck_detector import Pluck
from beltpitch.pitch.results import PluckResult
from beltpitch.session.session import Hearing, Sitting, Slot, Subject
from beltpitch.uncertainty import Estimate

Task = Literal["turned", "only these", "this belt", "other belt", "leave out"]

PAIR = 2
PLUCKS_WEIGH = 0.5  # share of the variance from which more plucks of a belt are worth it
ONCE_MORE = "a turn of one belt can move the other"


@dataclass(frozen=True, slots=True)
class PersonAnswer:
    """One answer to a question: what it does, the key that gives it, and its words."""

    task: Task
    key: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """What only the person can know.

    Parameters
    ----------
    subject, step
        The belt and step whose plucks are asked about.
    about
        ``turn`` where the plucks are this belt's, if they are any belt's; ``belt`` where they
        sound like the other one.
    words
        The question.
    answers
        What can be said to it.
    """

    subject: int
    step: int
    about: Literal["turn", "belt"]
    words: str
    answers: tuple[PersonAnswer, ...]


class Guide:
    """Leads through the belts and steps of a measurement.

    Parameters
    ----------
    subjects
        The belts, in the order in which they are plucked: one, or two as a pair.
    within, same_span, one_roll
        Of a pair, see `beltpitch.advice.comparison.compare`.
    plucks
        Plucks that count after which a step is over.
    rate_error
        Of the input, where it is known.
    hearing
        What hears plucks together.
    answers
        Whether somebody can answer. Without, the first pluck of a belt is taken for that belt's
        though it sounds like the other: the order alone is trusted.
    """

    def __init__(
        self,
        subjects: Sequence[Subject],
        *,
        within: float = TOLERANCE,
        same_span: bool | None = None,
        one_roll: bool = True,
        plucks: int | None = None,
        rate_error: Estimate | None = None,
        hearing: Hearing = hear,
        answers: bool = True,
    ) -> None:
        if not 1 <= len(subjects) <= PAIR:
            raise ValueError(f"one belt or two can be measured, got {len(subjects)}")
        self.sittings = [Sitting(subject, rate_error, hearing) for subject in subjects]
        self._within, self._same_span, self._one_roll = within, same_span, one_roll
        self._wanted, self._answers = plucks, answers
        self.subject = self.step = 0
        self.match: Comparison | None = None
        self.question: Question | None = None
        self._reached: list[Reached] = []
        self._looks = 0
        self._turning: int | None = None
        self._turn_awaited = False
        self._last_two = (0, 0)  # whose the last two plucks were that counted

    # --- what happens

    def hear(self, pluck: Pluck) -> PluckResult:
        """Hear one pluck as the asked belt's: count it, refuse it, or ask about it."""
        sitting, step = self.here, self.step
        sitting.hear(step, pluck)
        slot = sitting.steps[step].slots[-1]
        self._ask_about(slot)
        sitting.judge()
        if slot.told.used:
            sitting.steps[step].taken += 1
            self._counted(self.subject)
            self._compare()
        return slot.told

    def turned(self) -> None:
        """Begin anew with a belt, that of the question or the present one: it was turned.

        Plucks that were asked about stay as the first of the new setting, unless they sound like
        the other belt: these are plucked again.
        """
        if len(self.sittings) == PAIR:
            index = self.subject if self.question is None else self.question.subject
            self._reach(Reached("turned", self.sittings[index].subject.name))
        self._begin_anew()

    def _begin_anew(self) -> None:
        """Leave out a belt's plucks but for those that are asked about."""
        question, self.question = self.question, None
        index = self.subject if question is None else question.subject
        sitting = self.sittings[index]
        kept = sitting.release()
        sitting.begin_setting()
        self.subject, self.step, self._looks, self._turn_awaited = index, 0, 0, False
        if self.match is not None:
            self._open(index, f"{sitting.subject.name} begins anew: pluck it again")
        if question is not None and question.about == "turn":
            self.step = question.step
            sitting.take(question.step, kept)
            sitting.judge()
            self._counted(index)
            self._compare()

    def answer(self, task: Task) -> bool:
        """Do what an answer says; tell whether it was one."""
        question = self.question
        if question is None or all(answer.task != task for answer in question.answers):
            return False
        if task in ("turned", "only these"):
            self.turned() if task == "turned" else self._begin_anew()
            return True
        self.question = None
        sitting = self.sittings[question.subject]
        slots = sitting.release()
        if task == "leave out":
            _leave_out(slots)
        elif task == "other belt":
            sitting.give(question.step, slots)
            other = self.sittings[1 - question.subject]
            other.take(question.step, slots)
            other.judge()
            self._counted(1 - question.subject)
        else:
            sitting.take(question.step)
            self._counted(question.subject)
        sitting.judge()
        self._compare()
        self.go_on()
        return True

    def move_on(self) -> None:
        """Go to the next step, the next belt, or round to the first."""
        self._turn_awaited = False
        self.step += 1
        if self.step >= len(self.here.steps):
            self.subject, self.step = (self.subject + 1) % len(self.sittings), 0

    def by_hand(self, subject: int, onset_s: float, *, use: bool) -> bool:
        """Use or leave out one pluck as the person says; tell whether there is one such."""
        if not self.sittings[subject].by_hand(onset_s, use=use):
            return False
        if self.question is not None and not self._held():
            self.question = None
        if not self._all_through():
            self.match = None
        self._compare()
        if self.match is None or self.match.word != "unmatched":
            self._turn_awaited = False
        return True

    def finish(self) -> None:
        """End: plucks of a question that nobody answered are shown as what they are."""
        asked, self.question = self.question, None
        if asked is not None and asked.about == "turn":
            # whose plucks they are is known, but not which of them hold: none is chosen
            for slot in self.sittings[asked.subject].steps[asked.step].slots:
                if slot.held or slot.told.used:
                    slot.by_hand, slot.held = True, False
            if len(self.sittings) == PAIR:
                self._open(None, f"nobody answered: {asked.words}")
        for sitting in self.sittings:
            sitting.settle()
        if self._reached and self.match and self._reached[-1].event != self.match.word:
            self._reach(Reached(self.match.word))

    # --- how it stands

    @property
    def here(self) -> Sitting:
        """The belt that is asked for."""
        return self.sittings[self.subject]

    @property
    def matched(self) -> bool:
        """Whether the pair is found equal."""
        return self.match is not None and self.match.word == "matched"

    @property
    def complete(self) -> bool:
        """Whether as many plucks as were asked for have been taken in every step."""
        wanted = self._wanted
        if wanted is None or self._closing() is not None:
            return False
        return all(s.taken >= wanted for sitting in self.sittings for s in sitting.steps)

    @property
    def order(self) -> str:
        """The sentence for the person."""
        if self.match is not None and self.matched:
            return self.match.closing
        if self.question is not None:
            return self.question.words
        match = self.match
        if self._turn_awaited and match is not None and match.turn is not None:
            return f"{_sentence(match.turn)}; then press T, settle the belt and pluck it again."
        if match is not None and match.again is not None and self._closing() == self.subject:
            return f"{_sentence(match.again)}."
        return self.here.subject.orders[self.step]

    def go_on(self) -> bool:
        """Move on where there is enough; tell whether the order has changed."""
        if self.matched or self.question is not None:
            return False
        before = self.subject, self.step
        if self.match is not None and self.match.word == "unmatched" and self._all_through():
            return self._ask_for_turn()
        closing = self._closing()
        if closing is not None:
            self.subject, self.step = closing, 0
        elif self._enough():
            self._step_on()
        return (self.subject, self.step) != before

    # --- questions

    def _ask_about(self, slot: Slot) -> None:
        """Hold the newest pluck, or the last two, where only the person knows what they are."""
        if slot.tone_hz is None:
            return
        if self.question is not None:
            held_hz = [s.tone_hz for s in self._held() if s.tone_hz]
            if self.question.subject == self.subject and not _strays([slot.tone_hz], held_hz):
                self.here.hold(self.step, [slot])
            return
        told = [s for s in self.here.steps[self.step].slots if s.tone_hz is not None]
        before_hz = _used_hz(told[:-1])
        if self._is_the_others(slot, before_hz):
            self._ask_whose(slot, before_hz)
        elif before_hz and self._is_a_change_likely() and _strays([slot.tone_hz], before_hz):
            self._ask_of_turn([slot], before_hz)
        else:
            several = agreeing(groups(_tones(told), [0.0] * len(told)))
            newest = next((g for g in several if len(told) - 1 in g), ())
            if newest and len(several) > 1:
                others = [s for k, s in enumerate(told) if k not in newest]
                self._ask_of_turn([told[k] for k in newest], _tones(others))

    def _is_a_change_likely(self) -> bool:
        return self._turn_awaited or self._closing() == self.subject

    def _is_the_others(self, slot: Slot, before_hz: Sequence[float]) -> bool:
        """Whether a pluck fits the other belt's tone, and not what is known of this one's."""
        other_hz = self._other_hz()
        assert slot.tone_hz is not None
        if not other_hz or _strays([slot.tone_hz], other_hz):
            return False
        if before_hz:
            return _strays([slot.tone_hz], before_hz)
        return self._answers

    def _other_hz(self) -> list[float]:
        if len(self.sittings) != PAIR:
            return []
        return self.sittings[1 - self.subject].steps[self.step].used_hz

    def _ask_whose(self, slot: Slot, before_hz: Sequence[float]) -> None:
        name, other = self.here.subject.name, self.sittings[1 - self.subject].subject.name
        unlike = f", not like {name} ({np.median(before_hz):.1f} Hz)" if before_hz else ""
        words = f"This pluck at {slot.tone_hz:.1f} Hz sounds like {other}{unlike}"
        mine = (
            PersonAnswer("turned", "t", f"{name} was turned: pluck it again")
            if before_hz
            else PersonAnswer("this belt", "y", f"it was {name}")
        )
        answers = (mine, PersonAnswer("other belt", "w", f"it was {other}"))
        self._hold([slot], "belt", f"{words}: which belt was it?", answers)

    def _ask_of_turn(self, slots: Sequence[Slot], others_hz: Sequence[float]) -> None:
        name, count = self.here.subject.name, len(slots)
        tone, own = float(np.mean(_tones(slots))), float(np.median(others_hz))
        plucks = "The last pluck lies" if count == 1 else f"{count} plucks lie"
        words = f"{plucks} at {tone:.1f} Hz, the others at {own:.1f} Hz: was {name} turned?"
        answers = (
            PersonAnswer("turned", "t", f"{name} was turned"),
            PersonAnswer("only these", "e", "the others were wrong"),
        )
        self._hold(slots, "turn", words, answers)

    def _hold(
        self,
        slots: Sequence[Slot],
        about: Literal["turn", "belt"],
        words: str,
        answers: tuple[PersonAnswer, ...],
    ) -> None:
        what = "leave it out" if len(slots) == 1 else "leave them out"
        every = (*answers, PersonAnswer("leave out", "x", what))
        self.question = Question(self.subject, self.step, about, words, every)
        self.here.hold(self.step, slots)

    def _held(self) -> list[Slot]:
        return [s for sitting in self.sittings for s in sitting.held]

    # --- the pair

    def _counted(self, index: int) -> None:
        self._last_two = (self._last_two[1], index)

    def _closing(self) -> int | None:
        """Return the belt whose last pluck alone is missing to a match."""
        match = self.match
        return match.again.belt if match and match.again and match.again.why else None

    def _compare(self) -> None:
        if len(self.sittings) != PAIR or self.question is not None or not self._all_through():
            return
        a, b = (sitting.readings[-1] for sitting in self.sittings)
        fewest = min(_fewest(sitting) for sitting in self.sittings)
        if fewest >= LEAST_PLUCKS:
            self._looks += 1
        match = compare(
            a,
            b,
            names=self._names,
            within=self._within,
            same_span=self._same_span,
            one_roll=self._one_roll,
            look=max(1, self._looks),
            fewest=fewest,
            turning=self._turning,
            window=self.sittings[0].subject.window,
        )
        before, last = self._last_two
        if match.word == "matched" and before == last:
            again = PluckAgain(1 - last, match.names[1 - last], 1, ONCE_MORE)
            match = replace(match, word="not yet known", again=again)
        self.match = match
        if match.word != "unmatched":
            self._turn_awaited = False
        if match.word != "not yet known" and match.apart is not None:
            by = abs(tighter_by(match.apart.value))
            self._reach(Reached(match.word, match.names[match.tighter], by))
        self.match = replace(match, reached=tuple(self._reached))

    def _open(self, index: int | None, why: str) -> None:
        """Say why nothing is known of the pair, and which belt to pluck again, if that tells."""
        basis = "frequency" if self.match is None else self.match.basis
        self.match = replace(
            Comparison("not yet known", self._names, self._within, basis, notes=(why,)),
            again=None if index is None else PluckAgain(index, self._names[index], LEAST_PLUCKS),
            reached=tuple(self._reached),
        )

    def _reach(self, reached: Reached) -> None:
        """Note a verdict or a turn; the same again is the same one, better known."""
        last = self._reached[-1] if self._reached else None
        same = last is not None and (last.event, last.belt) == (reached.event, reached.belt)
        if same:
            self._reached.pop()
        self._reached.append(reached)
        if self.match is not None:
            self.match = replace(self.match, reached=tuple(self._reached))

    @property
    def _names(self) -> tuple[str, str]:
        first, second = (sitting.subject.name for sitting in self.sittings)
        return first, second

    def _all_through(self) -> bool:
        return all(sitting.plucked for sitting in self.sittings)

    def _ask_for_turn(self) -> bool:
        assert self.match is not None
        if self.match.turn is None:
            return False
        self._turning = self.match.turn.belt
        changed = not self._turn_awaited or self.subject != self._turning
        self.subject, self.step, self._turn_awaited = self._turning, 0, True
        return changed

    # --- steps

    def _enough(self) -> bool:
        step = self.here.steps[self.step]
        if self._wanted is not None:
            return step.taken >= self._wanted
        found = advice(step.heard, self.here.reading)
        return found.kind == "enough" or len(step.used_hz) >= ENOUGH_PLUCKS

    def _step_on(self) -> None:
        if self.step + 1 < len(self.here.steps):
            self.step += 1
        elif len(self.sittings) == PAIR:
            self.subject, self.step = self._belt_in_doubt(), 0

    def _belt_in_doubt(self) -> int:
        """Return the belt to pluck next: one not yet plucked, else the one known less well."""
        for i, sitting in enumerate(self.sittings):
            if not sitting.plucked:
                return i
        spreads = [plucks_leave(sitting.readings[-1]) for sitting in self.sittings]
        here = self.subject
        return 1 - here if spreads[1 - here] > spreads[here] / PLUCKS_WEIGH else here


def _fewest(sitting: Sitting) -> int:
    return min(len(step.used_hz) for step in sitting.steps)


def _tones(slots: Sequence[Slot]) -> list[float]:
    return [slot.tone_hz for slot in slots if slot.tone_hz is not None]


def _used_hz(slots: Sequence[Slot]) -> list[float]:
    return _tones([slot for slot in slots if slot.told.used])


def _strays(new_hz: Sequence[float], base_hz: Sequence[float]) -> bool:
    """Whether plucks agree with none of the others, beyond what one hand scatters."""
    every, first = [*base_hz, *new_hz], len(base_hz)
    found = groups(every, [0.0] * len(every))
    return all(min(group) >= first for group in found if max(group) >= first)


def _leave_out(slots: Sequence[Slot]) -> None:
    for slot in slots:
        slot.by_hand = False


def _sentence(words: object) -> str:
    text = str(words)
    return f"{text[:1].upper()}{text[1:]}"
