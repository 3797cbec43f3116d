"""``beltpitch weigh``: the linear mass of a piece or a loop; before that, how long a piece."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltpitch import parsing
from beltpitch.belts.weighing import (
    TAPE_LIMIT_M,
    Balance,
    compare,
    counted_length,
    plan,
    taped_length,
)
from beltpitch.belts.weighing import weigh as weighed
from beltpitch.errors import RequestError
from beltpitch.reading import COVERAGE
from beltpitch.session.verdict import SCHEMA
from beltpitch.store.entries import BeltEntry
from beltpitch.store.machine_edit import add_belt
from beltpitch.store.machine_file import USUAL, find, load
from beltpitch.store.named_belts import belt_of
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import console, field, heading, print_json
from beltpitch.uncertainty import rectangular
from beltpitch.units import LENGTH, MASS, PERCENT, parse, positive, rounded

if TYPE_CHECKING:
    from beltpitch.belts.catalogue import Belt
    from beltpitch.belts.weighing import MassComparison, PieceLength, Weighed
    from beltpitch.uncertainty import Estimate

WANTED = (0.01, 0.005)  # relative standard uncertainties that are planned for
FINER = 0.1  # a scale with one digit more, for comparison
USUAL_KG_PER_M = 12.6e-3  # a 9 mm belt of 2 mm pitch: what a plan takes where no belt is named

KeepAsOption = Annotated[
    str | None,
    typer.Option(
        "--keep-as", help="Write what was found into the machine file, for the belt of this name."
    ),
]
ScaleErrorOption = Annotated[
    str, typer.Option("--scale-error", help="The scale's own error, a limit: share of the load.")
]


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(weigh)


def weigh(
    mass: Annotated[
        list[str] | None,
        typer.Option(
            "--mass", help='What the scale shows; once for each weighing, tared anew: "6.3 g".'
        ),
    ] = None,
    length: Annotated[
        str | None,
        typer.Option("--length", help='Length of the piece by the tape: "500 +/- 1 mm".'),
    ] = None,
    teeth: Annotated[
        int | None, typer.Option("--teeth", min=1, help="Its teeth instead, with --belt.")
    ] = None,
    loop: Annotated[
        bool, typer.Option("--loop", help="The teeth are those of a closed loop, not of a piece.")
    ] = False,
    scale: Annotated[
        str | None, typer.Option("--scale", help='The last digit the scale shows: "0.1 g".')
    ] = None,
    scale_error: ScaleErrorOption = "0.5 %",
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    construction: o.ConstructionOption = None,
    keep_as: KeepAsOption = None,
    machine: k.MachineOption = None,
    json: o.JsonOption = False,
) -> None:
    """Linear mass of a belt from a weighed piece; without --mass, how long a piece to weigh."""
    made = None
    if belt is not None:
        made = parsing.belt(belt, width=width, construction=construction)
    elif width is not None:
        raise RequestError('--width alone is no belt: add --belt "2GT"')
    if not mass:
        scales = _planned_scales(scale, scale_error)
        about = made.linear_mass.value if made else USUAL_KG_PER_M
        plans = [(s, plan(about, s, wanted)) for s in scales for wanted in WANTED]
        if json:
            print_json({"schema": SCHEMA, "weigh": _plan_json(plans, made, about)})
        else:
            _draw_plan(plans, made, about)
        return
    mass = parsing.apart(mass)
    used = _scale(scale, scale_error, mass)
    piece, echoes = _length(length, teeth, made, loop=loop)
    shown = [_mass(text) for text in mass]
    found = weighed(made.name if made else "own belt", piece, shown, used)
    beside = compared(found.linear_mass, made)
    notes = [*echoes, *_scale_echo(scale, used), *(made.notes if made else ())]
    if keep_as is not None:
        kept_as(keep_as, machine, made, found.linear_mass)
    if json:
        print_json({"schema": SCHEMA, "weigh": _record(found, made, beside, shown, notes)})
    else:
        _draw(found, made, beside, notes)


def compared(mass: Estimate, belt: Belt | None) -> MassComparison | None:
    """Return a linear mass beside the catalogue's figure for the belt; None without a belt.

    Raises
    ------
    RequestError
        If it is so far off that it can only be a slip.
    """
    if belt is None:
        return None
    belt.weighed(mass)  # refuses a slip
    return compare(mass, belt.linear_mass)


def concise(x: Estimate, factor: float = 1.0) -> str:
    """Return value and standard uncertainty as ``12.600(91)``, which the options read back."""
    value, u = x.value * factor, x.u * factor
    digits = max(0, 1 - math.floor(math.log10(u))) if u > 0 else 6
    return f"{value:.{digits}f}({max(1, round(u * 10**digits))})"


N_MM2 = 1e6  # N m^2 in N mm^2


def kept_as(
    name: str,
    machine: Path | None,
    belt: Belt | None,
    mass: Estimate,
    *,
    stiffness: Estimate | None = None,
) -> None:
    """Write a linear mass, and a bending stiffness where it was seen, into the machine file.

    What was done goes to standard error.

    Raises
    ------
    RequestError
        If the machine's belt of that name is another kind of belt, or the file cannot be written.
    """
    file = machine or find() or Path(USUAL)
    known = load(file).belts.get(name) if file.exists() else None
    if known is not None and belt is not None and known.belt is not None:
        named = belt_of(known).name
        if named != belt.name:
            raise RequestError(
                f'"{name}" of {file.name} is a {named}, and a {belt.name} was weighed: nothing was '
                "written"
            )
    entry = BeltEntry(
        name=name,
        belt=belt.name if belt and known is None else None,
        construction=belt.construction if belt and known is None else None,
        linear_mass=f"{concise(mass, 1000)} g/m",
        bending_stiffness=f"{concise(stiffness, N_MM2)} N mm^2" if stiffness else None,
    )
    add_belt(file, entry, over=True)
    told = f"linear_mass = {entry.linear_mass!r}"
    if entry.bending_stiffness:
        told += f", bending_stiffness = {entry.bending_stiffness!r}"
    sys.stderr.write(f"beltpitch: {file.name}: {name} has {told}\n")


def scale_share(scale_error: str) -> float:
    """Return the scale's own error as a share of the load."""
    share = parse(scale_error, PERCENT, option="--scale-error").value
    if not 0 <= share < 1:
        raise RequestError(f"--scale-error {scale_error!r}: give a share of the load, as in 0.5 %")
    return share


