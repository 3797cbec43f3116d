"""The short answer: what the person at the machine needs, one labelled line each, in one order.

Measured, tension, verdict, (ruler), do next, narrow it, assumed, caution, more. The terminal, and
whatever else shows an answer, draws these lines; the details stand behind ``--details``.

It knows no screen and opens nothing. Texts of a line fit into 66 columns wherever the names in them
allow it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from beltpitch.advice.recommendation import BASIS_WORDS
from beltpitch.advice.safety import short_caution
from beltpitch.advice.window import SURE, Judgement, Window
from beltpitch.present.text import force, frequency, interval, tone
from beltpitch.reading import Reading
from beltpitch.session.verdict import Verdict

Style = Literal["", "bold", "word"]
MORE = "--details: corrections, uncertainty, sources, all cautions"
BASIS_SHORT = {**BASIS_WORDS, "derived": "derived figures", "duty": "by its duty"}
FEW = 3  # plucks that make a first reading


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an answer.

    Parameters
    ----------
    label
        What it is; "" for the title.
    text
        The words.
    style
        ``word`` for the colour of the verdict.
    """

    label: str
    text: str
    style: Style = ""


def title(reading: Reading, name: str) -> str:
    """Return what was plucked: source, belt, span, tone."""
    parts = [name] if name != "typed" else []
    if reading.belt is not None:
        parts.append(reading.belt.name)
    if reading.span is not None:
        parts.append(f"span {reading.span.length_m * 1000:.4g} mm")
    if reading.frequency is not None:
        parts.append(frequency(reading, reading.frequency))
    return " · ".join(parts or [name])


def head(verdict: Verdict, unit: str) -> list[Line]:
    """Return the lines above the ruler: warning, tension, verdict, what was rejected."""
    reading = verdict.reading
    # of a belt that is too tight the word says it already
    said = verdict.warning and (verdict.unlikely or verdict.word not in ("tight", "over"))
    lines = [Line("warning", verdict.warning, "bold")] if said else []
    if reading.preload is not None:
        lines.append(Line("tension", interval(reading.preload, unit), "word"))
        lines.append(Line("verdict", verdict_words(verdict, unit), "word"))
    if reading.strand_difference is not None:
        lines.append(
            Line("strands", f"{interval(reading.strand_difference, unit)} between strands")
        )
    for i, group in enumerate(reading.groups, 1):
        newtons = "" if group.tension is None else f"{interval(group.tension, unit)}   "
        lines.append(Line(f"group {i}", f"{newtons}{tone(group.frequency)} Hz"))
    rejected = [pluck for pluck in reading.plucks if not pluck.used]
    if rejected and not reading.groups:
        why = (rejected[0].reason or "unsaid").split(";")[0].split(":")[0]
        lines.append(Line("rejected", f"{len(rejected)} of {len(reading.plucks)} plucks: {why}"))
    return lines


def verdict_words(verdict: Verdict, unit: str) -> str:
    """Return the word with its share, and the range it was judged by."""
    word = str(Judgement(verdict.word, verdict.share))
    window = verdict.window
    if window is None:
        return f"{word}: nothing is known to compare with"
    return f"{word}: {range_words(window, unit)}"


def range_words(window: Window, unit: str) -> str:
    """Return the ends of a window, its best tension and what it rests on."""
    low, high = window.low_n, window.high_n
    best = "" if window.best_n is None else f", {force(window.best_n, unit)} best"
    if window.basis == "own target" and window.target_n is not None:
        within = 1 - (low or 0.0) / window.target_n
        which = "" if not window.default_tolerance else f" ({_which_tolerance(window)})"
        return f"own target {force(window.target_n, unit)}, {_plus_minus(within)}{which}"
    basis = BASIS_SHORT.get(window.basis, "")
    basis = f" ({basis})" if basis else ""
    if low is None or high is None:
        known = f"from {force(low, unit)}" if low is not None else f"to {force(high or 0.0, unit)}"
        return f"{known}, the other end is not known{basis}"
    return f"{force(low, unit).split()[0]} to {force(high, unit)}{best}{basis}"


