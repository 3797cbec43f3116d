"""``beltpitch belts``: the catalogue, and one belt with all its sources."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.table import Table

from beltpitch import parsing
from beltpitch.advice.recommendation import BASIS_WORDS, recommended
from beltpitch.belts import catalogue
from beltpitch.belts.catalogue import UNITS
from beltpitch.session.verdict import SCHEMA
from beltpitch.terminal import options as o
from beltpitch.terminal.drawing import console, field, heading, print_json

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.belts.catalogue import Belt, Construction, Figure, Profile

SCALE = {"N m2": ("N mm2", 1e6), "kg/m": ("g/m", 1e3), "m": ("mm", 1e3)}
PER_WIDTH = "g/m per mm"


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(belts)


def belts(
    name: Annotated[
        str | None, typer.Argument(help='A profile or a belt: "2GT", "2GT 9 mm", "HTD5M-15".')
    ] = None,
    width: o.WidthOption = None,
    construction: o.ConstructionOption = None,
    json: o.JsonOption = False,
) -> None:
    """List the belts in the catalogue, or show one with every figure and its source."""
    if name is None:
        shown = catalogue.profiles()
        if json:
            print_json(_as_json([_profile_json(p) for p in shown]))
        else:
            _list(shown)
        return
    profile = catalogue.profile(name)
    if width is None and not _has_width(name, profile):
        if json:
            print_json(_as_json([_profile_json(profile)]))
        else:
            _show_profile(profile)
        return
    belt = parsing.belt(name, width=width, construction=construction)
    if json:
        print_json(_as_json([_belt_json(belt)]))
    else:
        _show_belt(belt)


def _has_width(name: str, profile: Profile) -> bool:
    """Return whether the name says more than the profile does."""
    flat = re.sub(r"[^A-Z0-9.]", "", name.upper())
    known = {re.sub(r"[^A-Z0-9.]", "", s.upper()) for s in (profile.name, *profile.spellings)}
    return flat not in known


def _as_json(found: list[dict[str, Any]]) -> dict[str, Any]:

    return {"schema": SCHEMA, "belts": found}


def _figure_json(figure: Figure) -> dict[str, Any]:
    return {
        "value": figure.value,
        "u": figure.u,
        "unit": figure.unit,
        "source": figure.source,
        "known": figure.known,
        "because": figure.because,
        "scaling": figure.scaling,
        "also": [_figure_json(a) for a in figure.also],
    }


def _profile_json(profile: Profile) -> dict[str, Any]:
    return {
        "profile": profile.name,
        "title": profile.title,
        "pitch_mm": profile.pitch_m * 1000,
        "widths_mm": [b * 1000 for b in profile.widths_m],
        "constructions": [
            {
                "construction": made.name,
                "figures": {law.quantity: _figure_json(law.printed) for law in made.laws},
            }
            for made in profile.constructions
        ],
    }


def _belt_json(belt: Belt) -> dict[str, Any]:
    found = recommended(belt)
    return {
        "belt": belt.name,
        "profile": belt.profile,
        "construction": belt.construction,
        "width_mm": belt.width_m * 1000 if belt.width_m else None,
        "width_u_mm": belt.width_u_m * 1000 if belt.width_u_m else None,
        "pitch_mm": belt.pitch_m * 1000 if belt.pitch_m else None,
        "linear_mass_g_per_m": belt.linear_mass.value * 1000,
        "linear_mass_u_g_per_m": belt.linear_mass.u * 1000,
        "length_mm": belt.length_m * 1000 if belt.length_m else None,
        "teeth": belt.teeth,
        "figures": {what: _figure_json(figure) for what, figure in belt.figures},
        "set_points_n": [[p.low_n, p.high_n, p.note, p.source] for p in belt.set_points],
        "recommended_n": None
        if found is None
        else [found.low.newtons, found.best.newtons, found.high.newtons],
        "recommended_basis": None if found is None else found.basis,
        "sources": list(belt.sources),
        "notes": list(belt.notes),
    }


def _list(profiles: tuple[Profile, ...]) -> None:

    where = console()
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("profile", "pitch", "usual widths, mm", "g/m per mm", "constructions"):
        table.add_column(title, justify="right" if title == "pitch" else "left")
    for p in profiles:
        mass = p.default.linear_mass.printed
        widths = ", ".join(f"{b * 1000:.4g}" for b in p.widths_m)
        made = "; ".join(_short(c) for c in p.constructions)
        figure = f"{mass.value:.3g} (u {mass.u / mass.value:.0%})"
        table.add_row(p.name, f"{p.pitch_m * 1000:.4g} mm", widths, figure, made)
    where.print(table)
    where.print()
    field(where, "more", 'beltpitch belts 2GT, or beltpitch belts "2GT 9 mm", shows the sources')
    field(where, "not here?", "weigh a piece and give --linear-mass and --width instead")


def _short(made: Construction) -> str:
    return f"{'PU' if made.elastomer == 'polyurethane' else made.elastomer}/{made.cord}"


def _show_profile(profile: Profile) -> None:

    where = console()
    heading(where, f"{profile.name} · {profile.title} · pitch {profile.pitch_m * 1000:.4g} mm")
    field(where, "widths", ", ".join(f"{b * 1000:.4g}" for b in profile.widths_m) + " mm")
    _ranges(where, profile)
    for made in profile.constructions:
        where.print()
        heading(where, made.name)
        for law in made.laws:
            label = law.quantity.replace("_", " ")
            _show_figure(label, law.printed, UNITS[law.quantity][0], 1.0)
    where.print()
    example = profile.widths_m[len(profile.widths_m) // 2] * 1000
    field(where, "more", f'beltpitch belts "{profile.name} {example:g} mm" for one width')


def _ranges(where: Console, profile: Profile) -> None:
    """Print the recommended range of every construction and usual width in one table."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("construction", "width mm", "low N", "best N", "high N", "how sure"):
        table.add_column(
            title, justify="left" if title in ("construction", "how sure") else "right"
        )
    for belt in every_width(profile):
        found = recommended(belt)
        assert belt.width_m is not None
        ends = (
            ("-",) * 3
            if found is None
            else tuple(f"{end.newtons:.3g}" for end in (found.low, found.best, found.high))
        )
        sure = "not known" if found is None else BASIS_WORDS[found.basis]
        table.add_row(belt.construction or "", f"{belt.width_m * 1000:.4g}", *ends, sure)
    where.print()
    where.print(table)


