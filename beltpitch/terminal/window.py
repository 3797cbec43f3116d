"""``beltpitch window``: what the tension should be, by belt, by duty and by own target."""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import inf, radians
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.padding import Padding
from rich.table import Table

from beltpitch import units
from beltpitch.advice.axis import Layout
from beltpitch.advice.duty import (
    Motion,
    Pulley,
    Rotation,
    drive_named,
    linear_demand,
    rotary_demand,
)
from beltpitch.advice.window import WITHIN
from beltpitch.advice.window_report import WantedTension, WindowQuestion, plan
from beltpitch.belts.drives import DRIVE_NAMES
from beltpitch.errors import RequestError
from beltpitch.present.text import force
from beltpitch.session.verdict import SCHEMA, in_newtons, scale_over
from beltpitch.setup.strung_belt import strung, tension_given
from beltpitch.store.entries import USUAL_WRAP
from beltpitch.terminal import drawing
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import (
    MARGIN,
    TextRuler,
    console,
    field,
    heading,
    line,
    signs_for,
)
from beltpitch.units import ANGLE, FORCE, PERCENT, TEMPERATURE, in_unit, parse, positive

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.advice.axis import AxisPoint
    from beltpitch.advice.bounds import Bound, Range, ReferenceValue
    from beltpitch.advice.duty import Demand
    from beltpitch.advice.window import Window
    from beltpitch.advice.window_report import WindowReport
    from beltpitch.belts.catalogue import Belt

REACH = 3  # times the window's upper end: what lies beyond is listed, not drawn
TAPE_MM = 0.25  # a steel tape read with care, either way; a judgement
TELLS_STEPS = 4  # readings of a tape between low and high; a judgement
LETTERS = "abcdefghijklmnopqrstuvwxyz"
USUAL_FRAME = "aluminium"
LAYOUT = ("loop", "near", "travel")  # the axis is described where all three are known
OF_A_BELT = (
    "belt", "width", "linear_mass", "construction", "joined", "target", "within", "limit", "loop",
)  # fmt: skip

_Text = str | None


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(window)


def _option(name: str, words: str) -> Any:
    return typer.Option(name, help=words)


