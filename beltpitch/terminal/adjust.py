"""``beltpitch adjust``: from the reading now to the target, which way and how far to turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import radians
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltpitch import parsing
from beltpitch.advice.adjust import Setup, ceiling, next_step
from beltpitch.advice.limits import Limits, limits_of
from beltpitch.advice.recommendation import recommended
from beltpitch.advice.safety import short_caution
from beltpitch.advice.tensioner import Tensioner, lead_m
from beltpitch.advice.window import WITHIN
from beltpitch.belts import drives
from beltpitch.belts.span import from_pulleys, toothed
from beltpitch.errors import CannotTell, RequestError
from beltpitch.present.text import force, interval
from beltpitch.reading import COVERAGE, read, typed_reading
from beltpitch.session.verdict import SCHEMA, in_newtons, scale_over
from beltpitch.store.entries import USUAL_WRAP
from beltpitch.terminal import drawing
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import (
    COLOURS,
    TextRuler,
    console,
    field,
    heading,
    line,
    signs_for,
)
from beltpitch.terminal.reading_view import window
from beltpitch.uncertainty import Estimate, rectangular
from beltpitch.units import ANGLE, FORCE, LENGTH, PERCENT, STIFFNESS, TURN, parse, positive

if TYPE_CHECKING:
    from beltpitch.advice.adjust import AdjustStep
    from beltpitch.belts.catalogue import Belt
    from beltpitch.store.belt_request import BeltRequest
    from beltpitch.store.entries import TensionerEntry

TENSION_LIMIT = 0.05  # of a typed tension without a doubt: project decision
LENGTH_KIND, FORCE_KIND = "LENGTH", "FORCE"
_Text = str | None


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(adjust)


def adjust(
    words: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[NAME] [FILE]...",
            help="A belt of the machine file, which may know target, loop and tensioner; then "
            "recordings instead of typed readings: before, and after each turn.",
            show_default=False,
        ),
    ] = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    span: o.SpanOption = None,
    ends: o.EndsOption = None,
    target: o.TargetOption = None,
    within: o.WithinOption = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            "--reading", help='Tension before the first turn and after each: "30 +/- 1 N".'
        ),
    ] = None,
    frequency: Annotated[
        list[str] | None,
        typer.Option(*o.FREQUENCY, help='The same as frequencies: "66.3 Hz"; needs --span.'),
    ] = None,
    slack: Annotated[
        bool, typer.Option("--slack", help="The belt is too slack to sound at all.")
    ] = False,
    turned: Annotated[
        list[str] | None,
        typer.Option(
            "--turned", help='Each turn made, tightening positive: "1/4", "3 flats", "-90 deg".'
        ),
    ] = None,
    loop: Annotated[
        _Text,
        typer.Option("--loop", help='Belt under tension, clamp to clamp or round: "2400 mm".'),
    ] = None,
    centre: Annotated[
        _Text, typer.Option("--centre", help='Centre distance instead of --loop: "300 mm".')
    ] = None,
    teeth: Annotated[
        list[int] | None, typer.Option("--teeth", help="Teeth of the two pulleys, with --centre.")
    ] = None,
    drive: Annotated[
        _Text, typer.Option("--drive", help="looped, fixed, crossed or rotary: how it tightens.")
    ] = None,
    tensioner: Annotated[
        _Text,
        typer.Option("--tensioner", help="idler (a pulley or motor moves) or clamp (belt end)."),
    ] = None,
    wrap: Annotated[
        _Text, typer.Option("--wrap", help="Wrap on the idler, 180 deg by default.")
    ] = None,
    thread: Annotated[
        _Text,
        typer.Option("--thread", help='The screw: "M4" (coarse), "M8x1" or its pitch, "0.7 mm".'),
    ] = None,
    frame_stiffness: Annotated[
        _Text, typer.Option("--frame-stiffness", help='At the tensioner: "400 N/mm".')
    ] = None,
    ea: Annotated[_Text, typer.Option("--ea", help='Axial stiffness EA: "29 kN".')] = None,
    limit: Annotated[
        _Text,
        typer.Option(
            "--limit",
            help='Never pass this tension: "120 N". Where no maximum of the belt is published, it '
            "is what its maker allows.",
        ),
    ] = None,
    joined: Annotated[
        bool | None,
        typer.Option("--joined", help="The belt was cut and joined: it may carry half."),
    ] = None,
    level: Annotated[
        bool, typer.Option("--level", help="The axis is level and cannot drop.")
    ] = False,
    pair: Annotated[bool, typer.Option("--pair", help="The belt is one of a pair.")] = False,
    machine: k.MachineOption = None,
    details: o.DetailsOption = False,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Turn a tensioner the right way by the right amount, step by step from below."""
    options = locals()
    o.checked_unit(unit)
    names, files = _parted(words or [])
    asked = _one(k.asked_for(names, machine, _belt_alone(options), ends=ends, within=within))
    own = asked.entry
    target, limit = target or own.target, limit or own.limit
    loop = loop if loop or centre else own.loop
    share = positive(own.within or WITHIN, PERCENT, option="--within").value
    best = None if target is not None else _recommended(asked.belt, joined=joined or own.joined)
    wanted = positive(target or best or "", FORCE, option="--target").value
    screw = _screw(own.tensioner, drive, tensioner, wrap, thread, frame_stiffness)
    lengths = (loop, centre, teeth)
    setup = _setup(asked.belt, screw, lengths, ea, limit, joined=joined or own.joined)
    readings, echoes = _readings(files, reading or [], frequency or [], asked, slack=slack)
    turns = [parse(text, TURN, option="--turned").value for text in turned or []]
    step = next_step(
        setup,
        wanted,
        readings,
        turns,
        within=share,
        default_tolerance=own.within is None,
        vertical=False if level else None,
        pair=pair or _of_a_pair(asked),
    )
    given = (
        ("--target", target, FORCE_KIND),
        ("--loop", loop, LENGTH_KIND),
        ("--centre", centre, LENGTH_KIND),
        ("--limit", limit, FORCE_KIND),
        ("--ea", ea, FORCE_KIND),
    )
    aim = () if best is None else (f"target {best}, what is recommended for this belt",)
    said = (*aim, *echoes, *asked.echoes, *o.bare_numbers(given), *_belt_notes(asked.belt))
    notes = tuple(dict.fromkeys(said))
    way = "recording" if files else "--frequency" if frequency else "--reading"
    job = _Job(setup, wanted, share, readings, turns, step, notes, way)
    if json:
        drawing.print_json({"schema": SCHEMA, "adjust": _as_json(job)})
    else:
        (_draw if details else _draw_short)(job, unit)


