"""What several plucks of one belt say together: go on, enough, or what is wrong with them.

"Enough" is said from five plucks on, when one more would hardly narrow the interval that is shown:
most of it comes from the belt and the tape then, not from the plucks. Own rules.

Conventions: frequencies in Hz; fractions, not percent.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from beltpitch.pitch.groups import agreeing, groups
from beltpitch.pitch.messages import PLUCK
from beltpitch.pitch.results import PluckResult
from beltpitch.reading import COVERAGE, Reading
from beltpitch.uncertainty import student_quantile

ENOUGH_PLUCKS = 5
LEAST_PLUCKS = 3  # from which a belt's own scatter is known
AGREE = 0.01  # relative standard deviation of frequency, 2 % of tension; beyond it something is off
WELL_KNOWN = 0.005  # half the interval of the frequency, 1 % of tension
NARROWER = 0.95  # one more pluck must leave less than this of the interval to be worth it
HARD_GLIDE = 0.01  # a pluck that begins 1 % sharp was a hard one
CREEP = 0.9  # correlation of frequency with order
CREEP_FROM = 4


@dataclass(frozen=True, slots=True)
class Advice:
    """What the plucks so far say: go on, enough, or what is wrong.

    ``said`` is what they say, ``then`` what to do about it where that is not part of it.
    """

    kind: Literal["go on", "enough", "disagree"]
    said: str
    then: str = ""

    @property
    def words(self) -> str:
        """Both, as they are shown."""
        return f"{self.said}; {self.then}" if self.then else self.said


def advice(heard: Iterable[PluckResult], reading: Reading | None) -> Advice:
    """Return what the plucks of one step say: go on, enough, or what is wrong with them.

    Parameters
    ----------
    heard
        The plucks, refused ones included.
    reading
        Of the belt.
    """
    pitches = [h.pitch for h in heard if h.used and h.pitch]
    values = [pitch.frequency_hz for pitch in pitches]
    if len(values) < LEAST_PLUCKS:
        return Advice("go on", _few(len(values)))
    spread = float(np.std(values, ddof=1)) / float(np.mean(values))
    if spread > AGREE:
        why = _why_apart(values, float(np.mean([pitch.glide for pitch in pitches])))
        return Advice("disagree", f"the plucks differ by {_percent(_range(values))}: {why}")
    agreed = f"{_number(len(values))} plucks agree within {_percent(_range(values))}"
    if len(values) < ENOUGH_PLUCKS or not _one_more_is_idle(values, spread, reading):
        return Advice("go on", agreed, "go on")
    return Advice("enough", f"{agreed}, one more will not help")


def _few(count: int) -> str:
    if count == 0:
        return PLUCK
    return f"{_number(count)} pluck{'s' if count > 1 else ''}; three are the least, five are better"


_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %"


def _range(values: Sequence[float]) -> float:
    return (max(values) - min(values)) / float(np.mean(values))


def _one_more_is_idle(values: Sequence[float], spread: float, reading: Reading | None) -> bool:
    """Whether one more pluck would hardly narrow the interval that is shown."""
    n = len(values)
    now = student_quantile((1 + COVERAGE) / 2, n - 1) * spread / math.sqrt(n)
    if now <= WELL_KNOWN:
        return True
    then = student_quantile((1 + COVERAGE) / 2, n) * spread / math.sqrt(n + 1)
    preload = reading.preload if reading else None
    rest = 0.0
    if preload is not None:
        lines = [line.u for line in preload.budget() if line.name != "plucks"]
        rest = 2 * math.hypot(*lines) / preload.value  # k = 2
    return math.hypot(2 * then, rest) >= NARROWER * math.hypot(2 * now, rest)


def _why_apart(values: Sequence[float], glide: float) -> str:
    order = np.arange(len(values))
    if len(values) >= CREEP_FROM and abs(np.corrcoef(order, values)[0, 1]) > CREEP:
        way = "lower" if values[-1] < values[0] else "higher"
        return (
            f"each is {way} than the one before; the belt is still settling or the tensioner creeps"
        )
    several = agreeing(groups(values, [0.0] * len(values)))
    if len(several) > 1:
        *others, last = (f"{np.mean([values[k] for k in group]):.1f}" for group in several)
        return (
            f"{_number(len(several))} tones, {', '.join(others)} and {last} Hz; the belt was "
            "turned, another strand sounds too, or the carriage has moved"
        )
    if glide > HARD_GLIDE:
        return "they begin sharp; pluck more gently"
    return f"keep the carriage still between plucks, and {PLUCK}"
