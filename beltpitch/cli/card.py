"""A reading as shown on a terminal: figures, ruler, doubt, what to do, where it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from beltpitch.cli.show import COLOURS, console, field, force, heading, rulers

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.estimate import Estimate
    from beltpitch.reading import Reading
    from beltpitch.verdict import Verdict

MOST_LINES = 4  # of a budget, in words
WORTH_NAMING = 0.01  # share of the variance
PLUCKS_LISTED = 12


def show(verdicts: Sequence[Verdict], unit: str, *, heard: bool) -> None:
    """Print verdicts: each with its figures, then all on one ruler, then sources and cautions.

    Parameters
    ----------
    verdicts
        What was read.
    unit
        Unit of force to show.
    heard
        Whether the frequencies were heard (then each pluck is listed) or typed.
    """
    where = console()
    for verdict in verdicts:
        _figures(where, verdict, unit)
        if heard:
            _plucks(where, verdict.reading, unit)
        if verdict.reading.preload is not None and len(verdicts) == 1:
            where.print()
            rulers(where, [verdict], unit)
        _doubt(where, verdict)
        where.print()
    if len(verdicts) > 1:
        rulers(where, verdicts, unit)
    _sources(where, verdicts)
    _cautions(where, verdicts)


def _figures(where: Console, verdict: Verdict, unit: str) -> None:
    reading = verdict.reading
    heading(where, _title(reading))
    if reading.preload is not None and reading.tension is not None:
        words = f"{interval(reading.preload, unit)}   {verdict.word}"
        field(where, "preload", words, f"bold {COLOURS[verdict.word]}")
        strand = f"this strand ({reading.strand})" if reading.strand else "this strand"
        field(where, "tension", f"{interval(reading.tension, unit)}, {strand} alone")
    if reading.strand_difference is not None:
        field(where, "difference", f"{interval(reading.strand_difference, unit)} between strands")
    if reading.frequency is not None:
        field(where, "frequency", _frequency(reading, reading.frequency))
    if verdict.window is not None:
        field(where, "window", _window(verdict, unit))


def _title(reading: Reading) -> str:
    parts = [reading.source]
    if reading.belt is not None:
        parts.append(reading.belt.name)
    if reading.span is not None:
        ends = " and ".join(dict.fromkeys(reading.span.ends))
        parts.append(f"span {reading.span.length_m * 1000:.4g} mm, {ends}")
    return " · ".join(parts)


def interval(estimate: Estimate, unit: str) -> str:
    """Return a force with its 95 % interval, in words."""
    from beltpitch.quantity import FORCE, in_unit
    from beltpitch.reading import COVERAGE

    low, high = (in_unit(n, unit, FORCE) for n in estimate.interval(COVERAGE))
    digits = ".1f" if high - low >= 1 else ".2f"
    return (
        f"{force(estimate.value, unit, digits)}   "
        f"({COVERAGE:.0%}: {low:{digits}} to {high:{digits}} {unit})"
    )


def _frequency(reading: Reading, frequency: Estimate) -> str:
    from beltpitch.quantity import rounded

    used = sum(p.used for p in reading.plucks)
    words = f"{rounded(frequency.value, frequency.u)} Hz (u {frequency.u:.2g} Hz)"
    words += f" from {used} pluck{'s' if used != 1 else ''}"
    if reading.partials_hz:
        words += "; partials " + ", ".join(f"{f:.4g}" for f in reading.partials_hz)
    return words


def _window(verdict: Verdict, unit: str) -> str:
    window = verdict.window
    assert window is not None
    low = "not known" if window.low_n is None else force(window.low_n, unit)
    high = "not known" if window.high_n is None else force(window.high_n, unit)
    rules = dict.fromkeys((window.low_rule, window.high_rule))
    return f"{low} to {high} ({'; '.join(rule for rule in rules if rule)})"


def _plucks(where: Console, reading: Reading, unit: str) -> None:
    shown = reading.plucks[:PLUCKS_LISTED]
    for i, pluck in enumerate(shown, 1):
        at = "" if pluck.onset_s is None else f"at {pluck.onset_s:.2f} s  "
        hz = "no pitch" if pluck.frequency_hz is None else f"{pluck.frequency_hz:.2f} Hz"
        tension = "" if pluck.tension_n is None else f"  {force(pluck.tension_n, unit)}"
        # What to do about it stands once, below; here the fact is enough.
        why = "" if pluck.used else f"  set aside: {(pluck.reason or 'unsaid').split(';')[0]}"
        field(where, f"pluck {i}", f"{at}{hz}{tension}{why}")
    if len(reading.plucks) > PLUCKS_LISTED:
        field(where, "", f"and {len(reading.plucks) - PLUCKS_LISTED} more (all in --json)")


def _doubt(where: Console, verdict: Verdict) -> None:
    reading = verdict.reading
    lines = [line for line in reading.budget if line.share >= WORTH_NAMING][:MOST_LINES]
    if lines:
        field(where, "doubt", ", ".join(f"{line.name} {line.share:.0%}" for line in lines))
    field(where, "next", verdict.next_step, "bold")
    if reading.corrections:
        made = ", ".join(f"{c.name} {c.percent:+.2f} %" for c in reading.corrections)
        field(where, "corrected", made)
    if reading.steady_hz:
        tones = ", ".join(f"{f:.4g}" for f in reading.steady_hz)
        field(where, "set aside", f"steady tones at {tones} Hz")
    for words in reading.echoes:
        field(where, "taken", words)
    for words in reading.warnings:
        field(where, "note", words)


def _sources(where: Console, verdicts: Sequence[Verdict]) -> None:
    found = [s for v in verdicts for s in v.reading.sources if _bears_on_tension(s)]
    found += [s for v in verdicts if v.window for s in v.window.sources]
    for i, source in enumerate(dict.fromkeys(found)):
        field(where, "sources" if i == 0 else "", source)


def _bears_on_tension(source: str) -> bool:
    return source.startswith(("linear mass", "bending stiffness", "axial stiffness"))


def _cautions(where: Console, verdicts: Sequence[Verdict]) -> None:
    from beltpitch.advice.cautions import plucking, turning

    if all(v.reading.frequency is None for v in verdicts):
        return
    turn = any(v.word in ("slack", "tight") for v in verdicts)
    for i, words in enumerate(turning() if turn else plucking()):
        field(where, "caution" if i == 0 else "", words)


def show_checks(sources: Sequence[str], checks: Sequence[Sequence[float | None] | None]) -> None:
    """Print librosa's estimates, one line a recording."""
    where = console()
    for source, hertz in zip(sources, checks, strict=False):
        tones = ", ".join("none" if f is None else f"{f:.2f}" for f in hertz or ())
        field(where, "cross-check", f"{source}: librosa hears {tones or 'nothing'} Hz")