@dataclass(frozen=True, slots=True)
class _Job:
    """What was asked and what is answered."""

    setup: Setup
    target_n: float
    within: float
    readings: Sequence[Estimate]
    turned: Sequence[float]
    step: AdjustStep
    notes: tuple[str, ...]
    way: str


# --- reading ------------------------------------------------------------------------------------


def _belt_notes(belt: Belt | None) -> tuple[str, ...]:
    return belt.notes if belt else ()


def _parted(words: Sequence[Path]) -> tuple[list[str], list[Path]]:
    """Return the belt's name, if the first word is no file, and the recordings."""
    named = bool(words) and not words[0].exists() and not words[0].suffix
    return [str(word) for word in words[:named]], list(words[named:])


def _belt_alone(options: dict[str, Any]) -> dict[str, Any]:
    """Return what describes the belt; the target is judged here, with its own words."""
    return {**k.belt_options(options), "target": None}


def _one(found: Sequence[BeltRequest]) -> BeltRequest:
    if len(found) > 1:
        names = " or ".join(str(each.name) for each in found)
        raise RequestError(f"one tensioner at a time: name one belt, {names}")
    return found[0]


def _of_a_pair(asked: BeltRequest) -> bool:
    pairs = asked.machine.pairs.values() if asked.machine else ()
    return any(asked.name in pair.belts for pair in pairs)