def _mass(text: str) -> float:

    return positive(text, MASS, option="--mass").value


def _scale(scale: str | None, scale_error: str, mass: list[str]) -> Balance:
    """Return the scale; where its digit is not given, the last digit written tells it."""
    if scale is not None:
        step = positive(scale, MASS, option="--scale").value
    else:
        step = 2 * max(positive(text, MASS, option="--mass").half_digit for text in mass)
    return Balance(step, scale_share(scale_error))


def _scale_echo(scale: str | None, used: Balance) -> tuple[str, ...]:
    said = [f"the scale's own error as +/- {used.share_limit:.2%} of the load"]
    if scale is None:
        step = used.resolution_kg * 1000
        said.append(f"a scale that shows steps of {step:g} g, by the last digit written")
    return tuple(said)


def _planned_scales(scale: str | None, scale_error: str) -> tuple[Balance, ...]:

    step = positive(scale or "1 g", MASS, option="--scale").value
    share = scale_share(scale_error)
    return Balance(step, share), Balance(FINER * step, share)


def _length(
    length: str | None, teeth: int | None, belt: Belt | None, *, loop: bool
) -> tuple[Estimate, tuple[str, ...]]:

    if (length is None) == (teeth is None):
        raise RequestError('give the length of the piece: --length "500 +/- 1 mm", or --teeth 250')
    if teeth is not None:
        if belt is None or belt.pitch_m is None:
            raise RequestError('--teeth needs the tooth spacing: add --belt "2GT 9 mm"')
        found = counted_length(teeth, belt.pitch_m, "loop" if loop else "piece")
        ends = "" if loop else ", cut in the gaps between teeth"
        return found, (f"{teeth} teeth of {belt.pitch_m * 1000:g} mm{ends}",)
    assert length is not None
    given = positive(length, LENGTH, option="--length")
    if given.u is not None:
        return taped_length(given.value, given.u), ()
    limit = max(TAPE_LIMIT_M, given.half_digit)
    echo = f"length {given.text}, taken as +/- {limit * 1000:.3g} mm"
    return taped_length(given.value, rectangular(limit)), (echo,)