def do_next(verdict: Verdict, unit: str) -> str:
    """Return the one thing to do, with the tension and the tone to aim at."""
    if verdict.window is None and verdict.reading.preload is not None and not verdict.unlikely:
        return 'name the belt (--belt) or give --target "30 N" to judge it'
    aim = _aim(verdict, unit)
    if aim is None or verdict.word == "cannot tell":
        return verdict.then or verdict.next_step
    if verdict.word == "over":
        return f"loosen it now, to about {aim}, and pluck again"
    if verdict.word == "within":
        return _leave(verdict)
    turn = "tighten" if verdict.word == "slack" else "loosen"
    if verdict.share < SURE:
        return f"narrow it first; else {turn} to about {aim}"
    if verdict.warning and verdict.word == "slack":
        return f"settle the warning first, then tighten to about {aim}"
    return f"{turn} to about {aim}, settle, pluck {FEW} times"


def _leave(verdict: Verdict) -> str:
    """Return what to do with a belt that is within its window."""
    if verdict.warning:
        return "settle the warning first"
    if verdict.reading.warnings:
        return "read the note (--details) before you leave it so"
    if verdict.share < SURE:
        return "leave it, or narrow it first"
    return "leave it, and write it down"


def _aim(verdict: Verdict, unit: str) -> str | None:
    """Return the tension to aim at and its tone; None where there is none, or nothing fits.

    The tone goes with the root of the tension, from the one that was measured.
    """
    reading, window = verdict.reading, verdict.window
    if reading.preload is None or window is None or window.best_n is None or verdict.unlikely:
        return None
    aim = force(window.best_n, unit)
    if reading.frequency is None or not reading.preload.value > 0:
        return aim
    hertz = reading.frequency.value * math.sqrt(window.best_n / reading.preload.value)
    return f"{aim} ({hertz:.0f} Hz)"


def tail(
    worst: Verdict, verdicts: Sequence[Verdict], unit: str, *, turn: bool, pair: bool = False
) -> list[Line]:
    """Return the lines below the ruler: narrow it, assumed, caution, more.

    Parameters
    ----------
    worst
        The verdict whose interval is to be narrowed.
    verdicts
        All that are shown.
    unit
        Unit of force to show.
    turn, pair
        Whether a person is told to turn a tensioner, and whether of a pair.
    """
    lines = [Line("narrow it", worst.narrow)] if worst.narrow else []
    assumed = assumptions([v.reading for v in verdicts], unit)
    if assumed:
        lines.append(Line("assumed", assumed))
    if any(v.reading.frequency is not None for v in verdicts):
        lines.append(Line("caution", short_caution(turn=turn, pair=pair)))
    return [*lines, Line("more", MORE)]


def assumptions(readings: Sequence[Reading], unit: str) -> str:
    """Return on one line what was taken for granted: belt, linear mass, span, ends, strands."""
    found: list[str] = []
    for reading in readings:
        belt, span = reading.belt, reading.span
        said = " ".join(reading.echoes)
        if belt is not None and belt.construction and "taken as" in said:
            found.append(belt.construction)
        if belt is not None and belt.linear_mass_per_width is not None:
            found.append(f"{belt.linear_mass.value * 1000:.3g} g/m")
        if span is not None and any(words.startswith("span") for words in reading.echoes):
            found.append("span ±1 mm")
        if "strands assumed to differ" in said and span is not None:
            limit = force(span.strand_limit.value_n, unit, ".3g")
            found.append(f"strands within {limit}")
    return ", ".join(dict.fromkeys(found))


def _which_tolerance(window: Window) -> str:
    """Return where a tolerance comes from that nobody gave."""
    return "what it resolves" if window.low_rule.endswith("resolves") else "the default"


def _plus_minus(share: float) -> str:
    return f"±{share:.0%}".replace("%", " %")


def pair_line(name: str, verdict: Verdict, unit: str) -> str:
    """Return one belt of a pair on one line: tension, tone, word."""
    reading = verdict.reading
    parts = [name]
    if reading.preload is not None:
        parts.append(force(reading.preload.value, unit))
    if reading.frequency is not None:
        parts.append(frequency(reading, reading.frequency))
    if reading.preload is not None:
        parts.append(str(Judgement(verdict.word, verdict.share)))
    if len(parts) == 1:
        parts.append("no one frequency yet")
    return " · ".join(parts)
