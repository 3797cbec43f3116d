"""``beltpitch span``: free span, loop length, wrap and mesh; and where the tape runs on a drive."""

from __future__ import annotations

import re
from math import degrees
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.text import Text

from beltpitch import parsing
from beltpitch.advice.safety import plucking
from beltpitch.belts import drives
from beltpitch.belts.span import TAPE, cautions, from_length, from_pulleys, plain, toothed
from beltpitch.belts.strand_tension import aim
from beltpitch.errors import RequestError
from beltpitch.session.verdict import SCHEMA
from beltpitch.terminal import options as o
from beltpitch.terminal.drawing import console, field, heading, print_json
from beltpitch.uncertainty import Estimate, rectangular
from beltpitch.units import FORCE, LENGTH, positive, rounded

if TYPE_CHECKING:
    from beltpitch.belts.catalogue import Belt
    from beltpitch.belts.drives import Drive
    from beltpitch.belts.span import BeltPulley, Loop

TEETH = re.compile(r"\s*(\d{1,3})\s*(?:t|teeth)?\s*", re.ASCII | re.IGNORECASE)
CENTRE_LIMIT_M = 1e-3
LENGTH_LIMIT = 2e-4  # of a belt's length: makers' consistency is 0.1 mm/m, and a margin


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(span)


def span(
    pulley: Annotated[
        list[str] | None,
        typer.Option(
            "--pulley", help='Give two: "20 teeth", or the pitch diameter, "25.5 mm" (no teeth).'
        ),
    ] = None,
    centre: Annotated[
        str | None, typer.Option("--centre", help='Centre distance: "300 +/- 0.5 mm".')
    ] = None,
    belt_length: Annotated[
        str | None,
        typer.Option("--belt-length", help='Length of the loop instead: "640 mm" or "320 teeth".'),
    ] = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    tension: Annotated[
        str | None,
        typer.Option(
            "--tension", help='Wanted tension, to say how well the tone is heard: "30 N".'
        ),
    ] = None,
    drive: Annotated[
        str | None,
        typer.Option(
            "--drive", help="Show where to pluck and measure: looped, fixed, crossed or rotary."
        ),
    ] = None,
    json: o.JsonOption = False,
) -> None:
    """Free span from pulleys and centre distance, or where the tape runs on a drive by name."""
    if drive is not None and not pulley:
        shown = drives.drive(drive)
        if json:
            print_json({"schema": SCHEMA, "span": {"drive": _drive_json(shown)}})
        else:
            _draw_drive(shown)
        return
    made = parsing.belt(belt, width=width) if belt is not None else None
    loop, echoes = _loop(pulley or [], centre, belt_length, made)
    said = cautions(
        loop.span.length_m,
        frequency_hz=_expected(loop, made, tension),
        least_m=made.min_span_m.value if made and made.min_span_m else None,
        width_m=made.width_m if made else None,
    )
    words = [c.words for c in said]
    if loop.few_teeth:
        words.append(
            "fewer than six teeth in mesh on a pulley: it carries less (SDP/SI, GB/T 11362); use "
            "a larger pulley or a longer centre distance"
        )
    if json:
        print_json({"schema": SCHEMA, "span": _loop_json(loop, words, echoes)})
    else:
        _draw_loop(loop, words, echoes)


def _loop(
    pulleys: list[str], centre: str | None, belt_length: str | None, belt: Belt | None
) -> tuple[Loop, list[str]]:

    if len(pulleys) != 2:  # noqa: PLR2004
        raise RequestError(
            'give two pulleys and a centre distance: --belt "2GT 9 mm" --pulley "20 teeth" '
            '--pulley "20 teeth" --centre "300 mm"; or --drive looped for a drawing'
        )
    a, b = (_pulley(text, belt) for text in pulleys)
    if (centre is None) == (belt_length is None):
        raise RequestError("give either --centre or --belt-length")
    if centre is not None:
        given = positive(centre, LENGTH, option="--centre")
        limit = max(CENTRE_LIMIT_M, given.half_digit)
        u = rectangular(limit) if given.u is None else given.u
        echo = (
            []
            if given.u is not None
            else [f"centre distance {given.text}, taken as +/- {limit * 1000:.3g} mm"]
        )
        distance = Estimate.single(given.value, u, name="centre distance", key=TAPE)
        return from_pulleys(distance, a, b), echo
    assert belt_length is not None
    length, echo = _belt_length(belt_length, belt)
    return from_length(length, a, b), echo


