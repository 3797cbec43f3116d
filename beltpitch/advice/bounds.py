"""The ends of a range of tension, and the marks that stand on the ruler beside it.

A `Bound` says which rule binds there and where the rule comes from. A `ReferenceValue` is a
published figure that may be looked at but never ends a window: set points belong to the machine
they were printed for, and nobody sets a belt to its breaking load.

Conventions: newtons, one strand, preload (both strands alike, nothing pulling).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "seating", "recommended", "slack strand", "allowable", "shaft", "own limit", "own target"
]


@dataclass(frozen=True, slots=True)
class Bound:
    """One end of a range.

    Parameters
    ----------
    newtons
        The force.
    kind
        Which kind of rule binds here.
    rule
        The rule in words, with its numbers.
    source
        Where it comes from.
    """

    newtons: float
    kind: Kind
    rule: str
    source: str


@dataclass(frozen=True, slots=True)
class ReferenceValue:
    """A published figure on the ruler, never an end of the window.

    Parameters
    ----------
    label
        What it is, in words.
    newtons
        Force of one strand, scaled to the belt's width.
    source
        Where it was published.
    how_known
        standard, maker, quoted, common practice, from memory, derived.
    """

    label: str
    newtons: float
    source: str
    how_known: str = ""


@dataclass(frozen=True, slots=True)
class Range:
    """A range of preload; an end that no rule names is None.

    Parameters
    ----------
    low, high
        The two ends.
    opens
        If the range is empty, what would open it.
    """

    low: Bound | None
    high: Bound | None
    opens: tuple[str, ...] = ()

    @property
    def empty(self) -> bool:
        """Whether the lower end is not below the upper."""
        return (
            self.low is not None and self.high is not None and self.low.newtons >= self.high.newtons
        )


def highest(ends: tuple[Bound | None, ...]) -> Bound | None:
    """Return the end with the largest force: the one that binds from below."""
    return max((e for e in ends if e is not None), key=lambda e: e.newtons, default=None)


def lowest(ends: tuple[Bound | None, ...]) -> Bound | None:
    """Return the end with the smallest force: the one that binds from above."""
    return min((e for e in ends if e is not None), key=lambda e: e.newtons, default=None)
