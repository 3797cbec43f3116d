"""Trials: what was cut at which tension, and what was measured on it; records only.

A trial's tension is an `Estimate`, so that it keeps whose error it is. What all tensions of a study
share (one roll's linear mass, one tape, one place of last contact) shifts the axis as a whole; what
each has of its own scatters the points. `shared_error` and `own_errors` part them by their keys.

Conventions: tensions are preloads of one strand in newtons, the mean of two belts on a gantry;
results are in the user's own unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, Part, mean, merged

Goal = Literal["smaller", "larger", "target"]
EndKind = Literal[
    "seating",
    "recommended",
    "slack strand",
    "allowable",
    "shaft",
    "own limit",
    "own target",
    "chosen",
    "tried",
]

SAME_LEVEL = 0.05  # of the range tried: trials nearer to each other are repeats of one level
FEWEST_LEVELS = 3  # a parabola has three coefficients
FEWEST_TRIALS = 5  # three levels and two degrees of freedom for the scatter
UNEQUAL = 0.10  # belts of a pair that differ by more of their mean: common practice, no source
BELTS = 2


@dataclass(frozen=True, slots=True)
class Measure:
    """What is measured on each trial.

    Parameters
    ----------
    name
        As the user calls it.
    unit
        The user's; empty for a count or a mark.
    goal
        ``smaller`` or ``larger`` is better, or a ``target`` is.
    target
        The value to hit; None unless the goal is a target.
    """

    name: str
    unit: str = ""
    goal: Goal = "smaller"
    target: float | None = None

    def __post_init__(self) -> None:
        if (self.goal == "target") != (self.target is not None):
            raise ValueError(f"{self.name}: a target and its value go together")

    @property
    def said(self) -> str:
        """Name and unit, as a column is headed."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name

    @property
    def wanted(self) -> str:
        """What is wanted of it, in words."""
        if self.target is not None:
            return f"{self.target:g}{' ' if self.unit else ''}{self.unit} is wanted"
        return f"{self.goal} is better"

    def value(self, number: float, digits: int = 3) -> str:
        """Return a number of this measure with its unit."""
        return f"{number:.{digits}g}{' ' if self.unit else ''}{self.unit}"


@dataclass(frozen=True, slots=True)
class Trial:
    """One trial.

    Parameters
    ----------
    number
        Its number in the table.
    tensions
        Of the belt, or of the two belts of a gantry.
    results
        One for each measure; None where it could not be measured.
    left_out
        Whether the user set it aside.
    note
        Anything else.
    planned
        False if its tension was chosen by what earlier trials showed.
    """

    number: int
    tensions: tuple[Estimate, ...]
    results: tuple[float | None, ...]
    left_out: bool = False
    note: str = ""
    planned: bool = True

    def __post_init__(self) -> None:
        if not 1 <= len(self.tensions) <= BELTS:
            raise RequestError(
                f"trial {self.number} has {len(self.tensions)} tensions; give one, or one for "
                "each belt of a pair"
            )
        for tension in self.tensions:
            if not tension.value > 0:
                raise RequestError(f"trial {self.number}: a tension must be greater than zero")

    @property
    def tension(self) -> Estimate:
        """The tension of the trial: the mean of its belts."""
        return mean(self.tensions)

    @property
    def unequal(self) -> float | None:
        """How far two belts differ, as a share of their mean; None for one belt."""
        if len(self.tensions) < BELTS:
            return None
        first, second = self.tensions
        return abs(first.value - second.value) / self.tension.value


@dataclass(frozen=True, slots=True)
class Trials:
    """The trials of one study.

    Parameters
    ----------
    name
        Of the belt, the pair or the axis.
    measures
        What was measured.
    trials
        In the order they were made; those not made yet are not here.
    source
        The table they stand in.
    """

    name: str
    measures: tuple[Measure, ...]
    trials: tuple[Trial, ...]
    source: str = ""

    def __post_init__(self) -> None:
        if not self.measures:
            raise RequestError(f"{self.source or 'the table'} has no column of results")
        for trial in self.trials:
            if len(trial.results) != len(self.measures):
                raise RequestError(
                    f"trial {trial.number} has {len(trial.results)} results; the table has "
                    f"{len(self.measures)} columns of them"
                )

    def of(self, index: int) -> tuple[Trial, ...]:
        """Return the trials that have the result of one measure and are not left out."""
        return tuple(t for t in self.trials if not t.left_out and t.results[index] is not None)


@dataclass(frozen=True, slots=True)
class Field:
    """The range of tension a study may use: the belt's window, or a part of it.

    Parameters
    ----------
    low_n, high_n
        Its ends.
    low_rule, high_rule
        What binds there, in words.
    low_kind, high_kind
        Which kind of rule binds.
    """

    low_n: float
    high_n: float
    low_rule: str = ""
    high_rule: str = ""
    low_kind: EndKind = "chosen"
    high_kind: EndKind = "chosen"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.high_n) and 0 < self.low_n < self.high_n):
            raise RequestError(
                f"a study from {self.low_n:.4g} to {self.high_n:.4g} N has no room; the range must "
                'rise from above zero, as in --low "20 N" --high "60 N"'
            )

    @property
    def width_n(self) -> float:
        """From end to end."""
        return self.high_n - self.low_n


@dataclass(frozen=True, slots=True)
class Shared:
    """The error that all tensions of a study share, as a share of the tension.

    Parameters
    ----------
    relative
        Its parts, signed, for a tension of one newton.
    """

    relative: tuple[Part, ...] = ()

    def at(self, tension_n: float) -> Estimate:
        """Return a tension of the study's own axis with the shared error alone."""
        parts = (Part(p.name, p.key, tension_n * p.u, p.dof) for p in self.relative)
        return Estimate(tension_n, tuple(parts))

    @property
    def u(self) -> float:
        """Relative standard uncertainty."""
        return math.hypot(*(p.u for p in self.relative))

    @property
    def names(self) -> tuple[str, ...]:
        """Whose errors they are, the largest first."""
        return tuple(line.name for line in Estimate(1.0, self.relative).budget())


def shared_error(tensions: Sequence[Estimate]) -> Shared:
    """Return what all tensions share: the keys found in each of them, in proportion to tension."""
    if len(tensions) < BELTS:
        return Shared()
    by_key = [{p.key: p for p in merged(t.parts)} for t in tensions]
    keys = [key for key in by_key[0] if all(key in one for one in by_key)]
    parts = []
    for key in keys:
        first = by_key[0][key]
        share = sum(one[key].u / t.value for one, t in zip(by_key, tensions, strict=True))
        parts.append(Part(first.name, key, share / len(tensions), first.dof))
    return Shared(tuple(parts))


def own_errors(tensions: Sequence[Estimate]) -> tuple[float, ...]:
    """Return the standard uncertainty each tension has of its own, in N."""
    shared = {p.key for p in shared_error(tensions).relative}
    return tuple(
        math.hypot(*(p.u for p in merged(t.parts) if p.key not in shared)) for t in tensions
    )


def levels(tensions_n: Sequence[float]) -> tuple[int, ...]:
    """Return the level of each trial, counted from the lowest tension.

    Trials whose tensions follow each other within `SAME_LEVEL` of the range tried are repeats.
    """
    order = sorted(range(len(tensions_n)), key=lambda i: tensions_n[i])
    gap = SAME_LEVEL * (max(tensions_n) - min(tensions_n))
    found, level = [0] * len(tensions_n), 0
    for before, at in pairwise(order):
        level += tensions_n[at] - tensions_n[before] > gap
        found[at] = level
    return tuple(found)
