"""``beltpitch hang``: linear mass, stiffness and end correction from hung weights."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.table import Table

from beltpitch import parsing
from beltpitch.advice.safety import hanging
from beltpitch.belts.corrections import air_estimate
from beltpitch.belts.gravity import gravity
from beltpitch.belts.hung_weights import HIGHEST_MODE, HangingRig, KnownFigures, calibrate, holding
from beltpitch.belts.weights_table import (
    check_loads,
    easier_length_m,
    expected_hz,
    heaviest_pull_n,
    plan_for,
    read_pair,
    read_table,
)
from beltpitch.errors import CannotTell, RequestError
from beltpitch.pitch.results import FrequencyRange
from beltpitch.present.plots import hang_figure, save
from beltpitch.present.text import force
from beltpitch.reading import COVERAGE, read
from beltpitch.session.verdict import SCHEMA
from beltpitch.setup.strung_belt import tension_given
from beltpitch.store.csv_log import table_lines
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import console, field, heading, print_json, signs_for
from beltpitch.terminal.weigh import (
    N_MM2,
    KeepAsOption,
    ScaleErrorOption,
    budget_json,
    compared,
    concise,
    draw_mass,
    kept_as,
    scale_share,
)
from beltpitch.uncertainty import PLUCK_SCATTER, Estimate, rectangular
from beltpitch.units import ANGLE, LENGTH, LINEAR_MASS, MASS, parse, positive

if TYPE_CHECKING:
    from collections.abc import Sequence

    from beltpitch.belts.catalogue import Belt
    from beltpitch.belts.hung_weights import Calibration, LoadPoint, Row
    from beltpitch.belts.weighing import MassComparison
    from beltpitch.belts.weights_table import HungWeight, PlannedWeight
    from beltpitch.reading import Reading
    from beltpitch.units import Quantity


# A recording is listened to between these shares of the tone that the catalogue's belt would have:
# makers and the standard differ by 1.5 in mass, so by 1.25 in tone, and a margin.
NEAR = (0.6, 1.6)


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(hang)


def hang(
    table: Annotated[
        Path | None,
        typer.Argument(
            help="CSV with a header such as: mass [kg], frequency [Hz], length [mm]; a column "
            "'recording' names a sound file beside it instead of a frequency."
        ),
    ] = None,
    weight: Annotated[
        list[str] | None,
        typer.Option("--weight", help='A weight and its tone instead: "2.04 kg: 61.3 Hz".'),
    ] = None,
    length: Annotated[
        str | None,
        typer.Option("--length", help="From the clamp's edge to the foot's: \"500 +/- 1 mm\"."),
    ] = None,
    foot: Annotated[
        str | None,
        typer.Option("--foot", help="Mass fixed to the belt's foot, if the rest hangs by a link."),
    ] = None,
    level: Annotated[
        bool,
        typer.Option("--level", help="The strand runs level and the weight pulls over a pulley."),
    ] = False,
    held: Annotated[
        str, typer.Option("--ends", help="How both ends are held: clamp, free or full.")
    ] = "clamp",
    fit_ends: Annotated[
        bool,
        typer.Option("--fit-ends", help="Fit where the ends really are; needs two lengths."),
    ] = False,
    weighed: Annotated[
        str | None,
        typer.Option("--weighed", help='What a weighed piece told: "12.60(9) g/m".'),
    ] = None,
    latitude: Annotated[
        str | None, typer.Option("--latitude", help='For local gravity: "51.5 deg".')
    ] = None,
    height: Annotated[
        str | None, typer.Option("--height", help='Height above the sea: "80 m".')
    ] = None,
    scale_error: ScaleErrorOption = "0.5 %",
    most: Annotated[
        str | None, typer.Option("--most", help='The most to pull, for the plan: "39 N".')
    ] = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    construction: o.ConstructionOption = None,
    keep_as: KeepAsOption = None,
    machine: k.MachineOption = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", help="Draw rows, fit and residuals: a .png, .svg or .pdf."),
    ] = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Calibrate a belt with hung weights; without any, say which to hang and how to be safe."""
    o.checked_unit(unit)
    made = None
    if belt is not None:
        made = parsing.belt(belt, width=width, construction=construction)
    wide = made.width_m if made else _width(width)
    tape = _length(length)
    g = _gravity(latitude, height)
    hung, folder = _hung(table, weight, tape, g)
    if not hung:
        _plan(made, tape, most, g, json=json, unit=unit)
        return
    rig = _rig(g, scale_error, held, foot, fit_ends=fit_ends, level=level)
    known = _known(wide, weighed, made)
    check_loads(hung, made, g.value)
    rows = [_row(w, folder, made, g) for w in hung]
    found = calibrate(rows, name=made.name if made else "own belt", rig=rig, known=known)
    beside = compared(found.linear_mass, made)
    notes = _notes(hung, tape, wide, latitude, scale_error, held)
    warnings = [*found.warnings, *_too_heavy(found, made)]
    if beside is not None and not beside.fits:
        warnings.append(beside.words)
    if keep_as is not None:
        seen = found.stiffness if found.stiffness_seen and found.stiffness.u else None
        kept_as(keep_as, machine, made, found.linear_mass, stiffness=seen)
    if picture is not None:
        _draw_picture(picture, found, unit)
    if json:
        print_json({"schema": SCHEMA, "hang": _record(found, made, beside, warnings, notes)})
    else:
        _draw(found, made, beside, warnings, notes, unit)