def _screw(
    entry: TensionerEntry | None,
    drive: str | None,
    kind: str | None,
    wrap: str | None,
    thread: str | None,
    frame: str | None,
) -> Tensioner:
    """Return the tensioner that the options describe, the machine file where they say nothing."""
    if entry is not None:
        kind = kind if kind or drive else entry.pull
        wrap, thread, frame = wrap or entry.wrap, thread or entry.lead, frame or entry.frame
    return _tensioner(drive, kind, wrap or USUAL_WRAP, thread or "", frame)


def _tensioner(
    drive: str | None, kind: str | None, wrap: str, thread: str, frame: str | None
) -> Tensioner:

    if kind is None:
        if drive is None:
            raise RequestError(
                "how does the screw pull? add --tensioner idler (it moves a pulley or the motor) "
                "or --tensioner clamp (it pulls a belt end straight)"
            )
        kind = "idler" if drives.drive(drive).doubling > 1 else "clamp"
    return Tensioner(
        pull=kind,
        lead_m=_lead(thread),
        wrap_rad=radians(parse(wrap, ANGLE, option="--wrap").value),
        frame_n_per_m=None
        if frame is None
        else positive(frame, STIFFNESS, option="--frame-stiffness").value,
    )


def _lead(thread: str) -> float:

    if not thread:
        raise RequestError(
            'which thread has the screw? give --thread "M4" (coarse), "M8x1" or its pitch, "0.7 mm"'
        )
    return lead_m(thread, option="--thread")


def _recommended(belt: Belt | None, *, joined: bool) -> str:
    """Return the tension that is recommended for a belt, for a request without a target.

    Raises
    ------
    RequestError
        If none is known.
    """
    found = None if belt is None else recommended(belt, joined=joined)
    if found is None:
        raise RequestError('give the wanted tension: --target "60 N"')
    return f"{found.best.newtons:.3g} N"


def _setup(
    belt: Belt | None,
    tensioner: Tensioner,
    lengths: tuple[str | None, str | None, list[int] | None],
    ea: str | None,
    limit: str | None,
    *,
    joined: bool,
) -> Setup:

    loop_m = _loop(belt, *lengths)
    most = [] if limit is None else [positive(limit, FORCE, option="--limit").value]
    known = Limits() if belt is None else limits_of(belt, joined=joined)
    safe = known.safe
    if most and safe is not None and not safe.published:
        safe = None  # the user knows what the general rule can only guess
    if safe is None and not most:
        raise RequestError(
            'nothing is known of what this belt may carry: name it, --belt "2GT 9 mm", or give '
            'what its maker allows, --limit "120 N"'
        )
    most += [] if known.allowable is None else [known.allowable.newtons]
    return Setup(
        tensioner=tensioner,
        loop_m=loop_m,
        ea=_stiffness(belt, ea),
        allowable_n=min(most, default=None),
        limit=safe,
    )


def _stiffness(belt: Belt | None, ea: str | None) -> Estimate | None:

    if ea is not None:
        given = positive(ea, FORCE, option="--ea")
        return Estimate.single(given.value, given.u or 0.0, name="EA", key="EA")
    if belt is None or belt.ea_n is None:
        return None
    return belt.ea_n.estimate("EA", "EA")


def _loop(
    belt: Belt | None, loop: str | None, centre: str | None, teeth: list[int] | None
) -> float:

    if loop is not None and centre is not None:
        raise RequestError("give either --loop or --centre")
    if loop is not None:
        return positive(loop, LENGTH, option="--loop").value
    if centre is not None:
        return _round(belt, positive(centre, LENGTH, option="--centre").value, teeth or [])
    if belt is not None and belt.length_m is not None:
        return belt.length_m
    raise RequestError(
        'how long is the belt under tension? add --loop "2400 mm" (clamp to clamp, or once round), '
        'or --centre "300 mm" --teeth 20 --teeth 40'
    )


