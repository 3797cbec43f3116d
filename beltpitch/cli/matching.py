"""Two belts on one axis: a match is seen as alignment.

The first belt stands on its ruler; under it lies the strip within which the second must come, and
the second with the interval of the comparison, which is narrower than the belts' own intervals
because what they share has cancelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from beltpitch.cli.show import LABEL, MARGIN, Ruler, field, signs_for

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.advice.match import Match
    from beltpitch.verdict import Verdict

WORTH_NAMING = 1e-3  # share of the variance
MATCH_COLOURS = {"matched": "#0072B2", "unmatched": "#D55E00", "not yet known": "#999999"}


def draw_match(where: Console, verdicts: Sequence[Verdict], match: Match, unit: str) -> None:
    """Draw both belts on one axis; nothing where no tensions are known."""
    from beltpitch.verdict import in_newtons, scale

    per = in_newtons(unit)
    made = scale(verdicts, per)
    if made is None or match.values_n is None or match.zone_n is None or match.bar_n is None:
        return
    ruler = Ruler(made, unit, where.width, signs_for(where))
    signs = ruler.signs
    colour = MATCH_COLOURS[match.word]
    labels, rail = ruler.axis()
    _line(where, unit, labels)
    _line(where, "", rail)
    low, high = (n / per for n in match.zone_n)
    left, right = (n / per for n in match.bar_n)
    ends = [(left, signs.bar_ends[0]), (right, signs.bar_ends[1])]
    for i, verdict in enumerate(verdicts[:2]):
        where.print(Text(" " * MARGIN + match.names[i], style="bold"))
        ticks = [
            (p.tension_n / per, signs.tick)
            for p in verdict.reading.plucks
            if p.used and p.tension_n is not None
        ]
        _line(where, "plucks", ruler.row(points=ticks))
        mean = (match.values_n[i] / per, signs.mean)
        if i == 0:
            _line(where, "mean", ruler.row(points=[mean]), colour)
            _line(where, "tolerance", ruler.row((low, high, signs.strip)))
        else:
            bar = ruler.row((left, right, signs.bar), points=[*ends, mean])
            _line(where, "mean", bar, colour)


def _line(where: Console, label: str, line: str, style: str = "") -> None:
    text = Text(" " * MARGIN + f"{label:<{LABEL}}")
    text.append(line, style=style)
    where.print(text, no_wrap=True, overflow="crop")


def show_match(where: Console, verdicts: Sequence[Verdict], match: Match, unit: str) -> None:
    """Print the answer: word, axis, what to do, what cancelled, what it rests on."""
    field(where, "pair", str(match), f"bold {MATCH_COLOURS[match.word]}")
    where.print()
    draw_match(where, verdicts, match, unit)
    if match.values_n is not None:
        where.print()
    _what_to_do(where, match)
    if match.cancelled:
        lines = ", ".join(f"{name} {size:.2%}" for name, size in match.cancelled)
        field(where, "cancels", f"common to both: {lines}")
    if match.apart is not None:
        left = ", ".join(
            f"{line.name} {line.u:.2%}"
            for line in match.apart.budget()
            if line.share > WORTH_NAMING
        )
        field(where, "doubt", f"of the difference (u): {left}")
    if match.preloads is not None:
        low, high = match.preloads.interval()
        field(
            where, "preloads", f"differ by {match.preloads.value:+.1%} ({low:+.1%} to {high:+.1%})"
        )
    for words in match.notes:
        field(where, "note", words)


def _what_to_do(where: Console, match: Match) -> None:
    if match.turn is not None:
        field(where, "to do", str(match.turn), "bold")
    elif match.word == "matched":
        field(where, "next", "Leave both, and write it down.", "bold")
    if match.hint is not None:
        field(where, "hint", match.hint)
