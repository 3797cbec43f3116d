"""A reading as shown on a terminal: figures, ruler, doubt, what to do, where it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from beltpitch.advice.safety import plucking, turning
from beltpitch.advice.window import TO_TURN
from beltpitch.present import answer
from beltpitch.present.text import force, interval
from beltpitch.terminal.drawing import COLOURS, console, field, heading, rulers, short_rulers
from beltpitch.units import rounded

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.advice.window import Window
    from beltpitch.reading import PluckGroup, PluckReading, Reading
    from beltpitch.session.verdict import Verdict
    from beltpitch.uncertainty import Estimate

MOST_LINES = 4  # of a budget, in words
WORTH_NAMING = 0.01  # share of the variance
PLUCKS_LISTED = 12
SMALLEST_PERCENT = 0.005  # that two decimals show


def show(verdicts: Sequence[Verdict], unit: str, *, heard: bool, details: bool = False) -> None:
    """Print verdicts: the short answer, or everything that is known of them.

    Parameters
    ----------
    verdicts
        What was read.
    unit
        Unit of force to show.
    heard
        Whether the frequencies were heard (then each pluck is listed) or typed.
    details
        Whether to print everything: each pluck, corrections, budget, sources, all cautions.
    """
    if details:
        _show_all(verdicts, unit, heard=heard)
    else:
        _show_short(verdicts, unit)


def _show_short(verdicts: Sequence[Verdict], unit: str) -> None:
    """Print the short answer: at most a dozen lines for one reading."""
    where = console()
    for verdict in verdicts:
        heading(where, answer.title(verdict.reading, verdict.reading.source))
        _lines(where, answer.head(verdict, unit), verdict)
    short_rulers(where, verdicts, unit)
    for verdict in verdicts:
        name = f"{verdict.reading.source}: " if len(verdicts) > 1 else ""
        field(where, "do next", name + answer.do_next(verdict, unit), "bold")
    turn = any(v.word in TO_TURN for v in verdicts)
    _lines(where, answer.tail(verdicts[0], verdicts, unit, turn=turn), verdicts[0])


def _lines(where: Console, lines: Sequence[answer.Line], verdict: Verdict) -> None:
    for one in lines:
        style = f"bold {COLOURS[verdict.word]}" if one.style == "word" else one.style
        field(where, one.label, one.text, style)


def _show_all(verdicts: Sequence[Verdict], unit: str, *, heard: bool) -> None:
    """Print each verdict with its figures, then all on one ruler, then sources and cautions."""
    where = console()
    for verdict in verdicts:
        _figures(where, verdict, unit)
        if heard:
            _plucks(where, verdict.reading, unit)
        if verdict.reading.preload is not None and len(verdicts) == 1:
            where.print()
            rulers(where, [verdict], unit)
            where.print()
        _doubt(where, verdict)
        where.print()
    if len(verdicts) > 1:
        rulers(where, verdicts, unit)
        where.print()
    sources(where, verdicts)
    if any(v.reading.frequency is not None for v in verdicts):
        cautions(where, turn=any(v.word in TO_TURN for v in verdicts))


def _figures(where: Console, verdict: Verdict, unit: str) -> None:
    reading = verdict.reading
    heading(where, title(reading, reading.source))
    if verdict.warning:
        field(where, "warning", verdict.warning, "bold")
    if reading.preload is not None and reading.tension is not None:
        words = f"{interval(reading.preload, unit)}   {verdict.said}"
        field(where, "preload", words, f"bold {COLOURS[verdict.word]}")
        strand = f"this strand ({reading.strand})" if reading.strand else "this strand"
        field(where, "tension", f"{interval(reading.tension, unit)}, {strand} alone")
    if reading.strand_difference is not None:
        field(where, "difference", f"{interval(reading.strand_difference, unit)} between strands")
    if reading.frequency is not None:
        field(where, "frequency", frequency(reading, reading.frequency))
    show_groups(where, reading, unit)
    if verdict.window is not None:
        field(where, "window", window(verdict.window, unit))


def show_groups(where: Console, reading: Reading, unit: str) -> None:
    """Print what each group of plucks says, where they are of several tones."""
    for i, group in enumerate(reading.groups, 1):
        tone = group.frequency
        words = f"{rounded(tone.value, tone.u)} Hz (u {tone.u:.2g} Hz) from {_plucks_named(group)}"
        force = "" if group.tension is None else f"{interval(group.tension, unit)}   "
        field(where, f"group {i}", f"{force}{words}")


def _plucks_named(group: PluckGroup) -> str:
    """Return the plucks of a group by their numbers."""
    names = ", ".join(str(k + 1) for k in group.plucks[:PLUCKS_LISTED])
    more = len(group.plucks) - PLUCKS_LISTED
    return f"pluck{'s' if len(group.plucks) > 1 else ''} {names}{f' and {more} more' * (more > 0)}"


def title(reading: Reading, name: str) -> str:
    """Return what was plucked, in words."""
    parts = [name]
    if reading.belt is not None:
        parts.append(reading.belt.name)
    if reading.span is not None:
        ends = " and ".join(dict.fromkeys(reading.span.ends))
        parts.append(f"span {reading.span.length_m * 1000:.4g} mm, {ends}")
    return " · ".join(parts)


def frequency(reading: Reading, tone: Estimate, *, partials: bool = True) -> str:
    """Return the frequency with its uncertainty, and the partials if wanted, in words."""
    used = sum(p.used for p in reading.plucks)
    words = f"{rounded(tone.value, tone.u)} Hz (u {tone.u:.2g} Hz)"
    words += f" from {used} pluck{'s' if used != 1 else ''}"
    if reading.partials_hz and partials:
        words += "; partials " + ", ".join(f"{f:.4g}" for f in reading.partials_hz)
    return words


def window(limits: Window, unit: str) -> str:
    """Return a window in words, with the rules that made its ends."""
    low = "not known" if limits.low_n is None else force(limits.low_n, unit)
    high = "not known" if limits.high_n is None else force(limits.high_n, unit)
    best = "" if limits.best_n is None else f", {force(limits.best_n, unit)} best"
    rules = dict.fromkeys((limits.basis_words, limits.low_rule, limits.high_rule))
    return f"{low} to {high}{best} ({'; '.join(rule for rule in rules if rule)})"


def _plucks(where: Console, reading: Reading, unit: str) -> None:
    shown = reading.plucks[:PLUCKS_LISTED]
    for i, pluck in enumerate(shown, 1):
        hz = "no pitch" if pluck.frequency_hz is None else f"{pluck.frequency_hz:.2f} Hz"
        tension = "" if pluck.tension_n is None else f"  {force(pluck.tension_n, unit)}"
        why = "" if pluck.used else f"  set aside: {_why(pluck)}"
        field(where, f"pluck {i}", f"{_at(pluck)}{hz}{tension}{why}")
    if len(reading.plucks) > PLUCKS_LISTED:
        field(where, "", f"and {len(reading.plucks) - PLUCKS_LISTED} more (all in --json)")


def _at(pluck: PluckReading) -> str:
    return "" if pluck.onset_s is None else f"at {pluck.onset_s:.2f} s  "


def _why(pluck: PluckReading) -> str:
    """Return why it was set aside; what to do about it stands once, below the plucks."""
    return (pluck.reason or "unsaid").split(";")[0]


def set_aside(reading: Reading) -> list[str]:
    """Return the plucks that do not count, a line for each."""
    found = [
        f"pluck {i}  {_at(pluck)}{_why(pluck)}"
        for i, pluck in enumerate(reading.plucks, 1)
        if not pluck.used
    ]
    more = len(found) - PLUCKS_LISTED
    return [*found[:PLUCKS_LISTED], *([f"and {more} more (all in --json)"] if more > 0 else [])]


def _doubt(where: Console, verdict: Verdict) -> None:
    reading = verdict.reading
    lines = [line for line in reading.budget if line.share >= WORTH_NAMING][:MOST_LINES]
    if lines:
        field(where, "uncertainty", ", ".join(f"{line.name} {line.share:.0%}" for line in lines))
    if verdict.then:
        field(where, "next", verdict.then, "bold")
    if verdict.better and verdict.better not in verdict.next_step:
        field(where, "narrow it", verdict.better)
    if reading.corrections:
        made = ", ".join(f"{c.name} {_percent(c.percent)} %" for c in reading.corrections)
        field(where, "corrected", made)
    if reading.steady_hz:
        tones = ", ".join(f"{f:.4g}" for f in reading.steady_hz)
        field(where, "rejected", f"steady tones at {tones} Hz")
    for words in reading.echoes:
        field(where, "assumed", words)
    for words in reading.warnings:
        field(where, "note", words)


def _percent(percent: float) -> str:
    """Return it to two decimals, or to one digit where that would be nothing."""
    return f"{percent:+.2f}" if abs(percent) >= SMALLEST_PERCENT else f"{percent:+.1g}"


def sources(where: Console, verdicts: Sequence[Verdict]) -> None:
    """Print where the figures come from, each source once."""
    found = [s for v in verdicts for s in v.reading.sources if _bears_on_tension(s)]
    found += [s for v in verdicts if v.window for s in v.window.sources]
    for i, source in enumerate(dict.fromkeys(found)):
        field(where, "sources" if i == 0 else "", source)


def _bears_on_tension(source: str) -> bool:
    return source.startswith(("linear mass", "bending stiffness", "axial stiffness"))


def cautions(where: Console, *, turn: bool, pair: bool = False) -> None:
    """Print what to mind while plucking, or while turning a tensioner."""
    for i, words in enumerate(turning(pair=pair) if turn else plucking()):
        field(where, "caution" if i == 0 else "", words)


def show_checks(sources: Sequence[str], checks: Sequence[Sequence[float | None] | None]) -> None:
    """Print librosa's estimates, one line a recording."""
    where = console()
    for source, hertz in zip(sources, checks, strict=False):
        tones = ", ".join("none" if f is None else f"{f:.2f}" for f in hertz or ())
        field(where, "cross-check", f"{source}: librosa hears {tones or 'nothing'} Hz")
