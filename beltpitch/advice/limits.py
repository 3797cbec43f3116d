"""What a belt by itself says of its tension: recommended range, limits, marks beside them.

Taken from the catalogue, already scaled to the belt's width as each source allows. The recommended
range is that of `beltpitch.advice.recommendation`; set points and the breaking load are marks.
Where handbook and practice disagree both are shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from beltpitch.advice.bounds import Bound, Range, ReferenceValue
from beltpitch.advice.recommendation import (
    ALLOWABLE_STRETCH,
    HIGH_STRETCH,
    Recommendation,
    allowable,
    recommended,
)
from beltpitch.belts.catalogue import JOINED_SHARE, Belt, Figure, SetPoint
from beltpitch.errors import RequestError, check_not_negative, check_positive

BREAK_SHARE = 1 / 3  # of the breaking load; a judgement, no source

THREE_DIGITS = 100  # N, shown without a decimal

Basis = Literal["allowable", "working", "breaking", "stretch"]


@dataclass(frozen=True, slots=True)
class SafeLimit:
    """The tension that no advice leads past.

    Parameters
    ----------
    newtons
        The force, one strand.
    basis
        What it rests on: the published allowable or working tension, a third of the breaking load,
        or the stretch of the general rule.
    words
        The same in words.
    source
        Where the figure comes from.
    """

    newtons: float
    basis: Basis
    words: str
    source: str

    @property
    def published(self) -> bool:
        """Whether it rests on a figure that was published for this belt."""
        return self.basis != "stretch"

    def __str__(self) -> str:
        """Return the force and what it rests on."""
        return f"{self.newtons:.{0 if self.newtons >= THREE_DIGITS else 1}f} N, {self.words}"


def safe_limit(belt: Belt, *, joined: bool = False) -> SafeLimit | None:
    """Return the tension that no advice leads past; None where nothing is known of the belt.

    The smaller of published allowable and working tension; where neither is known a third of the
    breaking load; where that is not known either the tension at 0.2 % stretch.

    Parameters
    ----------
    belt
        From the catalogue, or the user's own.
    joined
        Whether the belt was cut and joined: it may then carry half (Elatech 2012, type V).
    """
    share, kind = (JOINED_SHARE, "joined belt") if joined else (1.0, "belt")
    working = None if allowable(belt) is belt.working_tension_n else belt.working_tension_n
    published: tuple[tuple[Figure | None, Basis, str], ...] = (
        (allowable(belt), "allowable", f"the allowable strand tension of this {kind}"),
        (working, "working", f"the published working tension of this {kind}"),
    )
    found = [
        SafeLimit(share * figure.value, basis, words, figure.told)
        for figure, basis, words in published
        if figure is not None
    ]
    if found:
        return min(found, key=lambda limit: limit.newtons)
    if belt.break_n is not None:
        figure, words = belt.break_n, f"a third of the breaking load of this {kind}"
        return SafeLimit(share * BREAK_SHARE * figure.value, "breaking", words, figure.told)
    if belt.ea_n is not None:
        rule = f"{HIGH_STRETCH:.1%} stretch, a general rule"
        words = f"{rule}: no maximum is published for this {kind}"
        return SafeLimit(share * HIGH_STRETCH * belt.ea_n.value, "stretch", words, belt.ea_n.told)
    return None


@dataclass(frozen=True, slots=True)
class Limits:
    """What is known of a belt's strand tension.

    Parameters
    ----------
    recommendation
        Low, best and high by pitch, construction and width; None if too little is known.
    seating
        Minimum for tooth engagement; None if unknown.
    allowable
        What one strand of a belt with steel cords may carry, pull included; None for others.
    working_tension_n
        Tension that a strand bears for life.
    marks
        Published figures to show on the ruler.
    safe
        The tension that no advice leads past; None if nothing is known of the belt.
    break_n
        What tears it.
    bears_n
        Above it the belt is overloaded: the allowable, else a third of the breaking load, else
        twice the stretch of the general rule; None if nothing is known.
    """

    recommendation: Recommendation | None = None
    seating: Bound | None = None
    allowable: Bound | None = None
    working_tension_n: float | None = None
    marks: tuple[ReferenceValue, ...] = ()
    safe: SafeLimit | None = None
    break_n: float | None = None
    bears_n: float | None = None

    def __post_init__(self) -> None:
        check_not_negative(None if self.seating is None else self.seating.newtons, "seating", "N")
        check_positive(None if self.allowable is None else self.allowable.newtons, "allowable", "N")
        check_positive(self.working_tension_n, "the working tension", "N")

    @property
    def range(self) -> Range:
        """The range by pitch and width alone."""
        own = self.recommendation
        return Range(self.seating, self.allowable) if own is None else Range(own.low, own.high)

    def target_warning(self, target_n: float) -> str:
        """Return what must be said first of a wanted tension; "" if nothing."""
        if self.break_n is not None and target_n > self.break_n:
            return (
                f"a target of {target_n:.4g} N is more than tears this belt, about "
                f"{self.break_n:.0f} N: check the number"
            )
        if self.safe is not None and target_n > self.safe.newtons:
            return f"a target of {target_n:.4g} N is above {self.safe}"
        return ""

    def check_target(self, target_n: float) -> None:
        """Refuse a wanted tension that the belt cannot carry.

        Raises
        ------
        RequestError
            If it is not below the allowable strand tension, or is more than tears the belt.
        """
        if self.allowable is not None and target_n >= self.allowable.newtons:
            raise RequestError(
                f"a target of {target_n:.4g} N is not below the {self.allowable.newtons:.4g} N "
                "this belt may carry in one strand (its allowable strand tension); choose a lower "
                "target or a wider belt"
            )
        if self.break_n is not None and target_n > self.break_n:
            raise RequestError(
                f"a target of {target_n:.4g} N is more than tears this belt, about "
                f"{self.break_n:.0f} N; check the number"
            )


def limits_of(belt: Belt, *, joined: bool = False) -> Limits:
    """Return what the catalogue says of a belt's tension.

    Parameters
    ----------
    belt
        From the catalogue, or the user's own.
    joined
        Whether the belt was cut and joined: it may then carry half (Elatech 2012, type V).
    """
    rated = allowable(belt, joined=joined)
    kind = "joined belt" if joined else "belt"
    working = belt.working_tension_n
    return Limits(
        recommendation=recommended(belt, joined=joined),
        seating=_end(
            belt.seating_n, "seating", "minimum for tooth engagement of this pitch and width"
        ),
        allowable=_end(rated, "allowable", f"allowable strand tension of this {kind}"),
        working_tension_n=None if working is None else working.value,
        marks=(
            *_figure_marks("working tension", working),
            *(mark for point in belt.set_points for mark in _set_point_marks(point)),
            *_figure_marks("allowable", rated),
            *_figure_marks("break", belt.break_n),
        ),
        safe=safe_limit(belt, joined=joined),
        break_n=None if belt.break_n is None else belt.break_n.value,
        bears_n=_bears(belt, rated, JOINED_SHARE if joined else 1.0),
    )


def _bears(belt: Belt, rated: Figure | None, share: float) -> float | None:
    """Return the tension above which the belt is overloaded."""
    if rated is not None:
        return rated.value
    if belt.break_n is not None:
        return share * BREAK_SHARE * belt.break_n.value
    return None if belt.ea_n is None else share * ALLOWABLE_STRETCH * belt.ea_n.value


def _end(figure: Figure | None, kind: str, rule: str) -> Bound | None:
    if figure is None:
        return None
    if kind == "seating":
        return Bound(figure.value, "seating", rule, figure.told)
    return Bound(figure.value, "allowable", rule, figure.told)


def _figure_marks(label: str, figure: Figure | None) -> tuple[ReferenceValue, ...]:
    if figure is None:
        return ()
    every = (figure, *figure.also)
    return tuple(ReferenceValue(label, f.value, f.source, f.known) for f in every)


def _set_point_marks(point: SetPoint) -> tuple[ReferenceValue, ...]:
    ends = dict.fromkeys((point.low_n, point.high_n))  # one mark where both are the same
    return tuple(
        ReferenceValue(f"set point: {point.note}", n, point.source, point.known) for n in ends
    )
