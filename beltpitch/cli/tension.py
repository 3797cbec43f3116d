"""``beltpitch tension``: from a frequency measured by hand to a tension."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from beltpitch.cli import options as o
from beltpitch.errors import RequestError

if TYPE_CHECKING:
    from beltpitch.reading import Reading


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(tension)


def tension(
    frequency: Annotated[
        list[str] | None,
        typer.Option("--frequency", help='What was measured: "66.3 Hz"; once for each pluck.'),
    ] = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    span: o.SpanOption = None,
    ends: o.EndsOption = "pulley",
    target: o.TargetOption = None,
    within: o.WithinOption = "10%",
    strand: o.StrandOption = None,
    parks: o.ParksOption = False,
    travel: o.TravelOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> int:
    """Tension of a belt whose frequency was measured by hand."""
    from beltpitch import asking
    from beltpitch.cli import card, show
    from beltpitch.reading import both_strands, from_parks, typed_reading
    from beltpitch.verdict import SCHEMA, as_json, judged

    o.checked_unit(unit)
    asked = o.strung(belt, width, linear_mass, construction, span, ends, target, within)
    texts = frequency or []
    pairs = o.grouping(strand, parks=parks, travel=travel)
    if asked.belt is None or (asked.span is None and pairs != "parks"):
        raise RequestError(
            'a tension needs belt and span: add --belt "2GT 9 mm" --span "412 +/- 1 mm"'
        )

    def one(part: list[str], key: str) -> Reading:
        made = typed_reading(asking.typed(part), asked.belt, asked.span, key=key)
        return replace(made, echoes=(*made.echoes, *asked.echoes, *_notes(asked)))

    if pairs == "one":
        readings = [replace(one(texts, "typed"), strand=strand[0] if strand else None)]
    else:
        half = o.two_groups(len(texts), strand, "frequency")
        a, b = one(texts[:half], "typed 1"), one(texts[half:], "typed 2")
        if pairs == "parks":
            readings = [from_parks(a, b, asking.travel(travel or ""))]
        else:
            assert strand is not None
            readings = list(both_strands(a, b, (strand[0], strand[1])))
    silent = [r for r in readings if r.tension is None]
    for reading in silent:
        sys.stderr.write(f"beltpitch: {reading.warnings[0]}\n")
    verdicts = [judged(reading, asked.window) for reading in readings]
    if json:
        show.print_json({"schema": SCHEMA, "readings": [as_json(v) for v in verdicts]})
    else:
        card.show(verdicts, unit, heard=False)
    return 1 if silent else 0


def _notes(asked: o.Strung) -> tuple[str, ...]:
    return asked.belt.notes if asked.belt else ()
