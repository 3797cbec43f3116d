"""``beltpitch tension``: from a frequency measured by hand to a tension."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from beltpitch import parsing
from beltpitch.errors import CannotTell
from beltpitch.parsing import apart
from beltpitch.reading import both_strands, from_travels, typed_reading
from beltpitch.session.verdict import SCHEMA, as_json, judged
from beltpitch.terminal import drawing, reading_view
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.prompts import ask_for, ask_frequencies, on_terminal

if TYPE_CHECKING:
    from beltpitch.reading import Reading


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(tension)


def tension(
    name: k.NameArgument = None,
    frequency: Annotated[
        list[str] | None,
        typer.Option(
            *o.FREQUENCY,
            help='What was measured: "66.3 Hz"; once for each pluck, or "66.3, 66.1, 66.4".',
        ),
    ] = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    span: o.SpansOption = None,
    ends: o.EndsOption = None,
    target: o.TargetOption = None,
    within: o.WithinOption = None,
    strand: o.StrandOption = None,
    loop_sides: o.LoopSidesOption = None,
    strand_limit: o.StrandLimitOption = None,
    detent: o.DetentOption = None,
    pulley_teeth: o.PulleyTeethOption = None,
    rail_friction: o.RailFrictionOption = None,
    parks: o.ParksOption = False,
    travel: o.TravelOption = None,
    machine: k.MachineOption = None,
    keep: k.KeepOption = None,
    book: k.BookOption = None,
    note: k.NoteOption = None,
    seen: k.SeenOption = None,
    temperature: k.TemperatureOption = None,
    tensioned: k.TensionedOption = False,
    new_belt: k.NewBeltOption = False,
    taken: k.TakenOption = None,
    fail_unless: o.FailUnlessOption = None,
    details: o.DetailsOption = False,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> int:
    """Tension from a frequency measured by hand; a reading by a belt's name is kept."""
    options = locals()
    o.checked_unit(unit)
    o.checked_word(fail_unless)
    over = k.belt_options(options)
    if name is None and not json and on_terminal() and not (frequency and over["span"]):
        told = ask_for(over, ends, machine, without="leave it")
        name, over, ends = told.name, told.over, told.ends
        frequency = frequency or ask_frequencies()
    names = [] if name is None else [name]
    every = k.asked_for(names, machine, over, ends=ends, within=within)
    keeping = k.Keeping.asked(options)
    to_keep = keeping.wanted(named=name is not None)
    way = o.grouping(strand, parks=parks, travel=travel)
    texts = _shared_out(frequency or [], every)
    verdicts, kept = [], []
    for asked, own in zip(every, texts, strict=True):
        readings = _readings(asked, own, way, strand, travel)
        verdicts += [judged(reading, asked.window) for reading in readings]
        joined = k.one_for_the_book(readings, way)
        kept += [(asked, judged(reading, asked.window)) for reading in joined]
    refused = [v.reading.refusal for v in verdicts if v.reading.refusal]
    for words in refused:
        sys.stderr.write(f"beltpitch: {words}\n")
    if json:
        drawing.print_json({"schema": SCHEMA, "readings": [as_json(v) for v in verdicts]})
    else:
        reading_view.show(verdicts, unit, heard=False, details=details)
    if to_keep:
        said = {"frequency": frequency, "strand": strand, "travel": travel}
        k.keep_all(kept, keeping, inputs=said)
    return o.code_for(fail_unless, verdicts, 1 if refused else 0)


def _shared_out(texts: list[str], every: tuple[k.BeltRequest, ...]) -> list[list[str]]:
    """Return each belt's frequencies, given one belt after the other."""
    if len(every) == 1:
        return [texts]
    texts = _evenly(texts)
    half = o.two_groups(len(texts), [a.entry.name for a in every], "frequency")
    return [texts[:half], texts[half:]]


def _evenly(texts: list[str], groups: int = 2) -> list[str]:
    """Return the texts as they are shared out to groups: as given, else each of their values."""
    return texts if texts and len(texts) % groups == 0 else apart(texts)


def _readings(
    asked: k.BeltRequest, texts: list[str], way: str, strand: list[str] | None, travel: str | None
) -> list[Reading]:
    """Return one belt's readings: one, or two strands, or what parks make."""
    span = asked.span if way != "parks" else "not needed"
    o.needed("a tension", {"belt": asked.belt, "span": span, "frequency": texts})
    if way == "one":
        alone = strand[0] if strand else asked.entry.strand
        return [replace(_typed(asked, texts, "typed"), strand=alone)]
    if way == "parks":
        travels = parsing.travels(travel or "")
        texts = _evenly(texts, len(travels) + 1)
        each = o.even_groups(len(texts), len(travels) + 1, "frequency")
        parts = [texts[i * each : (i + 1) * each] for i in range(len(travels) + 1)]
        parks = [_one_tone(_typed(asked, part, f"typed {i}")) for i, part in enumerate(parts, 1)]
        return [from_travels(parks, travels)]
    texts = _evenly(texts)
    half = o.two_groups(len(texts), strand, "frequency")
    strands = (asked, asked) if way == "sides" else asked.for_strands()
    a, b = (
        _one_tone(_typed(one, part, f"typed {i}"))
        for i, (one, part) in enumerate(zip(strands, (texts[:half], texts[half:]), strict=True), 1)
    )
    assert strand is not None
    names = strand[0], strand[1]
    return list(both_strands(a, b, names, asked.sides, one_strand_twice=way == "sides"))


def _one_tone(reading: Reading) -> Reading:
    """Return a reading that is to be joined with another.

    Raises
    ------
    CannotTell
        If its plucks are of several tones.
    """
    if reading.groups:
        raise CannotTell(reading.warnings[0])
    return reading


def _typed(asked: k.BeltRequest, texts: list[str], key: str) -> Reading:

    key = f"{asked.name} {key}" if asked.name else key
    made = typed_reading(parsing.typed(texts), asked.belt, asked.span, key=key)
    notes = asked.belt.notes if asked.belt else ()
    return replace(made, echoes=tuple(dict.fromkeys((*made.echoes, *asked.echoes, *notes))))
