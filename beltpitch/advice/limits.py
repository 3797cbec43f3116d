"""What a belt by itself says of its tension: seating, allowable, and the marks beside them.

Taken from the catalogue, already scaled to the belt's width as each source allows. The seating
minimum and the allowable strand tension end the range by pitch and width; working pulls, set
points and the breaking load are marks. Where handbook and practice disagree both are shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from beltpitch.advice.bounds import Bound, Range, ReferenceValue
from beltpitch.belts.catalogue import JOINED_SHARE, Belt, Figure, SetPoint
from beltpitch.errors import RequestError, check_not_negative, check_positive

BREAK_SHARE = 1 / 3  # of the breaking load; a judgement, no source
STRETCH = 0.002  # of the length, half of what a maker of steel cord allows; a judgement, no source

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
    published: tuple[tuple[Figure | None, Basis, str], ...] = (
        (belt.allowable_n, "allowable", f"the allowable strand tension of this {kind}"),
        (belt.working_pull_n, "working", f"the published working tension of this {kind}"),
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
        words = f"{STRETCH:.1%} stretch, a general rule: no maximum is published for this {kind}"
        return SafeLimit(share * STRETCH * belt.ea_n.value, "stretch", words, belt.ea_n.told)
    return None


@dataclass(frozen=True, slots=True)
class Limits:
    """What is known of a belt's strand tension.

    Parameters
    ----------
    seating
        Least preload that seats the teeth; None if unknown.
    allowable
        What one strand may carry; None where only a rating of pull is known.
    working_pull_n
        Rating of effective pull for life.
    marks
        Published figures to show on the ruler.
    safe
        The tension that no advice leads past; None if nothing is known of the belt.
    break_n
        What tears it.
    """

    seating: Bound | None = None
    allowable: Bound | None = None
    working_pull_n: float | None = None
    marks: tuple[ReferenceValue, ...] = ()
    safe: SafeLimit | None = None
    break_n: float | None = None

    def __post_init__(self) -> None:
        check_not_negative(None if self.seating is None else self.seating.newtons, "seating", "N")
        check_positive(None if self.allowable is None else self.allowable.newtons, "allowable", "N")
        check_positive(self.working_pull_n, "the working pull", "N")

    @property
    def range(self) -> Range:
        """The range by pitch and width alone."""
        return Range(self.seating, self.allowable)

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
    allowable = belt.allowable_joined_n if joined else belt.allowable_n
    kind = "joined belt" if joined else "belt"
    working = belt.working_pull_n
    return Limits(
        seating=_end(belt.seating_n, "seating", "seating minimum of this pitch and width"),
        allowable=_end(allowable, "allowable", f"allowable strand tension of this {kind}"),
        working_pull_n=None if working is None else working.value,
        marks=(
            *_figure_marks("working pull", working),
            *(mark for point in belt.set_points for mark in _set_point_marks(point)),
            *_figure_marks("allowable", allowable),
            *_figure_marks("break", belt.break_n),
        ),
        safe=safe_limit(belt, joined=joined),
        break_n=None if belt.break_n is None else belt.break_n.value,
    )


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