def _round(belt: Belt | None, centre_m: float, teeth: list[int]) -> float:

    if len(teeth) != 2 or belt is None or belt.pitch_m is None:  # noqa: PLR2004
        raise RequestError(
            'a centre distance needs the belt and two pulleys: --belt "2GT 9 mm" --teeth 20 '
            "--teeth 40"
        )
    a, b = (toothed(z, belt.pitch_m) for z in teeth)
    return from_pulleys(Estimate(centre_m), a, b).belt_length.value


def _readings(
    files: list[Path],
    tensions: list[str],
    frequencies: list[str],
    asked: BeltRequest,
    *,
    slack: bool,
) -> tuple[list[Estimate], list[str]]:
    """Return the preloads in order, and the defaults taken."""
    ways = [bool(files), bool(tensions), bool(frequencies), slack]
    if sum(ways) != 1:
        raise RequestError(
            'give the readings in one way, in order: --reading "30 N" or --frequency "66.3 Hz" for '
            "each, or recordings; or --slack if the belt gives no tone"
        )
    if slack:
        return [], []
    if tensions:
        return _typed_tensions(tensions)
    if asked.belt is None or asked.span is None:
        raise RequestError(
            'a tension from a tone needs belt and span: add --belt "2GT 9 mm" --span "412 +/- 1 mm"'
        )
    return _heard(files, frequencies, asked)


def _typed_tensions(texts: list[str]) -> tuple[list[Estimate], list[str]]:

    found, said = [], []
    for text in texts:
        given = positive(text, FORCE, option="--reading")
        u = given.u
        if u is None:
            u = rectangular(TENSION_LIMIT * given.value)
            said.append(f"reading {given.text}, taken as +/- {TENSION_LIMIT:.0%}")
        # linear mass and span make most of it, and they are the same in every reading
        found.append(Estimate.single(given.value, u, name="reading", key="reading"))
    return found, said


def _heard(
    files: list[Path], frequencies: list[str], asked: BeltRequest
) -> tuple[list[Estimate], list[str]]:

    made = [
        typed_reading(parsing.typed([text]), asked.belt, asked.span, key=f"typed {i}")
        for i, text in enumerate(frequencies)
    ]
    made += [
        read(path, belt=asked.belt, span=asked.span, key=f"{i}") for i, path in enumerate(files)
    ]
    found: list[Estimate] = []
    for one in made:
        if one.preload is None:
            raise CannotTell(f"{one.source}: {one.warnings[0]}")
        found.append(one.preload)
    return found, list(dict.fromkeys(words for one in made for words in one.echoes))


# --- showing ------------------------------------------------------------------------------------


def _as_json(job: _Job) -> dict[str, Any]:

    step, rate, ea, limit = job.step, job.step.rate, job.step.ea, job.setup.limit
    now = job.readings[-1] if job.readings else None
    return {
        "target_n": job.target_n,
        "within": job.within,
        "window_n": [step.window.low_n, step.window.high_n],
        "readings_n": [r.value for r in job.readings],
        "interval_n": None if now is None else list(now.interval(COVERAGE)),
        "verdict": step.word,
        "turned": list(job.turned),
        "action": step.action,
        "turns": step.turns,
        "flats": step.flats,
        "degrees": step.degrees,
        "says": step.says,
        "expected_n": None if step.expected_n is None else list(step.expected_n),
        "rate_n_per_turn": None if rate is None else rate.value,
        "rate_u_n_per_turn": None if rate is None else rate.u,
        "ea_n": None if ea is None else ea.value,
        "ea_u_n": None if ea is None else ea.u,
        "allowable_n": job.setup.allowable_n,
        "limit_n": None if limit is None else limit.newtons,
        "limit_basis": None if limit is None else limit.basis,
        "ceiling_n": ceiling(job.setup, job.readings),
        "loop_mm": job.setup.loop_m * 1e3,
        "found": list(step.notes),
        "cautions": list(step.cautions),
        "notes": list(job.notes),
    }