# --- what was asked -----------------------------------------------------------------------------


def _width(width: str | None) -> float | None:

    return None if width is None else positive(width, LENGTH, option="--width").value


def _length(length: str | None) -> Quantity | None:

    return None if length is None else positive(length, LENGTH, option="--length")


def _gravity(latitude: str | None, height: str | None) -> Estimate:

    if latitude is None:
        if height is not None:
            raise RequestError('--height needs the latitude too: --latitude "51.5 deg"')
        return gravity()
    above = parse(height or "0 m", LENGTH, option="--height").value
    return gravity(parse(latitude, ANGLE, option="--latitude").value, above)


def _hung(
    table: Path | None, weights: list[str] | None, tape: Quantity | None, g: Estimate
) -> tuple[tuple[HungWeight, ...], Path]:
    """Return the weights that were hung, and the folder their recordings stand in."""
    if table is not None and weights:
        raise RequestError("give a table or --weight, not both")
    if table is not None:
        rows = read_table(table_lines(table), length=tape, gravity_m_s2=g.value)
        return rows, table.parent
    if not weights:
        return (), Path()
    if tape is None:
        raise RequestError('--weight needs the length of the strand: --length "500 +/- 1 mm"')
    return tuple(read_pair(text, tape) for text in weights), Path()


def _rig(
    g: Estimate, scale_error: str, held: str, foot: str | None, *, fit_ends: bool, level: bool
) -> HangingRig:

    share = rectangular(scale_share(scale_error))
    return HangingRig(
        hung=not level,
        scale=Estimate.single(1.0, share, name="scale", key="scale"),
        gravity=g,
        foot_kg=None if foot is None else positive(foot, MASS, option="--foot").value,
        holding=holding(held),
        end_m=None if fit_ends else Estimate(0.0),
    )


def _known(width_m: float | None, weighed: str | None, belt: Belt | None) -> KnownFigures:

    air = Estimate(0.0) if width_m is None else air_estimate(width_m)
    stretch = belt.ea_n.value if belt and belt.ea_n else math.inf
    if weighed is None:
        return KnownFigures(air=air, stretch_n=stretch)
    given = positive(weighed, LINEAR_MASS, option="--weighed")
    u = rectangular(given.half_digit) if given.u is None else given.u
    name = belt.name if belt else "own belt"
    piece = Estimate.single(given.value, u, name="weighed piece", key=f"roll:{name}/weighed")
    if belt is not None:
        belt.weighed(piece)  # refuses a slip
    return KnownFigures(linear_mass=piece, air=air, stretch_n=stretch)


