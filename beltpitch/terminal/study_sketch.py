"""A study on a terminal: a sketch of results against tension, in text; nothing is computed here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from beltpitch.session.verdict import in_newtons, scale_over
from beltpitch.terminal.drawing import PLAIN, TextRuler, line, signs_for

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.study.study import Study, StudyAnswer

ROWS = 12
MARGIN, LABEL = 2, 12


@dataclass(frozen=True, slots=True)
class Marks:
    """The signs of the sketch."""

    trial: str
    several: str
    used: str
    other: str


FINE_MARKS = Marks("o", "8", "·", "˙")
PLAIN_MARKS = Marks("o", "8", ".", ",")


class Sketch:
    """A grid of characters over a range of tension and of results.

    Parameters
    ----------
    across, up
        Ranges of tension (unit shown) and result.
    columns, rows
        Size in characters.
    """

    def __init__(
        self, across: tuple[float, float], up: tuple[float, float], columns: int, rows: int = ROWS
    ) -> None:
        self.across, self.up = across, up
        self.columns, self.rows = columns, rows
        self.cells = [[" "] * columns for _ in range(rows)]

    def column(self, value: float) -> int:
        """Return the column of a tension, kept on the sketch."""
        return _place(value, self.across, self.columns)

    def row(self, value: float) -> int:
        """Return the row of a result, from above, kept on the sketch."""
        return self.rows - 1 - _place(value, self.up, self.rows)

    def put(self, x: float, y: float, sign: str, over: str = "") -> None:
        """Write a sign; `over` where such a sign stands there already."""
        row, column = self.row(y), self.column(x)
        taken = self.cells[row][column] in (sign, over)
        self.cells[row][column] = over if taken and over else sign

    def lines(self) -> list[str]:
        """Return the rows from above."""
        return ["".join(row).rstrip() for row in self.cells]


def _place(value: float, ends: tuple[float, float], steps: int) -> int:
    share = (value - ends[0]) / ((ends[1] - ends[0]) or 1.0)
    return round(min(1.0, max(0.0, share)) * (steps - 1))


def sketch(where: Console, made: Study, answer: StudyAnswer, unit: str) -> None:
    """Draw one measure: trials, both curves, and below them window, optimum and the next trial."""
    per, found = in_newtons(unit), answer.finding
    signs = signs_for(where)
    marks = PLAIN_MARKS if signs is PLAIN else FINE_MARKS
    data = found.data
    ends = [made.field.low_n, made.field.high_n, *(float(t) for t in data.tension_n)]
    scale = scale_over([n / per for n in ends])
    assert scale is not None
    ruler = TextRuler(scale, unit, where.width, signs)
    drawn = _drawn(answer, (scale.low, scale.high), ruler.width, per, marks)
    top, foot = (found.measure.value(v) for v in (drawn.up[1], drawn.up[0]))
    rows = drawn.lines()
    for i, text in enumerate(rows):
        label = top if i == 0 else foot if i == len(rows) - 1 else ""
        line(where, label[: LABEL - 1], text)
    labels, rail = ruler.axis()
    line(where, "", rail)
    line(where, unit, labels)
    window = (made.field.low_n / per, made.field.high_n / per, signs.strip)
    line(where, "window", ruler.row(window))
    if found.interval_n is not None:
        low, high = (n / per for n in found.interval_n)
        points = [(low, signs.bar_ends[0]), (high, signs.bar_ends[1])]
        points.append((found.best_n / per, signs.mean))
        line(where, "optimum", ruler.row((low, high, signs.bar), points=points))
    if answer.next.tension_n is not None:
        line(where, "try next", ruler.row(points=[(answer.next.tension_n / per, signs.mark)]))
    used, other = ("quadratic", "Gaussian process")
    if found.method != "quadratic":
        used, other = other, used
    line(
        where,
        "",
        f"{marks.trial} trial ({marks.several} several)  {marks.used} {used}, used  "
        f"{marks.other} {other}",
    )
    where.print()


def _drawn(
    answer: StudyAnswer, across: tuple[float, float], columns: int, per: float, marks: Marks
) -> Sketch:

    found = answer.finding
    data, sign = found.data, found.data.sign
    first, last = float(data.tension_n.min()), float(data.tension_n.max())
    grid = np.linspace(first, last, 2 * columns)
    used = found.curve(grid)
    other = sign * (found.quadratic if found.method != "quadratic" else found.process).value(grid)  # type: ignore[union-attr]
    every = [*data.result, *used, *other]
    made = Sketch(across, (float(min(every)), float(max(every))), columns)
    for x, y in zip(grid, other, strict=True):
        made.put(float(x) / per, float(y), marks.other)
    for x, y in zip(grid, used, strict=True):
        made.put(float(x) / per, float(y), marks.used)
    for x, y in zip(data.tension_n, data.result, strict=True):
        made.put(float(x) / per, float(y), marks.trial, marks.several)
    return made
