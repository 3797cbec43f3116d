"""What a belt by itself says of its tension: seating, allowable, and the marks beside them.

Taken from the catalogue, already scaled to the belt's width as each source allows. The seating
minimum and the allowable strand tension end the range by pitch and width; working pulls, set
points and the breaking load are marks. Where handbook and practice disagree both are shown.
"""

from __future__ import annotations

from dataclasses import dataclass

from beltpitch.advice.checks import not_negative, positive
from beltpitch.advice.ends import End, Mark, Range
from beltpitch.belt.catalogue import Belt, Figure, SetPoint


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
    """

    seating: End | None = None
    allowable: End | None = None
    working_pull_n: float | None = None
    marks: tuple[Mark, ...] = ()

    def __post_init__(self) -> None:
        not_negative(None if self.seating is None else self.seating.newtons, "seating", "N")
        positive(None if self.allowable is None else self.allowable.newtons, "allowable", "N")
        positive(self.working_pull_n, "the working pull", "N")

    @property
    def range(self) -> Range:
        """The range by pitch and width alone."""
        return Range(self.seating, self.allowable)


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
    )


def _end(figure: Figure | None, kind: str, rule: str) -> End | None:
    if figure is None:
        return None
    if kind == "seating":
        return End(figure.value, "seating", rule, figure.told)
    return End(figure.value, "allowable", rule, figure.told)


def _figure_marks(label: str, figure: Figure | None) -> tuple[Mark, ...]:
    if figure is None:
        return ()
    every = (figure, *figure.also)
    return tuple(Mark(label, f.value, f.source, f.known) for f in every)


def _set_point_marks(point: SetPoint) -> tuple[Mark, ...]:
    ends = dict.fromkeys((point.low_n, point.high_n))  # one mark where both are the same
    return tuple(Mark(f"set point: {point.note}", n, point.source, point.known) for n in ends)