def _row(hung: HungWeight, folder: Path, belt: Belt | None, g: Estimate) -> Row:
    """Return a row with its tone, typed or heard."""
    if hung.recording is None:
        return hung.typed()
    heard = read(folder / hung.recording, expected=_near(hung, belt, g))
    if heard.frequency is None:
        raise CannotTell(f"{hung.recording}: {heard.warnings[0]}")
    return hung.sounding(heard.frequency.value, heard.frequency.u, _partials(heard, hung.mode_n))


def _partials(heard: Reading, mode: int) -> tuple[float, float, int] | None:
    """Return what the partials told of a fundamental: B, its u and the highest; None if nothing."""
    b, u, top = heard.inharmonicity, heard.inharmonicity_u, heard.top
    if mode != 1 or not b or not u or top is None or top < 2:  # noqa: PLR2004
        return None
    return b, u, min(top, HIGHEST_MODE)


def _near(hung: HungWeight, belt: Belt | None, g: Estimate) -> FrequencyRange | None:
    """Return where the tone of a weight must lie, by the catalogue's figure for the belt."""
    if belt is None:
        return None
    about = expected_hz(hung, belt.linear_mass.value, g.value)
    return FrequencyRange(NEAR[0] * about, NEAR[1] * about, why=f"about {about:.0f} Hz by weight")


def _notes(
    hung: Sequence[HungWeight],
    tape: Quantity | None,
    width_m: float | None,
    latitude: str | None,
    scale_error: str,
    held: str,
) -> list[str]:
    """Return the defaults that were taken."""
    notes = [f"the scale's own error as +/- {scale_share(scale_error):.2%} of the load"]
    if latitude is None:
        notes.append("gravity as 9.807 +/- 0.030 m/s^2, anywhere; --latitude makes it local")
    if tape is not None and tape.u is None:
        notes.append(f"length {tape.text}, taken as +/- {max(1.0, tape.half_digit * 1000):.3g} mm")
    if width_m is None:
        notes.append("no air carried along, for want of --belt or --width: mass and air are one")
    if held == "clamp":
        notes.append("ends somewhere between half and fully clamped")
    if any(w.tone is not None and w.tone.u is None for w in hung):
        scatter = f"{100 * PLUCK_SCATTER:.2g} %"
        notes.append(f"a typed tone scatters by {scatter} from pluck to pluck (common practice)")
    return notes


def _too_heavy(found: Calibration, belt: Belt | None) -> list[str]:

    limit = heaviest_pull_n(belt) if belt else None
    pulled = max(p.tension_n for p in found.points)
    if limit is None or pulled <= limit[0]:
        return []
    return [
        f"{pulled:.0f} N was pulled, more than {limit[0]:.0f} N ({limit[1]}): look the belt over "
        "and hang less"
    ]


# --- the plan -----------------------------------------------------------------------------------


def _plan(
    belt: Belt | None,
    tape: Quantity | None,
    most: str | None,
    g: Estimate,
    *,
    json: bool,
    unit: str,
) -> None:

    if belt is None or tape is None:
        raise RequestError(
            'give the weights and their tones, a table or --weight "2.04 kg: 61.3 Hz"; or, to be '
            'told which to hang, --belt "2GT 9 mm" --length "500 mm"'
        )
    limit = heaviest_pull_n(belt)
    if most is not None:
        limit = tension_given(most, belt, "--most"), "as given"
    if limit is None:
        raise RequestError(
            f'how much {belt.name} may carry is not known: give --most "39 N", half of its '
            "allowable strand tension"
        )
    weights = plan_for(belt, tape.value, limit[0], g.value)
    if json:
        print_json({"schema": SCHEMA, "hang": _plan_json(weights, belt, tape.value, limit)})
    else:
        _draw_plan(weights, belt, tape.value, limit, unit)


