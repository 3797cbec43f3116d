"""How often a guided pair is called ``matched`` though its belts are 10 % apart or more.

Simulated people follow a live pair and make the mistakes that people make: they pluck the wrong
belt, go on plucking the first belt after the second was asked for, turn a belt without saying so,
say so without turning, turn a belt between plucks that nobody asked for, and answer questions
wrongly or not at all. Only the sound is left out: a pluck is a tone with the scatter of one hand.

    python calibration/pairs.py --people 5000
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from beltpitch.pitch.noise import Noise
from beltpitch.pitch.outliers import set_aside
from beltpitch.pitch.pluck_detector import Pluck
from beltpitch.pitch.results import FrequencyRange, Pitch, PitchResult, PluckResult
from beltpitch.session.guide import Guide, Question, Task
from beltpitch.session.session import Slot, Subject

NAMES = ("left", "right")
TONE_HZ = 95.0
FAR = math.log(1.10)  # of the ratio of tensions: belts so far apart must not be called equal
OWN_U = 2e-4  # relative, of the fit to one pluck
PLUCKS = 60  # after which a person gives up
QUIET = Noise(1.0, np.ones(1), np.zeros(0), np.zeros(0), (), measured=True)


@dataclass(frozen=True, slots=True)
class Habits:
    """What a person does wrong; every figure is a judgement, no source.

    Parameters
    ----------
    scatter
        Relative, of frequency, from pluck to pluck.
    wrong
        Share of plucks with which a run on the wrong belt begins; it goes on with even odds.
    unnoticed
        Share of changes of the belt asked for that are not noticed; each further pluck on the old
        belt then goes on at the same pace, and ends with even odds.
    forgotten
        Share of turns that are not told.
    empty
        Share of orders to turn where the key is pressed and nothing turned.
    between
        Share of pauses between plucks in which a belt is turned that nobody asked for; half of
        them are told, of whichever belt is asked for then.
    untrue, silent
        Shares of questions that are answered by chance, and not at all.
    """

    scatter: float = 0.003
    wrong: float = 0.0
    unnoticed: float = 0.0
    forgotten: float = 0.0
    empty: float = 0.0
    between: float = 0.0
    untrue: float = 0.0
    silent: float = 0.0


EVERYTHING = Habits(
    wrong=0.05,
    unnoticed=0.2,
    forgotten=0.3,
    empty=0.1,
    between=0.01,
    untrue=0.05,
    silent=0.1,
)
KINDS = {
    "no mistakes": Habits(),
    "a scattering hand": Habits(scatter=0.008),
    "plucks on the wrong belt": Habits(wrong=0.15),
    "the change of belts not noticed": Habits(unnoticed=0.5),
    "turns not told": Habits(forgotten=0.6),
    "turns told, not made": Habits(empty=0.4),
    "turns between plucks": Habits(between=0.02),
    "all of it": EVERYTHING,
    "all of it, a scattering hand": replace(EVERYTHING, scatter=0.008),
}


class Tones:
    """Plucks that are a tone and no sound, and what hears them as if they were heard."""

    def __init__(self) -> None:
        self._hertz: dict[float, float] = {}  # of each pluck by its time

    def pluck(self, at_s: float, hertz: float) -> Pluck:
        """Return a pluck that will be heard at that tone."""
        self._hertz[at_s] = hertz
        return Pluck(np.zeros(1), 1.0, 0, at_s, QUIET, 0)

    def hearing(self, plucks: Sequence[Pluck], _: FrequencyRange) -> PitchResult:
        """Hear plucks together: which say something else is found as with real ones."""
        return PitchResult(tuple(set_aside([self._heard(pluck) for pluck in plucks])))

    def _heard(self, pluck: Pluck) -> PluckResult:
        assert pluck.onset_s is not None
        hertz = self._hertz[pluck.onset_s]
        pitch = Pitch(hertz, OWN_U * hertz, None, None, (), 0.0, 1.0, (0.0, 1.0))
        return PluckResult(pluck.onset_s, pitch, used=True, reason=None)


class Person:
    """One person with two belts and a guide, until the pair is matched or patience ends."""

    def __init__(self, habits: Habits, chance: np.random.Generator) -> None:
        self.habits, self._chance = habits, chance
        apart = FAR * chance.uniform(1.0, 4.0) * chance.choice([-1, 1])
        self._late_s = -1.0  # when a pluck last went on at the wrong belt
        self.log_tensions = [apart / 2, -apart / 2]
        self._tones = Tones()
        self.guide = Guide([Subject(name) for name in NAMES], hearing=self._tones.hearing)
        self._s = 0.0
        self._belts: dict[float, int] = {}  # of each pluck by its time
        self._tension_then: dict[float, float] = {}
        self._wrong = False
        self._hand = 0  # the belt that the person is at

    @property
    def apart(self) -> float:
        """How far apart the belts are, ``ln`` of the ratio."""
        return float(abs(self.log_tensions[0] - self.log_tensions[1]))

    def go(self) -> str:
        """Follow the guide to the end; return ``matched``, ``false match`` or ``given up``."""
        for _ in range(PLUCKS):
            self._turn_as_asked()
            self._turn_between()
            self._pluck()
            if self.guide.question is not None:
                self._answer(self.guide.question)
            if self.guide.matched:
                return "false match" if self.apart >= FAR - 1e-9 else "matched"
        return "given up"

    # --- hands

    def _happens(self, share: float) -> bool:
        return bool(self._chance.random() < share)

    def _pluck(self) -> None:
        asked = self.guide.subject
        noticed = self._hand == asked or not self._happens(
            0.5 if self._s == self._late_s else self.habits.unnoticed
        )
        if noticed:
            pause = 2.5 if self._hand == asked else self._chance.uniform(6.0, 20.0)
            self._hand = asked
        else:
            pause = 2.5
        self._s += pause * self._chance.uniform(0.8, 1.3)
        if not noticed:
            self._late_s = self._s
        self._wrong = self._happens(0.5 if self._wrong else self.habits.wrong)
        belt = 1 - self._hand if self._wrong else self._hand
        tone = TONE_HZ * math.exp(self.log_tensions[belt] / 2)
        tone *= 1 + self.habits.scatter * self._chance.standard_normal()
        self._belts[self._s], self._tension_then[self._s] = belt, self.log_tensions[belt]
        if self.guide.hear(self._tones.pluck(self._s, tone)).used:
            self.guide.go_on()

    def _turn_as_asked(self) -> None:
        match = self.guide.match
        if match is None or not (match.hint or self.guide.order.startswith(_TURNS)):
            return
        if self._happens(self.habits.empty):
            self.guide.turned()
            return
        here = match.turn.belt if match.turn else self.guide.subject
        way = self.log_tensions[1 - here] - self.log_tensions[here]
        self.log_tensions[here] += way * self._chance.uniform(0.5, 1.2)
        if not self._happens(self.habits.forgotten):
            self.guide.turned()

    def _turn_between(self) -> None:
        if not self._happens(self.habits.between):
            return
        belt = int(self._chance.integers(2))
        self.log_tensions[belt] += self._chance.choice([-1, 1]) * FAR * self._chance.uniform(0.5, 2)
        if self._happens(0.5):
            self.guide.turned()

    # --- answers

    def _answer(self, question: Question) -> None:
        if self._happens(self.habits.silent):
            return
        tasks = [answer.task for answer in question.answers]
        task = self._truth(question)
        if self._happens(self.habits.untrue):
            task = tasks[int(self._chance.integers(len(tasks)))]
        self.guide.answer(task if task in tasks else "leave out")

    def _truth(self, question: Question) -> Task:
        """Return what the person knows of the plucks that are asked about."""
        step = self.guide.sittings[question.subject].steps[question.step]
        held = [s for s in step.slots if s.held]
        earlier = [s for s in step.slots if s.told.used]
        if self._of(held[-1]) != question.subject:
            return "other belt"
        if not earlier:
            return "this belt"
        if self._of(earlier[-1]) != question.subject:
            return "only these"
        return "turned" if self._then(earlier[-1]) != self._then(held[-1]) else "leave out"

    def _of(self, slot: Slot) -> int:
        assert slot.heard.onset_s is not None
        return self._belts[slot.heard.onset_s]

    def _then(self, slot: Slot) -> float:
        assert slot.heard.onset_s is not None
        return self._tension_then[slot.heard.onset_s]


_TURNS = ("Tighten", "Loosen")


def tally(habits: Habits, people: int, seed: int) -> Counter[str]:
    """Return how many of so many people ended how."""
    chance = np.random.default_rng(seed)
    return Counter(Person(habits, chance).go() for _ in range(people))


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--people", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(f"{'people who make':34} {'matched':>9} {'falsely':>9} {'given up':>9}")
    for name, habits in KINDS.items():
        found = tally(habits, given.people, given.seed)
        shares = (found[k] / given.people for k in ("matched", "false match", "given up"))
        print(f"{name:34} " + " ".join(f"{share:>9.2%}" for share in shares), flush=True)


if __name__ == "__main__":
    main()
