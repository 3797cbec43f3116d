"""Recordings read as a sitting: one belt, or two as a pair, each step from a file of its own.

What `beltpitch.session.live` is for a live input this is for files: it gives the same `State`
record, so that whatever shows a measurement shows a dropped recording too, and plucks can be left
out by hand. However long a file is, only the last plucks are kept (`beltpitch.session.session`), so
that its answer may differ from ``beltpitch recording`` by what the earlier ones would have added.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from beltpitch.advice.comparison import TOLERANCE, Comparison, compare
from beltpitch.advice.repeatability import advice
from beltpitch.audio.block import Block
from beltpitch.pitch.pluck_detector import Pluck, PluckDetector
from beltpitch.reading import PluckReading, Reading
from beltpitch.session.live import Event, State, Taken
from beltpitch.session.session import Sitting, Subject
from beltpitch.session.verdict import Verdict


class Recorded:
    """Belts that are read from recordings.

    Parameters
    ----------
    subjects
        The belts: one, or two as a pair.
    within, same_span, one_roll
        Of a pair, see `beltpitch.advice.comparison.compare`.
    """

    def __init__(
        self,
        subjects: Sequence[Subject],
        *,
        within: float = TOLERANCE,
        same_span: bool | None = None,
        one_roll: bool = True,
    ) -> None:
        self._subjects = tuple(subjects)
        self._sittings = [Sitting(subject) for subject in subjects]
        self._within, self._same_span, self._one_roll = within, same_span, one_roll
        self._cautions: dict[str, None] = {}
        self._heard_s = 0.0
        self._count = 0
        self.state = self._made(0, None)

    def take(
        self, subject: int, blocks: Iterable[Block], rate_hz: float, step: int = 0
    ) -> Iterator[State]:
        """Read a recording as that belt's, in place of one before; yield the states that follow.

        Parameters
        ----------
        subject
            Which belt, from 0.
        blocks
            Its sound.
        rate_hz
            Rate of the blocks.
        step
            Which of its steps, from 0, where the belt is read in two.
        """
        self._sittings[subject].begin_step(step)
        listener, last = PluckDetector(rate_hz), 0.0
        for block in blocks:
            last += len(block.samples) / rate_hz
            for pluck in listener.feed(block):
                yield self._pluck(subject, step, pluck)
        for pluck in listener.finish():
            if pluck.onset_s is not None:
                yield self._pluck(subject, step, pluck)
            else:
                self._cautions.setdefault(pluck.refused or "no pluck was heard")
        self._heard_s += last
        self._sittings[subject].settle()
        self.state = self._made(subject, "ended", step=step)
        yield self.state

    def by_hand(self, subject: int, onset_s: float, *, use: bool) -> Iterator[State]:
        """Use or leave out one pluck as the person says; nothing where there is none such."""
        if self._sittings[subject].by_hand(onset_s, use=use):
            self.state = self._made(subject, "by hand")
            yield self.state

    def warn(self, words: str) -> None:
        """Say something against these recordings from now on."""
        self._cautions.setdefault(words)

    @property
    def readings(self) -> tuple[tuple[Reading, ...], ...]:
        """Readings of each belt, in the order of the plan."""
        return tuple(sitting.readings for sitting in self._sittings)

    @property
    def parts(self) -> tuple[tuple[tuple[int, Reading], ...], ...]:
        """Of each belt every step that was read, with its reading before they are joined."""
        return tuple(sitting.parts for sitting in self._sittings)

    @property
    def verdicts(self) -> tuple[tuple[Verdict, ...], ...]:
        """Verdicts of each belt, in the order of the plan."""
        return tuple(sitting.verdicts for sitting in self._sittings)

    def _pluck(self, subject: int, step: int, pluck: Pluck) -> State:
        sitting = self._sittings[subject]
        one = sitting.hear(step, pluck)
        sitting.judge()
        self._count += 1
        same = [p for p in dict(sitting.parts)[step].plucks if p.onset_s == one.onset_s]
        figures = PluckReading(one.onset_s, None, None, None, used=False, reason=one.reason)
        taken = Taken(
            subject,
            step,
            self._count,
            same[-1] if same else figures,
            sitting.verdicts[-1],
            heard=one,
            raw=pluck,
        )
        return self._made(subject, "taken" if one.used else "refused", taken, step=step)

    def _made(
        self, subject: int, event: Event | None, taken: Taken | None = None, *, step: int = 0
    ) -> State:
        sitting = self._sittings[subject]
        return State(
            phase="done",
            event=event,
            heard_s=self._heard_s,
            level=0.0,
            room=0.0,
            subject=subject,
            step=step,
            order=self._order(),
            advice=advice(sitting.steps[step].heard, sitting.reading),
            verdicts=tuple(s.verdict for s in self._sittings),
            taken=taken,
            match=self._match(),
            cautions=tuple(self._cautions),
            steps=len(sitting.steps),
        )

    def _order(self) -> str:
        unread = [
            f"{sitting.subject.name}, {part}" if part else sitting.subject.name
            for sitting in self._sittings
            for i, part in enumerate(sitting.subject.parts)
            if i not in dict(sitting.parts)
        ]
        return f"Give a recording of {unread[0]}." if unread else ""

    def _match(self) -> Comparison | None:
        if len(self._sittings) == 1 or not all(s.plucked for s in self._sittings):
            return None
        a, b = (s.readings[-1] for s in self._sittings)
        return compare(
            a,
            b,
            names=(self._subjects[0].name, self._subjects[1].name),
            within=self._within,
            same_span=self._same_span,
            one_roll=self._one_roll,
            window=self._subjects[0].window,
        )
