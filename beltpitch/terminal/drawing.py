"""Drawing on a terminal: records in, lines out; nothing is computed but where a mark stands.

The picture is a ruler of newtons: the window a strip on it, each pluck a tick, the mean a diamond
with its interval as a bar; several belts stand on one axis, so that a match is seen as alignment.
Plain text where output is piped or NO_COLOR is set; readable at 80 columns; where the terminal
cannot show the signs, ASCII stands for them.
"""

from __future__ import annotations

import codecs
import io
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.text import Text

from beltpitch.reading import COVERAGE
from beltpitch.session.verdict import in_newtons, scale

if TYPE_CHECKING:
    from beltpitch.session.verdict import RulerScale, Verdict

COLUMNS = 80  # where output is not a terminal
WIDEST = 100
MARGIN = 2
LABEL = 12

# Okabe and Ito's colour-blind-safe set; a word always stands beside the colour.
COLOURS = {
    "within": "#0072B2",
    "slack": "#E69F00",
    "tight": "#D55E00",
    "over": "#D55E00",
    "cannot tell": "#999999",
}


@dataclass(frozen=True, slots=True)
class Signs:
    """The signs of the ruler."""

    rail: str
    graduation: str
    strip: str
    tick: str
    mean: str
    bar: str
    bar_ends: str
    mark: str


FINE = Signs("─", "┴", "▒", "╷", "◆", "─", "├┤", "▾")
PLAIN = Signs("-", "+", "=", "|", "#", "-", "[]", "v")


# What stands for a sign of ours where an output knows ASCII only.
ASCII_FOR = {"±": "+/-", "·": "-", "…": "...", "≠": "!="}