def every_width(profile: Profile) -> list[Belt]:
    """Return the belts of a profile: every construction in every usual width."""
    return [
        catalogue.belt(profile.name, width_m=width_m, construction=made.name)
        for made in profile.constructions
        for width_m in profile.widths_m
    ]


def _show_belt(belt: Belt) -> None:

    where = console()
    heading(where, f"{belt.name} · {belt.construction}")
    mass = belt.linear_mass
    field(where, "mass", f"{mass.value * 1000:.3g} g/m (u {mass.u / mass.value:.1%})", "bold")
    if belt.pitch_m is not None:
        field(where, "pitch", f"{belt.pitch_m * 1000:.4g} mm")
    found = recommended(belt)
    if found is not None:
        low, best, high = (f"{end.newtons:.3g}" for end in (found.low, found.best, found.high))
        words = f"{low} to {high} N, {best} N best ({BASIS_WORDS[found.basis]})"
        field(where, "range", words, "bold")
        for end in (found.low, found.best, found.high):
            field(where, "", f"{end.newtons:.3g} N: {end.rule}")
    for words in belt.notes:
        field(where, "assumed", words)
    for what, figure in belt.figures:
        unit, factor = SCALE.get(figure.unit, (figure.unit, 1.0))
        if figure.unit.startswith("kg/m per"):
            unit = PER_WIDTH
        _show_figure(what, figure, unit, factor)
    for point in belt.set_points:
        words = f"{point.low_n:.3g} to {point.high_n:.3g} N: {point.note} ({point.source})"
        field(where, "set point", words)


def _show_figure(what: str, figure: Figure, unit: str, factor: float) -> None:

    where = console()
    doubt = f" (u {figure.u / figure.value:.0%})" if figure.u else ""
    field(where, "figure", f"{what}: {figure.value * factor:.3g} {unit}{doubt}", "bold")
    field(where, "", f"{figure.source} [{figure.known}]")
    if figure.because:
        field(where, "", f"why this one: {figure.because}")
    for other in figure.also:
        field(where, "", f"also {other.value * factor:.3g}: {other.source} [{other.known}]")