def _plan_json(
    weights: Sequence[PlannedWeight], belt: Belt, length_m: float, limit: tuple[float, str]
) -> dict[str, Any]:

    return {
        "belt": belt.name,
        "length_mm": length_m * 1000,
        "most_n": limit[0],
        "plan": [
            {"mass_kg": w.mass_kg, "tension_n": w.tension_n, "frequency_hz": w.frequency_hz}
            for w in weights
        ],
        "cautions": list(hanging()),
        "warnings": [],
        "notes": [f"the most to pull is {limit[0]:.0f} N: {limit[1]}", *belt.notes],
    }


def _draw_plan(
    weights: Sequence[PlannedWeight],
    belt: Belt,
    length_m: float,
    limit: tuple[float, str],
    unit: str,
) -> None:

    where = console()
    heading(where, f"Weights to hang on {length_m * 1000:.4g} mm of {belt.name}")
    for w in weights:
        words = f"{force(w.tension_n, unit)}, about {w.frequency_hz:.0f} Hz"
        field(where, f"{w.mass_kg:.2f} kg", words)
    field(where, "most", f"{force(limit[0], unit)}: {limit[1]}")
    easier = easier_length_m(weights, length_m)
    if easier is not None:
        words = f"a strand of about {easier * 1000:.0f} mm sounds higher and is better heard"
        field(where, "easier", words)
    field(where, "what", "buckets of water do; weigh each with its hook, a litre is about 1 kg")
    field(where, "foot", "fix the weight to the belt's foot itself, without a cord between them")
    for words in belt.notes:
        field(where, "assumed", words)
    for i, words in enumerate(hanging()):
        field(where, "caution" if i == 0 else "", words)


# --- what was found -----------------------------------------------------------------------------


def _record(
    found: Calibration,
    belt: Belt | None,
    beside: MassComparison | None,
    warnings: list[str],
    notes: list[str],
) -> dict[str, Any]:

    mass, stiffness = found.linear_mass, found.stiffness
    return {
        "belt": belt.name if belt else None,
        "linear_mass_g_per_m": mass.value * 1000,
        "linear_mass_u_g_per_m": mass.u * 1000,
        "interval_g_per_m": [x * 1000 for x in mass.interval(COVERAGE)],
        "coverage": COVERAGE,
        "dof": mass.dof if math.isfinite(mass.dof) else None,
        "budget": budget_json(mass, 1000),
        "stiffness_n_mm2": stiffness.value * N_MM2,
        "stiffness_u_n_mm2": stiffness.u * N_MM2,
        "stiffness_interval_n_mm2": [x * N_MM2 for x in found.stiffness_interval(COVERAGE)],
        "stiffness_seen": found.stiffness_seen,
        "holding": found.holding.value,
        "holding_u": found.holding.u,
        "end_mm": found.end_m.value * 1000,
        "end_u_mm": found.end_m.u * 1000,
        "shortening_mm": found.shortening.value * 1000,
        "shortening_u_mm": found.shortening.u * 1000,
        "shortening_tension_n": found.shortening_tension_n,
        "correlations": [{"between": [c.a, c.b], "r": c.r} for c in found.correlations],
        "chi2": found.chi2,
        "chi2_dof": found.dof,
        "scatter": found.scatter,
        "rows": [_point_json(p) for p in found.points],
        "catalogue": None
        if belt is None or beside is None
        else {"ratio": beside.ratio, "fits": beside.fits, "words": beside.words},
        "option": f"--linear-mass {concise(mass, 1000)} g/m",
        "advice": found.advice,
        "plan": None,
        "sources": list(belt.sources) if belt else [],
        "warnings": warnings,
        "notes": notes,
    }