def _plainly(error: UnicodeError) -> tuple[str, int]:
    """Return the stand-in for a sign that cannot be encoded: an error handler of `codecs`."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return "".join(ASCII_FOR.get(sign, "?") for sign in signs), error.end


codecs.register_error("beltpitch.plainly", _plainly)


def console() -> Console:
    """Return where to draw: standard output, at most `WIDEST` columns.

    A sign that it cannot show gets a stand-in or becomes a question mark, never an error.
    """
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="beltpitch.plainly")
    made = Console(highlight=False, soft_wrap=False)
    made.width = min(made.width, WIDEST) if made.is_terminal else COLUMNS
    return made


def print_json(record: Mapping[str, Any]) -> None:
    """Print one JSON object on standard output."""
    sys.stdout.write(json.dumps(record, indent=2, allow_nan=False) + "\n")


def signs_for(where: Console) -> Signs:
    """Return signs that this output can show."""
    try:
        "".join((FINE.rail, FINE.strip, FINE.mean)).encode(where.encoding or "ascii")
    except UnicodeEncodeError:
        return PLAIN
    return FINE


class TextRuler:
    """One axis of force, on which any number of verdicts are drawn.

    Parameters
    ----------
    scale
        Its ends and graduations, in the unit shown.
    unit
        Unit of force.
    columns
        Room there is.
    signs
        What to draw with.
    """

    def __init__(self, scale: RulerScale, unit: str, columns: int, signs: Signs) -> None:
        self.scale = scale
        self.unit = unit
        self.signs = signs
        self.width = columns - 2 * MARGIN - LABEL

    def column(self, value: float) -> int:
        """Return the column of a value, kept on the ruler."""
        return round(self.scale.share(value) * (self.width - 1))

    def axis(self, *strips: tuple[float, float]) -> tuple[str, str]:
        """Return the line of labels, and the rail with its graduations and any strips on it."""
        labels = [" "] * (self.width + MARGIN)
        rail = [self.signs.rail] * self.width
        for low, high in strips:
            first, last = self.column(low), self.column(high)
            rail[first : last + 1] = self.signs.strip * (last + 1 - first)
        for value in self.scale.graduations():
            at = self.column(value)
            rail[at] = self.signs.graduation
            text = f"{value:g}"
            start = max(0, at - len(text) // 2)
            labels[start : start + len(text)] = text
        return "".join(labels).rstrip(), "".join(rail)

    def row(
        self, *spans: tuple[float, float, str], points: Sequence[tuple[float, str]] = ()
    ) -> str:
        """Return one line: spans filled with a sign, points drawn over them."""
        line = [" "] * self.width
        for low, high, sign in spans:
            first, last = self.column(low), self.column(high)
            line[first : last + 1] = sign * (last + 1 - first)
        for value, sign in points:
            line[self.column(value)] = sign
        return "".join(line).rstrip()


def rulers(where: Console, verdicts: Sequence[Verdict], unit: str) -> None:
    """Draw verdicts on one axis, each with window, plucks and mean."""
    made = scale(verdicts, in_newtons(unit))
    if made is None:
        return
    ruler = TextRuler(made, unit, where.width, signs_for(where))
    labels, rail = ruler.axis()
    line(where, unit, labels)
    line(where, "", rail)
    for verdict in verdicts:
        _verdict_rows(where, ruler, verdict, named=len(verdicts) > 1)


def short_rulers(where: Console, verdicts: Sequence[Verdict], unit: str) -> None:
    """Draw verdicts on one axis in few lines: the window on the rail, a row for each verdict."""
    per = in_newtons(unit)
    made = scale(verdicts, per)
    if made is None:
        return
    ruler = TextRuler(made, unit, where.width, signs_for(where))
    windows = {v.window.low_n: v.window for v in verdicts if v.window is not None}
    strips = [
        (
            made.low if w.low_n is None else w.low_n / per,
            made.high if w.high_n is None else w.high_n / per,
        )
        for w in windows.values()
    ]
    labels, rail = ruler.axis(*strips if len(windows) == 1 else ())
    line(where, unit, labels)
    line(where, "range" if len(windows) == 1 else "", rail)
    signs = ruler.signs
    for verdict in verdicts:
        reading = verdict.reading
        if reading.preload is None:
            continue
        low, high = (n / per for n in reading.preload.interval(COVERAGE))
        ticks = [
            (p.tension_n / per, signs.tick)
            for p in reading.plucks
            if p.used and p.tension_n is not None
        ]
        ends = [(low, signs.bar_ends[0]), (high, signs.bar_ends[1])]
        points = [*ends, *ticks, (reading.preload.value / per, signs.mean)]
        name = reading.source[: LABEL - 1] if len(verdicts) > 1 else ""
        drawn = ruler.row((low, high, signs.bar), points=points)
        line(where, name, drawn, COLOURS[verdict.word])


def _verdict_rows(where: Console, ruler: TextRuler, verdict: Verdict, *, named: bool) -> None:

    reading, window, signs = verdict.reading, verdict.window, ruler.signs
    if reading.preload is None:
        return
    per = in_newtons(ruler.unit)
    colour = COLOURS[verdict.word]
    if named:
        where.print(Text(" " * MARGIN + reading.source, style="bold"))
    if window is not None:
        low = ruler.scale.low if window.low_n is None else window.low_n / per
        high = ruler.scale.high if window.high_n is None else window.high_n / per
        line(where, "window", ruler.row((low, high, signs.strip)))
    ticks = [(p.tension_n / per, signs.tick) for p in reading.plucks if p.tension_n is not None]
    line(where, "plucks", ruler.row(points=ticks))
    low, high = (n / per for n in reading.preload.interval(COVERAGE))
    points = [(low, signs.bar_ends[0]), (high, signs.bar_ends[1])]
    points.append((reading.preload.value / per, signs.mean))
    line(where, "preload", ruler.row((low, high, signs.bar), points=points), colour)


def line(where: Console, label: str, drawn: str, style: str = "") -> None:
    """Print a label and what was drawn beside it, on one line."""
    text = Text(" " * MARGIN + f"{label:<{LABEL}}")
    text.append(drawn, style=style)
    where.print(text, no_wrap=True, overflow="crop")


def field(where: Console, label: str, words: str, style: str = "") -> None:
    """Print a labelled paragraph, wrapped under itself."""
    room = where.width - 2 * MARGIN - LABEL
    for i, part in enumerate(wrap(words, room) or [""]):
        line(where, label if i == 0 else "", part, style)


def heading(where: Console, words: str) -> None:
    """Print a line in bold."""
    where.print(Text(words, style="bold"))