def _record(
    found: Weighed,
    belt: Belt | None,
    beside: MassComparison | None,
    shown: list[float],
    notes: list[str],
) -> dict[str, Any]:

    mass = found.linear_mass
    return {
        "belt": belt.name if belt else None,
        "linear_mass_g_per_m": mass.value * 1000,
        "linear_mass_u_g_per_m": mass.u * 1000,
        "interval_g_per_m": [x * 1000 for x in mass.interval(COVERAGE)],
        "coverage": COVERAGE,
        "dof": mass.dof if math.isfinite(mass.dof) else None,
        "length_mm": found.length.value * 1000,
        "length_u_mm": found.length.u * 1000,
        "weighings_g": [x * 1000 for x in shown],
        "mass_g": found.mass.value * 1000,
        "mass_u_g": found.mass.u * 1000,
        "budget": budget_json(mass, 1000),
        "catalogue": _beside_json(belt, beside),
        "option": f"--linear-mass {concise(mass, 1000)} g/m",
        "advice": found.advice,
        "plan": None,
        "sources": list(belt.sources) if belt else [],
        "warnings": [beside.words] if beside and not beside.fits else [],
        "notes": notes,
    }


def budget_json(x: Estimate, factor: float) -> list[dict[str, Any]]:
    """Return the budget as JSON, largest line first, in the unit that `factor` makes."""
    return [
        {
            "input": line.name,
            "u": line.u * factor,
            "share": line.share,
            "dof": line.dof if math.isfinite(line.dof) else None,
            "shared": line.keys[0],
        }
        for line in x.budget()
    ]


def _beside_json(belt: Belt | None, beside: MassComparison | None) -> dict[str, Any] | None:
    if belt is None or beside is None:
        return None
    return {
        "linear_mass_g_per_m": belt.linear_mass.value * 1000,
        "linear_mass_u_g_per_m": belt.linear_mass.u * 1000,
        "ratio": beside.ratio,
        "fits": beside.fits,
        "words": beside.words,
    }


def _draw(
    found: Weighed, belt: Belt | None, beside: MassComparison | None, notes: list[str]
) -> None:

    where = console()
    mass = found.linear_mass
    heading(where, belt.name if belt else "own belt")
    draw_mass(where, mass)
    if beside is not None:
        field(where, "catalogue", beside.words)
    doubt = ", ".join(f"{line.name} {line.share:.0%}" for line in mass.budget())
    field(where, "uncertainty", doubt)
    field(where, "next", found.advice)
    named = f'--belt "{belt.name}" ' if belt else ""
    field(where, "use it", f'beltpitch tension {named}--linear-mass "{concise(mass, 1000)} g/m"')
    for words in notes:
        field(where, "assumed", words)


def draw_mass(where: Any, mass: Estimate) -> None:
    """Print a linear mass with its interval."""
    low, high = (rounded(x * 1000, mass.u * 1000) for x in mass.interval(COVERAGE))
    value = rounded(mass.value * 1000, mass.u * 1000)
    words = f"{value} g/m   ({COVERAGE:.0%}: {low} to {high} g/m; u {mass.u / mass.value:.2%})"
    field(where, "linear mass", words, "bold")


def _plan_json(
    plans: list[tuple[Balance, PieceLength]], belt: Belt | None, about: float
) -> dict[str, Any]:
    return {
        "belt": belt.name if belt else None,
        "about_g_per_m": about * 1000,
        "plan": [
            {
                "scale_g": scale.resolution_kg * 1000,
                "u": piece.u,
                "length_mm": None if piece.length_m is None else piece.length_m * 1000,
                "mass_g": None if piece.mass_kg is None else piece.mass_kg * 1000,
            }
            for scale, piece in plans
        ],
        "warnings": [],
        "notes": [f"the scale's own error as +/- {plans[0][0].share_limit:.2%} of the load"],
    }


def _draw_plan(plans: list[tuple[Balance, PieceLength]], belt: Belt | None, about: float) -> None:

    where = console()
    named = belt.name if belt else "a 9 mm belt of 2 mm pitch (name yours with --belt)"
    heading(where, f"How long a piece to weigh: {named}, about {about * 1000:.3g} g/m")
    for scale, piece in plans:
        label = f"{scale.resolution_kg * 1000:g} g scale"
        if piece.length_m is None or piece.mass_kg is None:
            words = (
                f"for {piece.u:.1%}: no length helps, the scale's own error is more; check it "
                "with a known weight and give --scale-error"
            )
        else:
            words = (
                f"for {piece.u:.1%}: {_lengthy(piece.length_m)}, which weighs "
                f"{piece.mass_kg * 1000:.3g} g"
            )
        field(where, label, words)
    field(where, "meant", "the standard uncertainty of the linear mass; the tape to +/- 1 mm")
    field(where, "shorter?", "weigh it together with the rest of the roll, and measure both")
    field(where, "then", 'beltpitch weigh --length "500 +/- 1 mm" --mass "6.3 g" --scale "0.1 g"')


def _lengthy(length_m: float) -> str:
    return f"{length_m:.1f} m" if length_m >= 1 else f"{math.ceil(length_m * 100)} cm"
