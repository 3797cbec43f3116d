"""``beltpitch pair``: do the two belts of a gantry agree, and which to turn until they do."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltpitch import parsing
from beltpitch.advice import comparison as matching
from beltpitch.advice.comparison import TOLERANCE, Comparison, compare
from beltpitch.errors import RequestError
from beltpitch.reading import read, typed_reading
from beltpitch.session.verdict import SCHEMA, as_json, judged
from beltpitch.store.machine_file import find
from beltpitch.terminal import drawing
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.clock_option import ClockOption, clock_given
from beltpitch.terminal.listen import (
    BeepOption,
    DeviceOption,
    ForOption,
    Live,
    PlucksOption,
    SaveOption,
    SidesOption,
    asking_range,
    offer_to_keep,
    run_live,
    said_why,
    seconds_of,
    sounds_for,
    subject_of,
    way_of,
)
from beltpitch.terminal.live_loop import print_line
from beltpitch.terminal.pair_view import show_pair
from beltpitch.terminal.prompts import ask_for, on_terminal
from beltpitch.units import PERCENT, parse

if TYPE_CHECKING:
    from beltpitch.pitch.results import FrequencyRange
    from beltpitch.reading import Reading
    from beltpitch.session.live import Measuring
    from beltpitch.session.session import Way
    from beltpitch.session.verdict import Verdict

TWO = 2
NAMES = ("first", "second")


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(pair)


def pair(
    what: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[NAME | NAME NAME] [FILE FILE]",
            help="A pair of the machine file, or two of its belts; then two recordings. Without "
            "recordings and frequencies it listens.",
            show_default=False,
        ),
    ] = None,
    first: Annotated[
        list[str] | None,
        typer.Option("--first", help='What the first belt sounded at: "66.3 Hz"; once a pluck.'),
    ] = None,
    second: Annotated[
        list[str] | None, typer.Option("--second", help="The same for the second belt.")
    ] = None,
    names: Annotated[
        list[str] | None, typer.Option("--name", help="What to call the belts; give it twice.")
    ] = None,
    within: Annotated[
        str | None,
        typer.Option(
            "--within",
            help="How far apart they may be, of tension; 5% by default (common practice).",
            show_default=False,
        ),
    ] = None,
    two_rolls: Annotated[
        bool, typer.Option("--two-rolls", help="The belts were cut from different rolls.")
    ] = False,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    span: Annotated[
        list[str] | None,
        typer.Option(
            "--span",
            "-s",
            help='Free span: "412 +/- 1 mm"; once if equal for both, else once for each belt. With '
            "both strands, that of each strand in their order.",
        ),
    ] = None,
    ends: o.EndsOption = None,
    low: o.FromOption = None,
    high: o.ToOption = None,
    target: o.TargetOption = None,
    target_within: Annotated[
        str | None,
        typer.Option(
            "--target-within",
            help='How far from the target is still right, 10% by default: "15%".',
        ),
    ] = None,
    strand: o.StrandOption = None,
    loop_sides: o.LoopSidesOption = None,
    strand_limit: o.StrandLimitOption = None,
    detent: o.DetentOption = None,
    pulley_teeth: o.PulleyTeethOption = None,
    rail_friction: o.RailFrictionOption = None,
    sides: SidesOption = False,
    device: DeviceOption = None,
    plucks: PlucksOption = None,
    last: ForOption = None,
    save: SaveOption = None,
    beep: BeepOption = False,
    clock: ClockOption = None,
    machine: k.MachineOption = None,
    keep: k.KeepOption = None,
    book: k.BookOption = None,
    note: k.NoteOption = None,
    seen: k.SeenOption = None,
    temperature: k.TemperatureOption = None,
    tensioned: k.TensionedOption = False,
    new_belt: k.NewBeltOption = False,
    sound: k.SoundOption = False,
    details: o.DetailsOption = False,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> int:
    """Compare two belts: matched, unmatched or not yet known, and which to turn how far."""
    options = locals()
    o.checked_unit(unit)
    over = k.belt_options({**options, "span": None})
    if not (what or first or second or json or over["belt"] or span) and on_terminal():
        told = ask_for(over, ends, machine, without="compare frequencies only", pair=True)
        what, ends = ([told.name] if told.name else None), told.ends
        over, span = {**told.over, "span": None}, _one_of(told.over["span"])
    words, files = _parted(what or [], machine)
    way = way_of(strand, sides=sides, parks=False, travel=None)
    spans = _spans(span, both_strands=way == "strands")
    asked = _asked(words, machine, over, spans, ends, target_within)
    if strand and len(strand) == 1:  # beside a name it stands over the file's
        a, b = (replace(each, entry=replace(each.entry, strand=strand[0])) for each in asked)
        asked = a, b
    plan = _Plan(
        asked=asked,
        names=_names(names, asked, files, named=bool(words)),
        within=_within(within, asked, words),
        same_span=len(spans) == 1 or all(a.span is None for a in asked),
        one_roll=not two_rolls,
        expected=asking_range(low, high),
    )
    keeping = k.Keeping.asked(options)
    listening = not (first or second or files)
    to_keep = keeping.wanted(named=listening or asked[0].name is not None)
    if listening:
        live = Live(
            device, plucks, seconds_of(last), save, beep, json, unit,
            clock=clock_given(clock), machine=asked[0].machine, sounds=sounds_for(keeping, way),
            details=details,
        )  # fmt: skip
        live, measuring = _listened(live, plan, way, strand)
        code = _summed_up(live, plan, measuring)
        offer_to_keep(live, measuring, asked, keeping, way)
        return code
    if way != "one":
        raise RequestError(
            "a pair is read on both strands, or from each side, live only: read each belt by "
            "beltpitch tension or beltpitch recording"
        )
    if files and not (first or second):
        readings = _recorded(plan, files)
    else:
        _refuse_both(what or [])
        readings, files = _typed(plan, first, second), []
    code = _compared(plan, readings, json=json, unit=unit, details=details)
    if to_keep:
        _keep(plan, readings, keeping, files)
    return code


def _keep(
    plan: _Plan, readings: tuple[Reading, Reading], keeping: k.Keeping, files: Sequence[Path]
) -> None:
    """Keep both readings in the book."""
    kept = [
        (asked, judged(reading, asked.window))
        for reading, asked in zip(readings, plan.asked, strict=True)
    ]
    k.keep_all(kept, keeping, recordings=[[path] for path in files])


class _Plan:
    """The two belts as asked for, and how they are to be compared."""

    def __init__(
        self,
        *,
        asked: tuple[k.BeltRequest, k.BeltRequest],
        names: tuple[str, str],
        within: float,
        same_span: bool,
        one_roll: bool,
        expected: FrequencyRange | None,
    ) -> None:
        self.asked = asked
        self.names = names
        self.within = within
        self.same_span = same_span
        self.one_roll = one_roll
        self.expected = expected


# --- what was asked for -------------------------------------------------------------------------


def _parted(words: Sequence[str], machine: Path | None) -> tuple[list[str], list[Path]]:
    """Return the names, and the two recordings that stand alone or after them."""
    files = _files(words[-TWO:], machine, alone=len(words) == TWO)
    return list(words[:-TWO] if files else words), files


def _files(words: Sequence[str], machine: Path | None, *, alone: bool) -> list[Path]:
    """Return the recordings, if that is what two words are.

    They are where such files are there, or, alone, where no machine file could know them.
    """
    paths = [Path(word) for word in words]
    if len(paths) != TWO:
        return []
    there = [path.exists() for path in paths]
    if all(there):
        return paths

    looks_like_files = any(there) or any(path.suffix for path in paths)
    nobody_knows = alone and machine is None and find() is None
    return paths if looks_like_files or nobody_knows else []


Spans = tuple[str | None, str | None]  # of one belt: of its strand, and of its other strand


def _one_of(text: str | None) -> list[str] | None:
    """Return a text as an option that may be given twice has it."""
    return None if text is None else [text]


def _spans(span: Sequence[str] | None, *, both_strands: bool) -> tuple[Spans, ...]:
    """Return the spans of the belts: none, one belt's that serve both, or each belt's."""
    given = list(span or ())
    each = TWO if both_strands else 1
    if len(given) not in (0, each, TWO * each):
        many = "each strand's, the same for both belts, or all four" if both_strands else "one each"
        raise RequestError(
            f"--span is given once for belts of one span, else {many}; got it {len(given)} times"
        )
    groups = [given[i : i + each] for i in range(0, len(given), each)]
    return tuple(k.two_spans(group) for group in groups)


def _asked(
    words: Sequence[str],
    machine: Path | None,
    over: dict[str, Any],
    spans: tuple[Spans, ...],
    ends: str | None,
    within: str | None,
) -> tuple[k.BeltRequest, k.BeltRequest]:
    """Return the two belts: of the machine file, or as the options describe them."""
    if len(words) > TWO:
        raise RequestError(f"a pair is two belts or two recordings; got {' '.join(words)}")
    if not words:
        each = spans * TWO if len(spans) == 1 else spans or ((None, None),) * TWO
        a, b = (
            k.asked_for([], machine, {**over, **_keyed(one)}, ends=ends, within=within)[0]
            for one in each
        )
        return a, b
    if len(spans) > 1:
        raise RequestError("two spans belong to belts given by options; these have names")
    beside = {**over, **_keyed(spans[0] if spans else (None, None))}
    found = k.asked_for(list(words), machine, beside, ends=ends, within=within)
    if len(found) != TWO:
        raise RequestError(
            f"{' '.join(words)} is {len(found)} belts; name a pair, or two belts of the machine"
        )
    return found[0], found[1]


def _keyed(spans: Spans) -> dict[str, str | None]:
    return {"span": spans[0], "second_span": spans[1]}


def _names(
    names: Sequence[str] | None,
    asked: tuple[k.BeltRequest, k.BeltRequest],
    files: Sequence[Path],
    *,
    named: bool,
) -> tuple[str, str]:
    if names:
        if len(names) != TWO or names[0] == names[1]:
            raise RequestError("--name is given twice, once for each belt, and not the same")
        return names[0], names[1]
    if named:
        return asked[0].entry.name, asked[1].entry.name
    if files and files[0].name != files[1].name:
        return files[0].name, files[1].name
    return NAMES


def _within(
    text: str | None, asked: tuple[k.BeltRequest, k.BeltRequest], words: Sequence[str]
) -> float:
    """Return the tolerance: as given, as the machine file has it, or 5 %."""
    machine = asked[0].machine
    if text is None and machine is not None and len(words) == 1:
        text = machine.pair(words[0]).within
    return TOLERANCE if text is None else parse(text, PERCENT, option="--within").value


def _refuse_both(words: Sequence[str]) -> None:
    if any(Path(word).exists() for word in words):
        raise RequestError("give either two recordings or typed frequencies, not both")


# --- readings -----------------------------------------------------------------------------------


def _typed(
    plan: _Plan, first: Sequence[str] | None, second: Sequence[str] | None
) -> tuple[Reading, Reading]:

    if not first or not second:
        raise RequestError('give both: --first "66.3 Hz" and --second "67.0 Hz", once a pluck')
    a, b = (
        replace(typed_reading(parsing.typed(texts), asked.belt, asked.span, key=name), source=name)
        for texts, asked, name in zip((first, second), plan.asked, plan.names, strict=True)
    )
    return _told(a, plan.asked[0]), _told(b, plan.asked[1])


def _recorded(plan: _Plan, files: Sequence[Path]) -> tuple[Reading, Reading]:

    a, b = (
        read(path, belt=asked.belt, span=asked.span, expected=plan.expected, key=str(i))
        for i, (path, asked) in enumerate(zip(files, plan.asked, strict=True))
    )
    return _told(a, plan.asked[0]), _told(b, plan.asked[1])


def _told(reading: Reading, asked: k.BeltRequest) -> Reading:
    """Return the reading with the defaults that were taken for it."""
    notes = asked.belt.notes if asked.belt else ()
    said = dict.fromkeys((*reading.echoes, *asked.echoes, *notes))
    return replace(reading, echoes=tuple(said), strand=asked.entry.strand or reading.strand)


def _compared(
    plan: _Plan, readings: tuple[Reading, Reading], *, json: bool, unit: str, details: bool
) -> int:
    """Compare two readings, show it, and return the exit code."""
    match = compare(
        *readings,
        names=plan.names,
        within=plan.within,
        same_span=plan.same_span,
        one_roll=plan.one_roll,
        window=plan.asked[0].window,
    )
    for reading in readings:
        if reading.refusal:
            sys.stderr.write(f"beltpitch: {reading.source}: {reading.refusal}\n")
    verdicts = [
        judged(reading, asked.window) for reading, asked in zip(readings, plan.asked, strict=True)
    ]
    _shown(
        [[verdict] for verdict in verdicts],
        match,
        json=json,
        unit=unit,
        one_line=False,
        details=details,
    )
    return 0 if match.apart is not None else 1


def _shown(
    belts: Sequence[Sequence[Verdict]],
    match: Comparison,
    *,
    json: bool,
    unit: str,
    one_line: bool,
    details: bool = False,
) -> None:
    """Show the match, and the verdicts of each belt."""
    if json:
        readings = [as_json(verdict) for verdicts in belts for verdict in verdicts]
        whole = {"schema": SCHEMA, "pair": {**matching.as_json(match), "readings": readings}}
        (print_line if one_line else drawing.print_json)(whole)
        return

    show_pair(drawing.console(), belts, match, unit, details=details)


# --- live ---------------------------------------------------------------------------------------


def _listened(
    live: Live, plan: _Plan, way: Way, strand: Sequence[str] | None
) -> tuple[Live, Measuring]:
    subjects = [
        subject_of(asked, name, way, strand, None, plan.expected)
        for asked, name in zip(plan.asked, plan.names, strict=True)
    ]
    return run_live(
        live,
        subjects,
        lambda measuring: measuring.matched or measuring.complete,
        within=plan.within,
        same_span=plan.same_span,
        one_roll=plan.one_roll,
    )


def _summed_up(live: Live, plan: _Plan, measuring: Measuring) -> int:
    """Show what was read and how the two compare; return the exit code."""
    every = measuring.verdicts
    match = measuring.match
    if match is None:
        silent = [name for name, v in zip(plan.names, every, strict=True) if not v]
        note = f"no pluck of {' and '.join(silent) or 'both belts'} was taken"
        match = Comparison("not yet known", plan.names, plan.within, "frequency", notes=(note,))
    if any(every) or live.json:
        if not live.json:
            drawing.console().print()
        _shown(every, match, json=live.json, unit=live.unit, one_line=True, details=live.details)
    return said_why(measuring, 0 if match.apart is not None else 1)
