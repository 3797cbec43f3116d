"""Two belts on one axis: a match is seen as alignment.

The first belt stands on its ruler; under it lies the strip within which the second must come, and
the second with the interval of the comparison, which is narrower than the belts' own intervals
because what they share has cancelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from beltpitch.advice.comparison import tighter_by
from beltpitch.advice.window import TO_TURN
from beltpitch.present import answer
from beltpitch.present.text import interval
from beltpitch.session.verdict import in_newtons, scale_over, worse_known
from beltpitch.terminal import reading_view
from beltpitch.terminal.drawing import (
    COLOURS,
    LABEL,
    MARGIN,
    TextRuler,
    field,
    heading,
    line,
    signs_for,
)
from beltpitch.terminal.reading_view import cautions, sources

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.advice.comparison import Comparison
    from beltpitch.session.verdict import Verdict

WORTH_NAMING = 1e-3  # share of the variance
MATCH_COLOURS = {"matched": "#0072B2", "unmatched": "#D55E00", "not yet known": "#999999"}


def draw_match(
    where: Console,
    verdicts: Sequence[Verdict],
    match: Comparison,
    unit: str,
    *,
    short: bool = False,
) -> None:
    """Draw both belts on one axis; nothing where no tensions are known.

    Without the plucks where it is to be short.

    The axis holds what is compared and no more, so that what is left to go can be seen.
    """
    zone, bar, values = match.zone_n, match.bar_n, match.values_n
    if values is None or zone is None or bar is None:
        return
    per = in_newtons(unit)
    plucks = [
        [p.tension_n / per for p in v.reading.plucks if p.used and p.tension_n is not None]
        for v in verdicts[:2]
    ]
    low, high = (n / per for n in zone)
    left, right = (n / per for n in bar)
    means = [n / per for n in values]
    made = scale_over([*means, low, high, left, right, *(n for each in plucks for n in each)])
    assert made is not None
    ruler = TextRuler(made, unit, where.width, signs_for(where))
    signs = ruler.signs
    colour = MATCH_COLOURS[match.word]
    labels, rail = ruler.axis((low, high)) if short else ruler.axis()
    line(where, unit, labels)
    line(where, "tolerance" if short else "", rail)
    ends = [(left, signs.bar_ends[0]), (right, signs.bar_ends[1])]
    for i, ticks in enumerate(plucks):
        name = match.names[i][: LABEL - 1] if short else "mean"
        if not short:
            where.print(Text(" " * MARGIN + match.names[i], style="bold"))
            line(where, "plucks", ruler.row(points=[(n, signs.tick) for n in ticks]))
        mean = (means[i], signs.mean)
        if i == 0:
            line(where, name, ruler.row(points=[mean]), colour)
            if not short:
                line(where, "tolerance", ruler.row((low, high, signs.strip)))
        else:
            line(where, name, ruler.row((left, right, signs.bar), points=[*ends, mean]), colour)


def show_pair(
    where: Console,
    belts: Sequence[Sequence[Verdict]],
    match: Comparison,
    unit: str,
    *,
    details: bool = False,
) -> None:
    """Print the answer and both belts on one axis; in detail also each belt and what it rests on.

    Parameters
    ----------
    where
        The terminal.
    belts
        Of each belt the verdicts on its readings; none where nothing was read.
    match
        The answer.
    unit
        Unit of force to show.
    details
        Whether to print everything.
    """
    if details:
        _show_all(where, belts, match, unit)
    else:
        _show_short(where, belts, match, unit)


def _show_short(
    where: Console, belts: Sequence[Sequence[Verdict]], match: Comparison, unit: str
) -> None:
    """Print the short answer: at most fifteen lines."""
    last = _last(match, belts)
    for name, verdict in last:
        if verdict.warning:
            field(where, "warning", f"{name}: {verdict.warning}", "bold")
    field(where, "pair", str(match), f"bold {MATCH_COLOURS[match.word]}")
    if match.reached:
        field(where, "reached", " · ".join(str(each) for each in match.reached))
    off = [name for name, verdict in last if verdict.word in TO_TURN]
    _what_to_do(where, match, off, unit, warned=any(v.warning for _, v in last))
    if match.values_n is not None:
        draw_match(where, [verdict for _, verdict in last], match, unit, short=True)
    for name, verdict in last:
        field(where, "", answer.pair_line(name, verdict, unit), COLOURS[verdict.word])
    every = [verdict for verdicts in belts for verdict in verdicts]
    if every:
        worst = worse_known([verdict for _, verdict in last]) or every[0]
        for one in answer.tail(worst, every, unit, turn=match.turn is not None, pair=True):
            field(where, one.label, one.text)


def _last(match: Comparison, belts: Sequence[Sequence[Verdict]]) -> list[tuple[str, Verdict]]:
    """Return each belt that was read, with the verdict on its last reading."""
    return [(name, found[-1]) for name, found in zip(match.names, belts, strict=True) if found]


def _show_all(
    where: Console, belts: Sequence[Sequence[Verdict]], match: Comparison, unit: str
) -> None:

    every = [verdict for verdicts in belts for verdict in verdicts]
    last = _last(match, belts)
    warned = [f"{name}: {verdict.warning}" for name, verdict in last if verdict.warning]
    for words in warned:
        field(where, "warning", words, "bold")
    field(where, "pair", str(match), f"bold {MATCH_COLOURS[match.word]}")
    if match.reached:
        field(where, "reached", " · ".join(str(each) for each in match.reached))
    off = [name for name, verdict in last if verdict.word in TO_TURN]
    _what_to_do(where, match, off, unit, warned=bool(warned))
    where.print()
    if match.values_n is not None:
        draw_match(where, [verdicts[-1] for verdicts in belts if verdicts], match, unit)
        where.print()
    for name, verdicts in zip(match.names, belts, strict=True):
        _belt(where, name, verdicts, unit)
    better = _better(match.names, belts)
    if better:
        field(where, "narrow it", better)
    _rests_on(where, belts, match, unit)
    sources(where, every)
    if match.apart is not None:
        cautions(where, turn=match.turn is not None, pair=True)


def _belt(where: Console, name: str, verdicts: Sequence[Verdict], unit: str) -> None:
    """Print one belt in a few lines: what it was found at, and the plucks that were set aside."""
    if not verdicts:
        return
    last = verdicts[-1]
    heading(where, reading_view.title(last.reading, name))
    if last.reading.preload is not None:
        words = f"{interval(last.reading.preload, unit)}   {last.said}"
        field(where, "preload", words, COLOURS[last.word])
    for verdict in verdicts:
        reading = verdict.reading
        strand = "" if len(verdicts) == 1 or reading.strand is None else f"{reading.strand}: "
        if reading.frequency is not None:
            field(
                where,
                "frequency",
                strand + reading_view.frequency(reading, reading.frequency, partials=False),
            )
        reading_view.show_groups(where, reading, unit)
        for words in reading_view.set_aside(reading):
            field(where, "rejected", strand + words)
    if last.reading.strand_difference is not None:
        words = f"{interval(last.reading.strand_difference, unit)} between strands"
        field(where, "difference", words)
    where.print()


def _better(names: Sequence[str], belts: Sequence[Sequence[Verdict]]) -> str:
    """Return the one thing to do next about the belt that is known less well; "" without one."""
    last = {name: verdicts[-1] for name, verdicts in zip(names, belts, strict=True) if verdicts}
    worst = worse_known([*last.values()])
    name = next((name for name, verdict in last.items() if verdict is worst), "")
    return f"{name}: {worst.better}" if worst is not None and worst.better else ""


def _rests_on(
    where: Console, belts: Sequence[Sequence[Verdict]], match: Comparison, unit: str
) -> None:
    """Print what cancelled, the doubt that is left, and everything that was taken or warned of."""
    if match.cancelled:
        lines = ", ".join(f"{name} {size:.2%}" for name, size in match.cancelled)
        field(where, "common", f"to both belts: {lines}")
    if match.apart is not None:
        left = ", ".join(
            f"{part.name} {part.u:.2%}"
            for part in match.apart.budget()
            if part.share > WORTH_NAMING
        )
        field(where, "uncertainty", f"of the difference (u): {left}")
    if match.preloads is not None:
        low, high = match.preloads.interval()
        field(
            where,
            "preloads",
            f"{match.names[0]} against {match.names[1]}: {tighter_by(match.preloads.value):+.1%} "
            f"({tighter_by(low):+.1%} to {tighter_by(high):+.1%})",
        )
    for words in _windows(match.names, belts, unit):
        field(where, "window", words)
    readings = [verdict.reading for verdicts in belts for verdict in verdicts]
    for words in dict.fromkeys(words for reading in readings for words in reading.echoes):
        field(where, "assumed", words)
    warned = (words for reading in readings for words in reading.warnings)
    for words in dict.fromkeys((*match.notes, *warned)):
        field(where, "note", words)


def _windows(names: Sequence[str], belts: Sequence[Sequence[Verdict]], unit: str) -> list[str]:
    """Return the window of both belts in words, or that of each by its name."""
    known = [
        (name, reading_view.window(verdicts[-1].window, unit))
        for name, verdicts in zip(names, belts, strict=True)
        if verdicts and verdicts[-1].window is not None
    ]
    every = {words for _, words in known}
    return [*every] if len(every) == 1 else [f"{name}: {words}" for name, words in known]


def _what_to_do(
    where: Console, match: Comparison, off: Sequence[str], unit: str, *, warned: bool
) -> None:
    """Print which belt to turn; of a matched pair, whether both may be left so."""
    if match.turn is not None:
        field(where, "to do", match.turn.words(unit), "bold")
    elif match.again is not None:
        field(where, "to do", str(match.again), "bold")
    elif match.word == "matched" and (off or warned):
        words = f"bring {' and '.join(off)} into the window" if off else "read the warning"
        field(where, "next", f"They match; {words} before you leave them.", "bold")
    elif match.word == "matched":
        field(where, "next", "Leave both, and write it down.", "bold")
    if match.hint is not None:
        field(where, "hint", match.hint)