def window(
    name: Annotated[
        str | None,
        typer.Argument(help="A belt of the machine file, with the duty of its axis."),
    ] = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    joined: Annotated[
        bool | None, _option("--joined", "The belt was cut and joined: it may carry half.")
    ] = None,
    target: o.TargetOption = None,
    within: o.WithinOption = None,
    limit: Annotated[_Text, _option("--limit", 'The most you want to see: "120 N".')] = None,
    drive: Annotated[_Text, _option("--drive", "looped, fixed, crossed, closed or rotary.")] = None,
    mass: Annotated[_Text, _option("--mass", 'Moving mass, with its unit: "4 kg".')] = None,
    cross_mass: Annotated[
        _Text, _option("--cross-mass", 'Crossed belts: mass on the other axis, "1.5 kg".')
    ] = None,
    acceleration: Annotated[
        _Text, _option("--acceleration", 'A bare number is in mm/s^2: "3000 mm/s^2".')
    ] = None,
    force: Annotated[_Text, _option("--force", 'Cutting or process force: "60 N".')] = None,
    friction: Annotated[_Text, _option("--friction", 'Friction of the rails: "8 N".')] = None,
    slope: Annotated[_Text, _option("--slope", 'Slope of the axis: "90 deg" is upright.')] = None,
    belts: Annotated[
        int | None,
        typer.Option("--belts", help="Belts that carry the mass side by side, 1 by default."),
    ] = None,
    teeth: Annotated[
        int | None, typer.Option("--teeth", help="Teeth of the driving pulley.")
    ] = None,
    wrap: Annotated[_Text, _option("--wrap", "Wrap of the belt on it, 180 deg by default.")] = None,
    mesh: Annotated[
        int | None, typer.Option("--mesh", help="Teeth in mesh, counted; else from the wrap.")
    ] = None,
    torque: Annotated[_Text, _option("--torque", 'Largest motor torque: "0.5 N m".')] = None,
    radial: Annotated[
        _Text, _option("--radial", 'Radial load the motor permits at the pulley: "75 N".')
    ] = None,
    power: Annotated[_Text, _option("--power", 'Rotary drive: power, "60 W".')] = None,
    speed: Annotated[_Text, _option("--speed", 'Rotary drive: pulley speed, "1400 rpm".')] = None,
    service_factor: Annotated[
        float | None,
        typer.Option(
            "--service-factor", help="Rotary drive: 1 by default, 1.5 to 2 for power drives."
        ),
    ] = None,
    loop: Annotated[
        _Text, _option("--loop", 'Belt under tension, clamp to clamp or round: "2400 mm".')
    ] = None,
    near: Annotated[
        _Text, _option("--near", 'Shortest strand from carriage to pulley or clamp: "150 mm".')
    ] = None,
    travel: Annotated[_Text, _option("--travel", 'Travel of the carriage: "900 mm".')] = None,
    preload: Annotated[
        _Text, _option("--preload", 'Preload at which to describe the axis: "100 N".')
    ] = None,
    ea: Annotated[_Text, _option("--ea", 'Axial stiffness EA, where known: "29 kN".')] = None,
    steps_per_mm: Annotated[
        float | None, typer.Option("--steps-per-mm", help="Controller's setting, slack belt.")
    ] = None,
    frame: Annotated[_Text, _option("--frame", "aluminium (by default) or steel.")] = None,
    set_at: Annotated[_Text, _option("--set-at", 'Set at this temperature: "18 degC".')] = None,
    runs_at: Annotated[_Text, _option("--runs-at", 'Runs at this one: "35 degC".')] = None,
    machine: k.MachineOption = None,
    details: o.DetailsOption = False,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Say what the tension should be: by pitch and width, by duty, by your own target."""
    options = locals()

    if name is not None:
        written = _written(name, machine, options)
        return window(**{**options, **written, "name": None, "machine": None})
    if machine is not None:
        raise RequestError("--machine needs a belt's name")
    o.checked_unit(unit)
    made = strung(belt, width, linear_mass, construction, None).belt
    if made is None:
        raise RequestError('a window needs the belt: add --belt "2GT 9 mm"')
    pulley = _pulley(made, teeth, wrap, mesh, radial)
    motion = (mass, cross_mass, acceleration, force, friction, slope)
    layout = _layout(loop, near, travel)
    demand = _demand(
        made, drive, motion, belts, pulley, layout, torque, (power, speed, service_factor)
    )
    aim = None
    if target is not None:
        share = positive(within or WITHIN, PERCENT, option="--within").value
        aim = (tension_given(target, made, "--target"), share)
    wanted = WantedTension(
        joined=bool(joined),
        target=aim,
        own_limit_n=None if limit is None else tension_given(limit, made, "--limit"),
        preload_n=None if preload is None else tension_given(preload, made, "--preload"),
        ea_n=_number(ea, "FORCE", "--ea"),
        steps_per_mm=steps_per_mm,
        workshop=_workshop(frame, set_at, runs_at),
    )
    found = plan(made, wanted, demand, layout)
    bare = (
        ("--mass", mass, "MASS"),
        ("--cross-mass", cross_mass, "MASS"),
        ("--acceleration", acceleration, "ACCELERATION"),
        ("--force", force, "FORCE"),
        ("--friction", friction, "FORCE"),
        ("--torque", torque, "TORQUE"),
        ("--radial", radial, "FORCE"),
        ("--power", power, "POWER"),
        ("--speed", speed, "ROTATION"),
        ("--slope", slope, "ANGLE"),
        ("--loop", loop, "LENGTH"),
        ("--near", near, "LENGTH"),
        ("--travel", travel, "LENGTH"),
        ("--target", target, "FORCE"),
        ("--limit", limit, "FORCE"),
        ("--preload", preload, "FORCE"),
        ("--ea", ea, "FORCE"),
    )
    notes = (*made.notes, *o.bare_numbers(bare))
    if json:
        drawing.print_json({"schema": SCHEMA, "window": as_json(found, notes)})
    else:
        if details:
            _draw(found, unit, notes)
        else:
            _draw_short(found, unit)
    return None


def _written(name: str, machine: Path | None, options: dict[str, Any]) -> dict[str, Any]:
    """Return what the machine file says of a belt and its duty, for the options not given."""
    found = k.asked_for([name], machine, {})
    of = found[0].machine
    assert of is not None  # a name comes from a machine
    if len(found) > 1:
        names = " or ".join(str(each.name) for each in found)
        raise RequestError(f"{name} is a pair: name one of its belts, {names}")
    entry = found[0].entry
    said = {key: getattr(entry, key) for key in OF_A_BELT}
    duty = of.duty(entry.axis)
    if duty is not None:
        keys = {f.name for f in fields(duty)} & set(options) - {"name"}
        said |= {key: getattr(duty, key) for key in keys}
    if of.frame is not None:
        said["frame"] = of.frame
    if any(said.get(key) is None and options[key] is None for key in LAYOUT):
        said = {key: value for key, value in said.items() if key not in LAYOUT}
    return {key: value for key, value in said.items() if value is not None and options[key] is None}


# --- reading ------------------------------------------------------------------------------------


def _number(text: str | None, kind: str, option: str) -> float | None:
    """Return an optional quantity above zero in SI."""
    if text is None:
        return None
    return units.positive(text, getattr(units, kind), option=option).value


def _zero_or_more(text: str | None, kind: str, option: str) -> float:
    """Return an optional quantity in SI, zero where not given; the records check its sign."""
    if text is None:
        return 0.0
    return units.parse(text, getattr(units, kind), option=option).value


def _angle(text: str, option: str) -> float:

    return radians(parse(text, ANGLE, option=option).value)


def _pulley(
    belt: Belt, teeth: int | None, wrap: str | None, mesh: int | None, radial: str | None
) -> Pulley | None:

    if teeth is None:
        given = [name for name, x in (("--mesh", mesh), ("--radial", radial)) if x is not None]
        if given:
            raise RequestError(
                f"{' and '.join(given)}: the driving pulley is missing; add --teeth 20"
            )
        return None
    if belt.pitch_m is None:
        raise RequestError("a pulley's teeth need the belt's tooth spacing: name a known belt")
    return Pulley(
        teeth=teeth,
        pitch_m=belt.pitch_m,
        wrap_rad=_angle(wrap or USUAL_WRAP, "--wrap"),
        in_mesh=mesh,
        permitted_radial_n=_number(radial, "FORCE", "--radial"),
    )


def _layout(loop: str | None, near: str | None, travel: str | None) -> Layout | None:

    if loop is None and near is None and travel is None:
        return None
    length, shortest = _number(loop, "LENGTH", "--loop"), _number(near, "LENGTH", "--near")
    way = _number(travel, "LENGTH", "--travel")
    if length is None or shortest is None or way is None:
        raise RequestError(
            'the belt\'s lengths go together: --loop "2400 mm" --near "150 mm" --travel "900 mm"'
        )
    return Layout(length, shortest, way)


def _demand(
    belt: Belt,
    drive: str | None,
    motion: tuple[str | None, ...],
    belts: int | None,
    pulley: Pulley | None,
    layout: Layout | None,
    torque: str | None,
    turning: tuple[str | None, str | None, float | None],
) -> Demand | None:

    power, speed, _ = turning
    given = [text for text in (*motion, torque, power, speed) if text is not None]
    if drive is None:
        if given or layout is not None:
            raise RequestError(
                "a duty needs its drive: add --drive looped, fixed, crossed, closed or rotary"
            )
        return None
    if drive_named(drive) == "rotary":
        return _rotary(belt, motion, pulley, torque, turning)
    if power is not None or speed is not None:
        raise RequestError("--power and --speed belong to --drive rotary")
    mass, cross, acceleration, force, friction, slope = motion
    moved = Motion(
        mass_kg=_zero_or_more(mass, "MASS", "--mass"),
        acceleration_m_per_s2=_zero_or_more(acceleration, "ACCELERATION", "--acceleration"),
        process_force_n=_zero_or_more(force, "FORCE", "--force"),
        friction_n=_zero_or_more(friction, "FORCE", "--friction"),
        slope_rad=0.0 if slope is None else _angle(slope, "--slope"),
        belts=1 if belts is None else belts,
        cross_mass_kg=_number(cross, "MASS", "--cross-mass"),
    )
    return linear_demand(
        drive,
        moved,
        pulley=pulley,
        layout=layout,
        motor_torque_nm=_number(torque, "TORQUE", "--torque"),
    )


def _rotary(
    belt: Belt,
    motion: tuple[str | None, ...],
    pulley: Pulley | None,
    torque: str | None,
    turning: tuple[str | None, str | None, float | None],
) -> Demand:

    if any(text is not None for text in motion):
        raise RequestError(
            "a rotary drive has no moving mass or force: give --torque, or --power and --speed"
        )
    if pulley is None:
        raise RequestError("a rotary drive needs its driving pulley: add --teeth 20")
    power, speed, service_factor = turning
    rotation = Rotation(
        torque_nm=_number(torque, "TORQUE", "--torque"),
        power_w=_number(power, "POWER", "--power"),
        turns_per_s=_number(speed, "ROTATION", "--speed"),
        service_factor=1.0 if service_factor is None else service_factor,
        linear_mass_kg_per_m=belt.linear_mass.value,
    )
    return rotary_demand(rotation, pulley)


def _workshop(frame: str | None, set_at: str | None, runs_at: str | None) -> WindowQuestion | None:

    if set_at is None and runs_at is None:
        return None
    if set_at is None or runs_at is None:
        raise RequestError('two temperatures go together: --set-at "18 degC" --runs-at "35 degC"')
    cold = parse(set_at, TEMPERATURE, option="--set-at").value
    warm = parse(runs_at, TEMPERATURE, option="--runs-at").value
    return WindowQuestion(frame or USUAL_FRAME, warm - cold)


# --- JSON ---------------------------------------------------------------------------------------


def as_json(found: WindowReport, notes: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the record as the JSON contract has it: every key, null if unknown, newtons."""
    rules, verdict = found.windows, found.windows.verdict
    return {
        "belt": found.belt.name,
        "construction": found.belt.construction,
        "by_pitch_and_width": _range_json(rules.by_belt),
        "by_duty": None if rules.by_duty is None else _range_json(rules.by_duty),
        "by_target": None if rules.by_target is None else _window_json(rules.by_target),
        "window_n": None if verdict is None else [verdict.low_n, verdict.high_n],
        "recommended_n": None
        if verdict is None
        else [verdict.low_n, verdict.best_n, verdict.high_n],
        "recommended_basis": None if verdict is None else verdict.basis or None,
        "marks_apart_mm": None if found.marks_apart_mm is None else list(found.marks_apart_mm),
        "low_rule": None if verdict is None else verdict.low_rule,
        "high_rule": None if verdict is None else verdict.high_rule,
        "opens": list(rules.bounds.opens),
        "marks": [_mark_json(m) for m in rules.marks],
        "duty": None if found.demand is None else _demand_json(found.demand),
        "ea_n": found.ea_n,
        "preload_n": found.preload_n,
        "axis": [_point_json(p) for p in found.axis],
        "scale_error_percent": None if found.scale_error is None else 100 * found.scale_error,
        "steps_per_mm": found.steps_per_mm,
        "warmth_n": found.warm_n,
        "sources": list(_sources(found)),
        "warnings": list(rules.warnings),
        "notes": list(notes),
    }


def _end_json(end: Bound | None) -> dict[str, Any] | None:
    if end is None:
        return None
    return {"force_n": end.newtons, "kind": end.kind, "rule": end.rule, "source": end.source}


def _range_json(bounds: Range) -> dict[str, Any]:
    return {
        "low": _end_json(bounds.low),
        "high": _end_json(bounds.high),
        "empty": bounds.empty,
        "opens": list(bounds.opens),
    }


def _window_json(window: Window) -> dict[str, Any]:
    return {
        "target_n": window.target_n,
        "low_n": window.low_n,
        "high_n": window.high_n,
        "low_rule": window.low_rule,
        "high_rule": window.high_rule,
    }


def _mark_json(mark: ReferenceValue) -> dict[str, Any]:
    return {
        "label": mark.label,
        "force_n": mark.newtons,
        "source": mark.source,
        "known": mark.how_known,
    }


def _demand_json(demand: Demand) -> dict[str, Any]:
    pulley = demand.pulley
    return {
        "drive": demand.drive,
        "belts": demand.belts,
        "peripheral_n": demand.peripheral_n,
        "parts_n": dict(demand.parts),
        "slack_share": demand.slack_share,
        "running_n": demand.running_n,
        "least_preload_n": demand.least_n,
        "motor_n": demand.motor_n,
        "teeth_in_mesh": None if pulley is None else pulley.mesh,
        "rating_share": None if pulley is None else pulley.mesh_factor,
        "shaft_peak_n": demand.shaft_peak_n,
    }


def _point_json(point: AxisPoint) -> dict[str, Any]:
    lost = point.lost_motion_m
    return {
        "position_mm": point.position_m * 1e3,
        "strands_mm": [length * 1e3 for length in point.strands_m],
        "stiffness_n_per_mm": point.stiffness_n_per_m / 1e3,
        "stretch_um": point.stretch_m * 1e6,
        "lost_motion_um": None if lost is None else lost * 1e6,
        "resonance_hz": point.resonance_hz,
        "slackens_at_n": point.slackens_at_n,
    }


def _sources(found: WindowReport) -> tuple[str, ...]:
    rules = found.windows
    ends = [rules.by_belt.low, rules.by_belt.high, rules.bounds.low, rules.bounds.high]
    words = [f"{e.kind}: {e.source}" for e in ends if e is not None]
    words += [f"{m.label}: {m.source} ({m.how_known})" for m in rules.marks]
    if found.ea_source:
        words.append(f"axial stiffness EA: {found.ea_source}")
    return tuple(dict.fromkeys(words))


# --- drawing ------------------------------------------------------------------------------------


def _draw_short(found: WindowReport, unit: str) -> None:
    """Print the short answer: window, what it comes from, its ruler, the tape."""
    where, rules = console(), found.windows
    heading(where, f"{found.belt.name} · {found.belt.construction or 'own belt'} · one strand")
    verdict = rules.verdict
    cautions = verdict.cautions if verdict else ()
    for words in cautions:
        field(where, "warning", words, "bold")
    field(where, "window", _window_words(verdict, unit), "bold")
    if rules.by_duty is not None or rules.by_target is not None:
        field(where, "by belt", _ends_alone(rules.by_belt, unit))
    if rules.by_duty is not None:
        field(where, "by duty", _ends_alone(rules.by_duty, unit))
    _ruler(where, found, unit, short=True)
    noted = [words for words in rules.warnings if words not in cautions]
    for words in (*noted, *(f"what would open it: {way}" for way in rules.bounds.opens)):
        field(where, "note", words)
    if found.marks_apart_mm is not None:
        field(where, "tape", _tape_words(found.marks_apart_mm))
    field(where, "more", "--details: each rule, the marks, the axis, sources")


def _ends_alone(bounds: Range, unit: str) -> str:
    """Return the ends of a range without their rules."""
    low, high = (
        "not known" if end is None else force(max(0.0, end.newtons), unit)
        for end in (bounds.low, bounds.high)
    )
    return f"{'EMPTY: ' if bounds.empty else ''}{low} to {high}"


def _draw(found: WindowReport, unit: str, notes: tuple[str, ...]) -> None:

    where, rules = console(), found.windows
    heading(where, f"{found.belt.name} · {found.belt.construction or 'own belt'} · one strand")
    verdict = rules.verdict
    cautions = verdict.cautions if verdict else ()
    for words in cautions:
        field(where, "warning", words, "bold")
    field(where, "window", _window_words(verdict, unit), "bold")
    field(where, "by belt", _range_words(rules.by_belt, unit))
    field(where, "by duty", _duty_words(rules.by_duty, unit))
    field(where, "by target", _target_words(rules.by_target, unit))
    where.print()
    _ruler(where, found, unit)
    noted = [words for words in rules.warnings if words not in cautions]
    for words in (*noted, *(f"what would open it: {way}" for way in rules.bounds.opens)):
        field(where, "note", words)
    for words in notes:
        field(where, "assumed", words)
    if found.demand is not None:
        _draw_demand(where, found.demand, unit)
    if found.marks_apart_mm is not None:
        field(where, "tape", _tape_words(found.marks_apart_mm))
    _draw_axis(where, found, unit)
    for i, words in enumerate(_sources(found)):
        field(where, "sources" if i == 0 else "", words)


def _window_words(window: Window | None, unit: str) -> str:

    if window is None:
        return "none: see below"
    if window.high_n is None and window.low_n is not None:
        return f"{force(window.low_n, unit)} or more, preload; the upper end is not known"
    if window.low_n is None and window.high_n is not None:
        return f"up to {force(window.high_n, unit)}, preload; the lower end is not known"
    best = "" if window.best_n is None else f", {force(window.best_n, unit)} best"
    basis = f" ({window.basis_words})" if window.basis_words else ""
    ends = f"{force(window.low_n or 0.0, unit)} to {force(window.high_n or 0.0, unit)}"
    return f"{ends}{best}{basis}, preload"


def _range_words(bounds: Range, unit: str) -> str:
    return f"{_end_words(bounds.low, unit, 'from')}; {_end_words(bounds.high, unit, 'to')}"


def _end_words(end: Bound | None, unit: str, word: str) -> str:

    if end is None:
        return f"{word} not known"
    return f"{word} {force(max(0.0, end.newtons), unit)} ({end.rule})"


def _duty_words(bounds: Range | None, unit: str) -> str:
    if bounds is None:
        return "not given: --drive with mass, acceleration, forces, or torque"
    return ("EMPTY: " if bounds.empty else "") + _range_words(bounds, unit)


def _tape_words(apart_mm: tuple[float, float, float]) -> str:
    """Return how far apart two marks stand at low, best and high, and what a tape can tell."""
    low, best, high = (f"{mm:.1f}" for mm in apart_mm)
    steps = (apart_mm[2] - apart_mm[0]) / (2 * TAPE_MM)
    tells = "tells slack from tight, no more" if steps < TELLS_STEPS else "tells these"
    if steps < 1:
        tells = "cannot tell these apart"
    return (
        f"two marks 1000 mm apart on the slack belt stand {low} mm apart at low, {best} at best, "
        f"{high} at high; a tape read to {TAPE_MM:g} mm {tells}"
    )


def _target_words(window: Window | None, unit: str) -> str:
    if window is None:
        return "not given: --target"
    return f"{_window_words(window, unit)} ({window.low_rule})"


@dataclass(frozen=True, slots=True)
class Strip:
    """One answer on the ruler, in newtons; an open end is None."""

    label: str
    low: float | None
    high: float | None

    def ends(self) -> list[float]:
        """Return the ends that are known."""
        return [max(0.0, n) for n in (self.low, self.high) if n is not None]


def _ruler(where: Console, found: WindowReport, unit: str, *, short: bool = False) -> None:
    per, strips, groups = in_newtons(unit), _strips(found), _groups(found)
    most = _most(found)
    points = [n for strip in strips for n in strip.ends()]
    points += [m.newtons for group in groups for m in group if m.label != "break"]
    made = scale_over([min(n, most) / per for n in (0.0, *points)])
    if made is None or not points:
        return
    ruler = TextRuler(made, unit, where.width, signs_for(where))
    ends = [
        (
            made.low if strip.low is None else max(0.0, strip.low / per),
            made.high if strip.high is None else max(0.0, strip.high / per),
        )
        for strip in strips
    ]
    if short:
        labels, rail = ruler.axis(*ends[-1:])
        line(where, unit, labels)
        line(where, "window", rail)
        return
    labels, rail = ruler.axis()
    line(where, unit, labels)
    line(where, "", rail)
    for strip, (first, last) in zip(strips, ends, strict=True):
        line(where, strip.label, ruler.row((first, last, ruler.signs.strip)))
    lettered = list(zip(LETTERS, groups, strict=False))
    near = [(m.newtons / per, x) for x, g in lettered for m in g if m.newtons <= made.high * per]
    line(where, "marks", ruler.row(points=near))
    where.print()
    for letter, group in lettered:
        _mark_line(where, letter, group, unit)
    where.print()


def _mark_line(where: Console, letter: str, group: list[ReferenceValue], unit: str) -> None:

    numbers = " to ".join(dict.fromkeys(force(m.newtons, unit) for m in group))
    field(where, f"  {letter}", f"{numbers}  {group[0].label} ({group[0].how_known})")


def _strips(found: WindowReport) -> list[Strip]:
    """Return each answer that can be drawn, and the window."""
    rules, drawn = found.windows, list[Strip]()
    for label, bounds in (("by belt", rules.by_belt), ("by duty", rules.by_duty)):
        if bounds is not None and not bounds.empty and (bounds.low or bounds.high):
            low = None if bounds.low is None else bounds.low.newtons
            high = None if bounds.high is None else bounds.high.newtons
            drawn.append(Strip(label, low, high))
    for label, window in (("by target", rules.by_target), ("window", rules.verdict)):
        if window is not None:
            drawn.append(Strip(label, window.low_n, window.high_n))
    return drawn


def _most(found: WindowReport) -> float:
    """Return where the ruler ends at the latest."""
    verdict = found.windows.verdict
    return inf if verdict is None or verdict.high_n is None else REACH * verdict.high_n


def _groups(found: WindowReport) -> list[list[ReferenceValue]]:
    """Return the marks, low to high, both ends of one set point together."""
    groups: dict[tuple[str, str], list[ReferenceValue]] = {}
    for mark in found.windows.marks:
        if mark.label != "allowable":
            groups.setdefault((mark.label, mark.source), []).append(mark)
    return list(groups.values())


def _draw_demand(where: Console, demand: Demand, unit: str) -> None:

    field(where, "drive", f"{demand.drive}: {DRIVE_NAMES[demand.drive]}")
    parts = ", ".join(f"{name} {force(n, unit)}" for name, n in demand.parts if n)
    each = " on each belt" if demand.belts > 1 else ""
    field(where, "pull", f"{force(demand.peripheral_n, unit)}{each} ({parts})")
    field(where, "slack side", f"loses {demand.share_rule} ({demand.share_source})")
    if demand.pulley is not None:
        field(where, "mesh", f"{demand.pulley.mesh} teeth, {demand.pulley.mesh_factor:.0%} rating")


def _draw_axis(where: Console, found: WindowReport, unit: str) -> None:

    if found.preload_n is not None and (found.axis or found.scale_error is not None):
        where.print()
        field(where, "at", f"{force(found.preload_n, unit)}, {found.preload_from}")
    if found.axis:
        _axis_table(where, found.axis, unit)
    if found.scale_error is not None:
        um = found.scale_error * 1e6
        words = f"{um:.0f} um more in a metre than a slack belt ({100 * found.scale_error:.3f} %)"
        field(where, "scale", words)
    if found.steps_per_mm is not None:
        field(where, "steps/mm", f"{found.steps_per_mm:.4f} with this preload")
    if found.warm_n is not None:
        field(where, "warmth", f"changes the tension by {force(found.warm_n, unit, '+.1f')}")


def _axis_table(where: Console, points: tuple[AxisPoint, ...], unit: str) -> None:

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("at mm", "N/mm", "stretch um", "lost um", "Hz", f"slack at {unit}"):
        table.add_column(title, justify="right")
    for p in points:
        table.add_row(
            f"{p.position_m * 1e3:.0f}",
            f"{p.stiffness_n_per_m / 1e3:.3g}",
            f"{p.stretch_m * 1e6:.0f}",
            "-" if p.lost_motion_m is None else f"{p.lost_motion_m * 1e6:.0f}",
            "-" if p.resonance_hz is None else f"{p.resonance_hz:.0f}",
            f"{in_unit(p.slackens_at_n, unit, FORCE):.0f}",
        )
    where.print(Padding(table, (0, 0, 0, MARGIN), expand=False))