def _draw_short(job: _Job, unit: str) -> None:
    """Print the short answer: at most a dozen lines."""
    where, step = console(), job.step
    heading(where, f"adjust to {force(job.target_n, unit)} within {job.within:.0%}")
    for words in job.notes:
        if words.startswith("target"):
            field(where, "assumed", words)
    if step.word is not None:
        words = f"{interval(job.readings[-1], unit)}   {step.word}"
        field(where, "now", words, COLOURS[step.word])
    _ruler(job, unit, short=True)
    field(where, "do next", step.says, "bold")
    if step.expected_n is not None:
        low, middle, high = (force(n, unit) for n in step.expected_n)
        field(where, "expect", f"{middle} (9 times in 10 between {low} and {high})")
    for words in step.notes:
        field(where, "found", words)
    if step.turns:
        field(
            where, "then", f"the same command with --turned {step.turns:.3g} and the new {job.way}"
        )
    field(where, "caution", short_caution(turn=True))
    field(where, "more", "--details: the screw, what was assumed, all cautions")


def _draw(job: _Job, unit: str) -> None:
    """Print everything."""
    where, step = console(), job.step
    heading(where, f"adjust to {force(job.target_n, unit)} within {job.within:.0%}")
    if step.word is not None:
        words = f"{interval(job.readings[-1], unit)}   {step.word}"
        field(where, "now", words, COLOURS[step.word])
    field(where, "window", window(step.window, unit))
    field(where, "do", step.says, "bold")
    if step.expected_n is not None:
        low, middle, high = (force(n, unit) for n in step.expected_n)
        field(where, "expect", f"{middle} (nine times in ten between {low} and {high})")
    if step.rate is not None:
        words = f"{force(step.rate.value, unit)} a turn, u {force(step.rate.u, unit)}"
        field(where, "screw", words)
    for words in step.notes:
        field(where, "found", words)
    where.print()
    _ruler(job, unit)
    if step.turns:
        field(where, "then", _again(job))
    for words in job.notes:
        field(where, "assumed", words)
    for i, words in enumerate(step.cautions):
        field(where, "caution" if i == 0 else "", words)


def _again(job: _Job) -> str:
    return (
        f"turn, settle, and run the same command again with --turned {job.step.turns:.3g} (or what "
        f"was really turned) and the new {job.way} added"
    )


def _ruler(job: _Job, unit: str, *, short: bool = False) -> None:
    where, per = console(), in_newtons(unit)
    low, high = ((n or 0.0) / per for n in (job.step.window.low_n, job.step.window.high_n))
    told = [r.value / per for r in job.readings]
    expected = [n / per for n in job.step.expected_n or ()]
    made = scale_over([0.0, low, high, *told, *expected])
    if made is None:
        return
    ruler = TextRuler(made, unit, where.width, signs_for(where))
    signs = ruler.signs
    labels, rail = ruler.axis((low, high)) if short else ruler.axis()
    line(where, unit, labels)
    line(where, "target" if short else "", rail)
    points = _readings_drawn(told, signs.tick, signs.mean)
    bars = [(expected[0], expected[-1], signs.bar)] if expected else []
    if short:
        marks = [(expected[1], signs.mark)] if expected else []
        line(where, "", ruler.row(*bars, points=[*marks, *points]))
        return
    line(where, "target", ruler.row((low, high, signs.strip)))
    line(where, "readings", ruler.row(points=points))
    if expected:
        line(where, "expected", ruler.row(*bars, points=[(expected[1], signs.mark)]))
    where.print()


def _readings_drawn(told: list[float], tick: str, mean: str) -> list[tuple[float, str]]:
    """Return earlier readings as ticks and the last as a diamond."""
    return [(n, tick) for n in told[:-1]] + [(n, mean) for n in told[-1:]]