def _belt_length(text: str, belt: Belt | None) -> tuple[Any, list[str]]:

    teeth = re.fullmatch(r"\s*(\d{1,5})\s*(?:t|teeth)\s*", text, re.ASCII | re.IGNORECASE)
    if teeth and (belt is None or belt.pitch_m is None):
        raise RequestError('a belt length in teeth needs the tooth spacing: add --belt "2GT 9 mm"')
    if teeth and belt is not None and belt.pitch_m is not None:
        value, u = int(teeth[1]) * belt.pitch_m, None
    else:
        given = positive(text, LENGTH, option="--belt-length")
        value, u = given.value, given.u
    limit = LENGTH_LIMIT * value
    echo = [] if u is not None else [f"belt length taken as +/- {limit * 1000:.2g} mm"]
    length = Estimate.single(
        value, rectangular(limit) if u is None else u, name="belt length", key="belt length"
    )
    return length, echo


def _pulley(text: str, belt: Belt | None) -> BeltPulley:

    teeth = TEETH.fullmatch(text)
    if teeth is None:
        given = positive(text, LENGTH, option="--pulley")
        return plain(given.value, given.u or 0.0)
    if belt is None or belt.pitch_m is None:
        raise RequestError(
            f'--pulley "{text}" counts teeth: add --belt "2GT 9 mm" for the tooth spacing, or give '
            'its pitch diameter, "25.5 mm"'
        )
    return toothed(int(teeth[1]), belt.pitch_m)


def _expected(loop: Loop, belt: Belt | None, tension: str | None) -> float | None:

    if tension is None:
        return None
    wanted = positive(tension, FORCE, option="--tension").value
    if belt is None:
        raise RequestError('--tension needs the belt too: add --belt "2GT 9 mm"')
    return aim(wanted, belt, loop.span).frequency.value


def _loop_json(loop: Loop, warnings: list[str], notes: list[str]) -> dict[str, Any]:

    return {
        "span_mm": loop.span.length.value * 1000,
        "span_u_mm": loop.span.length.u * 1000,
        "centre_mm": loop.centre.value * 1000,
        "centre_u_mm": loop.centre.u * 1000,
        "belt_length_mm": loop.belt_length.value * 1000,
        "belt_length_u_mm": loop.belt_length.u * 1000,
        "wrap_deg": [degrees(loop.wrap_a_rad), degrees(loop.wrap_b_rad)],
        "teeth_in_mesh": [loop.mesh_a, loop.mesh_b],
        "pitch_diameter_mm": [loop.a.diameter_m * 1000, loop.b.diameter_m * 1000],
        "ends": ",".join(loop.span.ends),
        "sources": [
            "free strand, belt length and wrap of two pulleys: GB/T 11362-2008 (ISO 5295), "
            "SDP/SI D790; exact geometry"
        ],
        "warnings": warnings,
        "notes": notes,
    }


def _draw_loop(loop: Loop, warnings: list[str], notes: list[str]) -> None:

    where = console()
    for label, length in (
        ("span", loop.span.length),
        ("centre", loop.centre),
        ("belt length", loop.belt_length),
    ):
        value, u = length.value * 1000, length.u * 1000
        style = "bold" if label == "span" else ""
        field(where, label, f"{rounded(value, u)} mm (u {u:.2g} mm)", style)
    for name, pulley, wrap, mesh in (
        ("pulley 1", loop.a, loop.wrap_a_rad, loop.mesh_a),
        ("pulley 2", loop.b, loop.wrap_b_rad, loop.mesh_b),
    ):
        teeth = "" if mesh is None else f", {mesh} of {pulley.teeth} teeth in mesh"
        words = f"pitch diameter {pulley.diameter_m * 1000:.2f} mm, wrap {degrees(wrap):.1f} deg"
        field(where, name, words + teeth)
    for words in notes:
        field(where, "assumed", words)
    for words in warnings:
        field(where, "note", words)


def _drive_json(drive: Drive) -> dict[str, Any]:
    return {
        "name": drive.name,
        "title": drive.title,
        "pluck": drive.pluck,
        "tape": list(drive.tape),
        "park": drive.park,
        "uncover": drive.uncover,
        "ends": ",".join(drive.ends),
        "strands": list(drive.strands),
        "warnings": list(drive.cautions),
    }


def _draw_drive(drive: Drive) -> None:

    where = console()
    heading(where, f"{drive.name}: {drive.title}")
    where.print(Text(drive.drawing.strip("\n")), no_wrap=True, overflow="crop")
    where.print()
    field(where, "pluck", drive.pluck)
    field(where, "tape from", drive.tape[0])
    field(where, "tape to", drive.tape[1])
    field(where, "park", drive.park)
    field(where, "uncover", drive.uncover)
    field(where, "ends", f"--ends {','.join(drive.ends)}")
    for words in drive.cautions:
        field(where, "note", words)
    for i, words in enumerate(plucking()):
        field(where, "caution" if i == 0 else "", words)
