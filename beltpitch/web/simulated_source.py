"""Simulated plucks for ``beltpitch page --demo``: no microphone, an invented workshop.

The simulated person does what the page asks: plucks the belt that is asked for and, where the page
says which tensioner to turn, turns it, at first not quite far enough, says so, and answers what is
asked. The sound goes the very way of a real one. Workshop, machine and tensions are made up.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from beltpitch.audio.block import Block, Samples
from beltpitch.audio.synthesis import pluck_recording, room_noise
from beltpitch.belts.strand_tension import aim
from beltpitch.errors import CannotTell
from beltpitch.session.live import State
from beltpitch.session.session import Subject
from beltpitch.store.entries import BeltEntry, PairEntry
from beltpitch.store.machine_file import Machine
from beltpitch.web.inputs import ChosenInput

RATE_HZ = 16_000.0
BLOCK_S = 0.02
FIRST_S = 2.0  # of the room alone
APART_S = 2.4  # from pluck to pluck
TENSIONS_N = (30.4, 22.4)  # as the story has it: the second was slackened
TURNED = 0.7  # of the way that is asked for: less than is needed, so that there is a second turn
STRANDS_APART_N = 1.8  # what friction and detents leave between two strands, or two arrivals
WITHOUT_BELT_HZ = 95.0
NOISE, HUM = 6e-4, 1.5e-3

PLOVER = Machine(
    name="Plover, a gantry router in a workshop that does not exist",
    belts={
        name: BeltEntry(
            name=name,
            belt="2GT 9 mm",
            linear_mass="12.6 +/- 0.1 g/m",
            span="286 +/- 0.5 mm",
            ends="pulley,clamp",
            target="30 N",
            within="15%",
        )
        for name in ("y-left", "y-right")
    },
    pairs={"y": PairEntry("y", ("y-left", "y-right"))},
)
START = {"name": "y"}


@dataclass(frozen=True, slots=True)
class DemoRequest:
    """What the page asks the person for: which of the belts, and the state that says so."""

    subjects: tuple[Subject, ...]
    subject: int
    state: State | None


class DemoWorkshop:
    """The belts of the story and the one who plucks them; its tensions outlive an input.

    Parameters
    ----------
    asks
        Tells what the page asks for at this moment.
    says
        Tells the page something, as its buttons do.
    hurry
        How many times faster than life; None for as fast as it is taken.
    """

    def __init__(
        self,
        asks: Callable[[], DemoRequest],
        says: Callable[[str, Mapping[str, Any]], object],
        hurry: float | None = 1.0,
    ) -> None:
        self._asks, self._says = asks, says
        self.hurry = hurry
        self.tensions_n = list(TENSIONS_N)
        self._turn_seen: object = None
        self._count = 0

    def open(self) -> ChosenInput:
        """Begin to be heard."""
        return Simulated(self)

    def pluck(self) -> Samples:
        """Do what is asked, pluck once, and return the sound until the next pluck."""
        asked = self._asks()
        self._turn_as_asked(asked)
        if asked.state is not None and asked.state.question is not None:
            self._says("answer", {"task": asked.state.question.answers[0].task})
        self._count += 1
        return pluck_recording(
            self._tone_hz(asked),
            rate_hz=RATE_HZ,
            plucks=1,
            first_s=0.1,
            apart_s=APART_S - 0.1,
            inharmonicity=4e-4,
            decay_s=0.25,
            glide=0.003,
            scatter=0.0015,
            noise=NOISE,
            hum_level=HUM,
            seed=self._count,
        )

    def _turn_as_asked(self, asked: DemoRequest) -> None:
        match = asked.state.match if asked.state else None
        if match is None or match.word != "unmatched" or match is self._turn_seen:
            return
        if match.turn is None or match.turn.belt != asked.subject:
            return
        self._turn_seen = match
        here = match.turn.belt
        self.tensions_n[here] += TURNED * (self.tensions_n[1 - here] - self.tensions_n[here])
        self._says("turned", {})

    def _tone_hz(self, asked: DemoRequest) -> float:
        subject = asked.subjects[asked.subject]
        tension_n, span = self.tensions_n[asked.subject], subject.span
        second = asked.state is not None and asked.state.step == 1
        if subject.way in ("strands", "sides"):
            tension_n += STRANDS_APART_N * (-0.5 if second else 0.5)
        if subject.belt is None or span is None:
            return WITHOUT_BELT_HZ
        if second and subject.travel is not None:
            span = replace(
                span, length=span.length.scaled(1 + subject.travel.value / span.length_m)
            )
        try:
            return aim(tension_n, subject.belt, span).partials_hz[0]
        except CannotTell:
            return WITHOUT_BELT_HZ


class Simulated(ChosenInput):
    """An input that hears the workshop, at the pace of life."""

    name = "simulated"
    rate_hz = RATE_HZ

    def __init__(self, workshop: DemoWorkshop) -> None:
        self._workshop = workshop
        self._closed = threading.Event()
        quiet = room_noise(round(FIRST_S * RATE_HZ), NOISE, 1)
        self._waiting: deque[Samples] = deque(self._cut(quiet))

    def __next__(self) -> Block:
        """Wait for the next block."""
        if not self._waiting:
            self._waiting.extend(self._cut(self._workshop.pluck()))
        if self._workshop.hurry is not None:
            self._closed.wait(BLOCK_S / self._workshop.hurry)
        return Block(self._waiting.popleft(), self.rate_hz)

    def close(self) -> None:
        """Hear no more."""
        self._closed.set()

    def _cut(self, sound: Samples) -> list[Samples]:
        return np.array_split(sound, round(len(sound) / (BLOCK_S * RATE_HZ)))