def _point_json(p: LoadPoint) -> dict[str, Any]:
    return {
        "label": p.row.label,
        "mass_kg": p.row.mass_kg,
        "length_mm": p.row.length_m * 1000,
        "mode": p.row.mode_n,
        "tension_n": p.tension_n,
        "xi": p.xi if math.isfinite(p.xi) else None,
        "frequency_hz": p.row.frequency_hz,
        "frequency_u_hz": p.row.frequency_u_hz,
        "fitted_hz": p.fitted_hz,
        "residual_percent": 100 * p.residual,
        "residual_u": p.sigmas,
        "inharmonicity": p.row.inharmonicity,
        "inharmonicity_u": p.row.inharmonicity_u if p.row.inharmonicity is not None else None,
        "used": p.used,
        "reason": p.reason,
    }


def _draw(
    found: Calibration,
    belt: Belt | None,
    beside: MassComparison | None,
    warnings: list[str],
    notes: list[str],
    unit: str,
) -> None:

    where = console()
    heading(where, belt.name if belt else "own belt")
    draw_mass(where, found.linear_mass)
    low, high = (x * N_MM2 for x in found.stiffness_interval())
    ei = found.stiffness.value * N_MM2
    seen = f"{ei:.3g} N mm^2   (95%: {low:.3g} to {high:.3g} N mm^2)"
    field(where, "stiffness", seen if found.stiffness_seen else f"below {high:.3g} N mm^2")
    end, at = found.shortening, force(found.shortening_tension_n, unit)
    words = f"{end.value * 1000:.1f} mm (u {end.u * 1000:.1f} mm) shorter at {at}, this rig only"
    field(where, "ends", words)
    if beside is not None and beside.fits:
        field(where, "catalogue", beside.words)
    budget = ", ".join(f"{x.name} {x.share:.0%}" for x in found.linear_mass.budget()[:4])
    field(where, "uncertainty", budget)
    field(where, "next", found.advice)
    together = ", ".join(f"{c.a} and {c.b} {c.r:+.2f}" for c in found.correlations)
    field(where, "correlation", together)
    where.print()
    _rows(where, found.points, unit)
    fit = f"chi^2 {found.chi2:.1f} with {found.dof} degrees of freedom"
    field(where, "fit", fit)
    heard = sum(p.row.inharmonicity is not None for p in found.points)
    if heard:
        field(where, "partials", f"of {heard} weights joined the fit: how stiff they sound")
    named = f'--belt "{belt.name}" ' if belt else ""
    option = f'--linear-mass "{concise(found.linear_mass, 1000)} g/m"'
    field(where, "use it", f"beltpitch tension {named}{option}")
    for words in warnings:
        field(where, "note", words)
    for words in notes:
        field(where, "assumed", words)


def _draw_picture(picture: Path, found: Calibration, unit: str) -> None:
    """Write the picture of rows and residuals."""
    save(hang_figure(found, unit), picture)
    sys.stderr.write(f"beltpitch: wrote {picture}\n")


RESIDUAL_SIGN = 3.0  # standard uncertainties at the ends of the drawn axis
AXIS = 21  # columns


def _rows(where: Any, points: Sequence[LoadPoint], unit: str) -> None:
    """Print the rows with their residuals, drawn on an axis of plus and minus three u."""
    mark = signs_for(where).mean
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("weight", "tension", "heard", "fitted", "off"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("-3 u" + "0".center(AXIS - 8) + "+3 u", no_wrap=True)
    for p in points:
        axis = [" "] * AXIS
        axis[AXIS // 2] = "|"
        share = min(1.0, max(-1.0, p.sigmas / RESIDUAL_SIGN))
        axis[round((AXIS - 1) * (share + 1) / 2)] = mark if p.used else "x"
        table.add_row(
            f"{p.row.mass_kg:.4g} kg",
            force(p.tension_n, unit),
            f"{p.row.frequency_hz:.2f} Hz",
            f"{p.fitted_hz:.2f} Hz",
            f"{100 * p.residual:+.2f} %",
            "".join(axis).rstrip(),
        )
    where.print(table)
    where.print()
