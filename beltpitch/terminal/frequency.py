"""``beltpitch frequency``: what to aim for at a wanted tension, partials too."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltpitch.advice.limits import limits_of
from beltpitch.advice.recommendation import BASIS_WORDS, recommended
from beltpitch.belts.span import cautions
from beltpitch.belts.strand_tension import aim
from beltpitch.errors import RequestError
from beltpitch.present.text import force
from beltpitch.reading import COVERAGE
from beltpitch.session.verdict import SCHEMA
from beltpitch.setup.strung_belt import tension_given
from beltpitch.terminal import drawing
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import console, field, heading, print_json

if TYPE_CHECKING:
    from beltpitch.belts.catalogue import Belt
    from beltpitch.belts.span import Caution, Span
    from beltpitch.belts.strand_tension import Aim
    from beltpitch.store.belt_request import BeltRequest


WORTH_NAMING, MOST_LINES = 0.01, 4  # share of the variance, and lines of a budget in words


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(frequency)


def frequency(
    name: Annotated[
        str | None,
        typer.Argument(help="A belt of the machine file, which may know the wanted tension."),
    ] = None,
    tension: Annotated[
        str | None, typer.Option("--tension", help='Wanted tension of the strand: "30 N".')
    ] = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    span: o.SpanOption = None,
    ends: o.EndsOption = None,
    partials: Annotated[
        int, typer.Option("--partials", min=1, max=12, help="How many partials to list.")
    ] = 4,
    machine: k.MachineOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Frequency to aim for at a wanted tension, with the partials above it."""
    options = locals()
    o.checked_unit(unit)
    over = k.belt_options({**options, "target": None})
    (asked, *more) = k.asked_for([name] if name else [], machine, over, ends=ends)
    if more:
        raise RequestError(f"{name} is a pair: name one of its belts")
    tension = tension or asked.entry.target
    own, free = asked.belt, asked.span
    o.needed("a frequency", {"belt": own, "span": free})
    assert own is not None
    assert free is not None
    if tension is None:
        _show_range(own, free, asked, unit, json=json)
        return
    echoes = (*o.bare_numbers([("--tension", tension, "FORCE")]), *asked.echoes)
    asked = replace(asked, echoes=echoes)
    wanted = tension_given(tension, own, "--tension")
    aimed = aim(wanted, own, free, partials)
    first = limits_of(own, joined=asked.entry.joined).target_warning(aimed.tension_n)
    said = cautions(
        free.length_m,
        frequency_hz=aimed.frequency.value,
        least_m=own.min_span_m.value if own.min_span_m else None,
        width_m=own.width_m,
    )
    if json:
        drawing.print_json(_record(aimed, own, free, said, asked, first))
    else:
        _draw(aimed, own, free, said, unit, asked, first)


def _show_range(belt: Belt, span: Span, asked: BeltRequest, unit: str, *, json: bool) -> None:
    """Print the tones of low, best and high of the recommended range.

    Raises
    ------
    RequestError
        If no range is known for this belt.
    """
    found = recommended(belt, joined=asked.entry.joined)
    if found is None:
        raise RequestError(
            f'no range is known for {belt.name}: give the wanted tension, --tension "30 N"'
        )
    ends = {"low": found.low, "best": found.best, "high": found.high}
    tones = {name: aim(end.newtons, belt, span, 1).frequency for name, end in ends.items()}
    if json:
        record = {
            "belt": belt.name,
            "span_mm": round(span.length_m * 1000, 6),
            "ends": ",".join(span.ends),
            "recommended_n": [end.newtons for end in ends.values()],
            "recommended_basis": found.basis,
            "recommended_hz": [tone.value for tone in tones.values()],
            "recommended_u_hz": [tone.u for tone in tones.values()],
            "sources": list(belt.sources),
            "notes": _taken(asked),
        }
        print_json({"schema": SCHEMA, "frequency": record})
        return
    where = console()
    heading(where, f"{belt.name} · span {span.length_m * 1000:.4g} mm · {BASIS_WORDS[found.basis]}")
    for name, tone in tones.items():
        low, high = tone.interval(COVERAGE)
        words = f"{tone.value:.1f} Hz   ({COVERAGE:.0%}: {low:.1f} to {high:.1f} Hz)   "
        style = "bold" if name == "best" else ""
        field(where, name, f"{words}{force(ends[name].newtons, unit)}, {ends[name].rule}", style)
    for words in _taken(asked):
        field(where, "assumed", words)
    field(where, "more", 'beltpitch frequency --tension "30 N" for a tension of your own')


def _taken(asked: BeltRequest) -> list[str]:
    """Return the defaults that were taken, each once."""
    notes = asked.belt.notes if asked.belt else ()
    return list(dict.fromkeys((*asked.echoes, *notes)))


def _record(
    aimed: Aim, belt: Belt, span: Span, said: tuple[Caution, ...], asked: BeltRequest, first: str
) -> dict[str, Any]:

    return {
        "schema": SCHEMA,
        "frequency": {
            "belt": belt.name,
            "span_mm": round(span.length_m * 1000, 6),
            "ends": ",".join(span.ends),
            "tension_n": aimed.tension_n,
            "frequency_hz": aimed.frequency.value,
            "frequency_u_hz": aimed.frequency.u,
            "interval_hz": list(aimed.frequency.interval(COVERAGE)),
            "coverage": COVERAGE,
            "partials_hz": list(aimed.partials_hz),
            "corrections": [asdict(c) for c in aimed.corrections],
            "sources": list(belt.sources),
            "warnings": [*([first] if first else []), *aimed.warnings, *(c.words for c in said)],
            "notes": _taken(asked),
        },
    }


def _draw(
    aimed: Aim,
    belt: Belt,
    span: Span,
    said: tuple[Caution, ...],
    unit: str,
    asked: BeltRequest,
    first: str,
) -> None:

    where = console()
    low, high = aimed.frequency.interval(COVERAGE)
    title = f"{belt.name} · span {span.length_m * 1000:.4g} mm · {force(aimed.tension_n, unit)}"
    heading(where, title)
    if first:
        field(where, "warning", first, "bold")
    words = f"{aimed.frequency.value:.1f} Hz   ({COVERAGE:.0%}: {low:.1f} to {high:.1f} Hz)"
    field(where, "aim for", words, "bold")
    field(where, "partials", ", ".join(f"{f:.1f}" for f in aimed.partials_hz) + " Hz")
    lines = [b for b in aimed.frequency.budget() if b.share >= WORTH_NAMING]
    field(where, "uncertainty", ", ".join(f"{b.name} {b.share:.0%}" for b in lines[:MOST_LINES]))
    for words in _taken(asked):
        field(where, "assumed", words)
    for words in (*aimed.warnings, *(c.words for c in said)):
        field(where, "note", words)
