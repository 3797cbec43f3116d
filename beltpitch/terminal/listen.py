"""``beltpitch listen``: pluck beside the laptop, read the tension."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.table import Table

from beltpitch import parsing
from beltpitch.audio.microphone import find_input, inputs, open_microphone
from beltpitch.errors import RequestError
from beltpitch.session.live import Measuring, dead_words
from beltpitch.session.verdict import SCHEMA, as_json, judged
from beltpitch.store.audio_clips import PluckSounds
from beltpitch.store.belt_request import subject_of as subject_of
from beltpitch.terminal import drawing, reading_view
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.clock_option import Clock, ClockOption, clock_given, clock_of
from beltpitch.terminal.drawing import console
from beltpitch.terminal.keyboard import Keys
from beltpitch.terminal.live_loop import (
    JsonLines,
    PlainLines,
    Run,
    beeper_for,
    exit_code,
    folder_for,
    print_line,
)
from beltpitch.terminal.live_screen import Screen
from beltpitch.terminal.prompts import ask_for, on_terminal
from beltpitch.units import TIME, positive

if TYPE_CHECKING:
    from beltpitch.audio.microphone import Microphone
    from beltpitch.pitch.results import FrequencyRange
    from beltpitch.session.session import Subject, Way
    from beltpitch.store.machine_file import Machine
    from beltpitch.terminal.live_loop import Face

DeviceOption = Annotated[
    str | None, typer.Option("--device", help="Sound input: its number or a part of its name.")
]
PlucksOption = Annotated[
    int | None, typer.Option("--plucks", min=1, help="Stop after so many plucks were taken.")
]
ForOption = Annotated[
    str | None, typer.Option("--for", help='Stop after this time; a bare number is in s: "60 s".')
]
SaveOption = Annotated[
    Path | None,
    typer.Option("--save", help="Folder to keep every pluck in, as FLAC with its numbers."),
]
BeepOption = Annotated[
    bool, typer.Option("--beep", help="Answer each pluck: one beep for taken, two for not.")
]
SidesOption = Annotated[
    bool,
    typer.Option(
        "--sides", help="Read the strand after arriving from each side, which gives the preload."
    ),
]


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(listen)


@dataclass(frozen=True, slots=True)
class Live:
    """What the options say about a live run.

    Parameters
    ----------
    device
        The input.
    plucks, seconds
        After which the run ends.
    save
        Where plucks are kept.
    beep
        Whether plucks are answered.
    json, unit
        How it is shown.
    clock
        Rate error of the input, as given.
    machine
        Whose file may hold it.
    details
        Whether everything is shown at the end.
    sounds
        Where plucks are collected for the book.
    """

    device: str | None
    plucks: int | None
    seconds: float | None
    save: Path | None
    beep: bool
    json: bool
    unit: str
    clock: Clock | None = None
    details: bool = False
    machine: Machine | None = None
    sounds: PluckSounds | None = None

    @property
    def keeps_sound(self) -> bool:
        """Whether each pluck's sound is wanted."""
        return self.save is not None or self.sounds is not None


def listen(
    name: Annotated[
        str | None,
        typer.Argument(metavar="[NAME]", help="A belt of the machine file.", show_default=False),
    ] = None,
    devices: Annotated[bool, typer.Option("--devices", help="List the sound inputs.")] = False,
    device: DeviceOption = None,
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    span: o.SpansOption = None,
    ends: o.EndsOption = None,
    low: o.FromOption = None,
    high: o.ToOption = None,
    target: o.TargetOption = None,
    within: o.WithinOption = None,
    strand: o.StrandOption = None,
    loop_sides: o.LoopSidesOption = None,
    strand_limit: o.StrandLimitOption = None,
    detent: o.DetentOption = None,
    pulley_teeth: o.PulleyTeethOption = None,
    rail_friction: o.RailFrictionOption = None,
    sides: SidesOption = False,
    parks: o.ParksOption = False,
    travel: o.TravelOption = None,
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
    """Listen to a microphone: each pluck at once, the mean with its interval, the verdict."""
    options = locals()
    o.checked_unit(unit)
    if devices:
        return show_devices(json=json)
    live = Live(device, plucks, seconds_of(last), save, beep, json, unit, clock=clock_given(clock))
    live = replace(live, details=details)
    over = k.belt_options(options)
    way = way_of(strand, sides=sides, parks=parks, travel=travel)
    if name is None and not json and on_terminal():
        told = ask_for(over, ends, machine)
        name, over, ends = told.name, told.over, told.ends
    asked = k.asked_for([name] if name else [], machine, over, ends=ends, within=within)
    if len(asked) != 1:
        raise RequestError(f"{name} is a pair: beltpitch pair {name}")
    keeping = k.Keeping.asked(options)
    keeping.wanted(named=True)  # refuses what contradicts itself before anything is plucked
    subject = subject_of(asked[0], name or "belt", way, strand, travel, asking_range(low, high))
    live = replace(live, machine=asked[0].machine, sounds=sounds_for(keeping, way))
    live, measuring = run_live(live, [subject], lambda measuring: measuring.complete)
    code = summed_up(live, measuring)
    offer_to_keep(live, measuring, asked, keeping, way)
    return code


def offer_to_keep(
    live: Live, measuring: Measuring, asked: Sequence[k.BeltRequest], keeping: k.Keeping, way: Way
) -> None:
    """Keep what was read in the book, if the options or the person say so."""
    kept, flacs = [], []
    for i, (one, verdicts) in enumerate(zip(asked, measuring.verdicts, strict=True)):
        readings = [v.reading for v in verdicts]
        joined = k.one_for_the_book(readings, way) if readings else []
        kept += [(one, judged(reading, one.window)) for reading in joined]
        for reading in joined:
            used = [p.onset_s for p in reading.plucks if p.used]
            flacs.append(None if live.sounds is None else live.sounds.flac(i, used))
    inputs = {"clock": live.clock.text} if live.clock else {}
    k.offered(kept, keeping, ask=not live.json and on_terminal(), flacs=flacs, inputs=inputs)


def sounds_for(keeping: k.Keeping, way: Way) -> PluckSounds | None:
    """Return where plucks are collected for the book, if their sound is to be kept.

    Raises
    ------
    RequestError
        If more than one strand or park is read, whose plucks could not be told apart again.
    """
    if not keeping.sound:
        return None
    if way != "one":
        raise RequestError(
            "--sound keeps the plucks of one strand at one place; leave it out, or keep every "
            "pluck in a folder: --save DIR"
        )

    return PluckSounds()


def run_live(
    live: Live,
    subjects: Sequence[Subject],
    over: Callable[[Measuring], bool],
    **options: Any,
) -> tuple[Live, Measuring]:
    """Listen until something ends it; return what was measured, and how.

    Parameters
    ----------
    live
        As the options have it.
    subjects
        The belt, or the two of a pair.
    over
        Whether the measurement has reached its end.
    options
        Of `beltpitch.session.live.Measuring`, for a pair.
    """
    with opened(live.device) as microphone:
        clock = clock_of(live.clock, live.machine, microphone.input.name)
        live, said = replace(live, clock=clock), (clock.echo,) if clock else ()
        measuring = Measuring(
            microphone.rate_hz,
            [replace(each, echoes=(*each.echoes, *said)) for each in subjects],
            plucks=live.plucks,
            keep_sound=live.keeps_sound,
            rate_error=clock.error if clock else None,
            cautions=[words for words in microphone.warnings if words != microphone.silence],
            dead=dead_words(microphone.silence),
            answers=Keys.there(),
            **options,
        )
        announce(microphone, said)
        for words in dict.fromkeys(words for each in subjects for words in each.doubts):
            sys.stderr.write(f"beltpitch: {words}\n")
        follow(live, microphone, measuring, over=lambda: over(measuring))
    return live, measuring


def announce(microphone: Microphone, also: Sequence[str]) -> None:
    """Say which input is heard, and how."""
    told = [f"listening to {microphone.input.name} at {microphone.rate_hz:.0f} Hz"]
    if microphone.channel_note:
        told.append(microphone.channel_note)
    sys.stderr.write(f"beltpitch: {', '.join([*told, *also])}\n")


def summed_up(live: Live, measuring: Measuring) -> int:
    """Show what was read, as for a recording; return the exit code."""
    verdicts = [v for each in measuring.verdicts for v in each]
    if live.json:
        print_line({"schema": SCHEMA, "readings": [as_json(v) for v in verdicts]})
    elif verdicts:
        drawing.console().print()
        reading_view.show(verdicts, live.unit, heard=True, details=live.details)
    return said_why(measuring, exit_code(measuring.verdicts))


def said_why(measuring: Measuring, code: int, why: str = "") -> int:
    """Say on standard error why there is no answer, if there is none; return the exit code."""
    if code and why:
        sys.stderr.write(f"beltpitch: {why}\n")
    elif code:
        told = [
            v[-1].reading.warnings[0] for v in measuring.verdicts if v and v[-1].reading.warnings
        ]
        why = [*told, *measuring.state.cautions, "no pluck was heard"][0]
        sys.stderr.write(f"beltpitch: {why}\n")
    return code


def follow(live: Live, microphone: Microphone, measuring: Measuring, *, over: Any) -> None:
    """Run the loop with the face, the keys, the beeper and the folder that were asked for."""
    folder = folder_for(live.save)
    with ExitStack() as stack:
        keys = stack.enter_context(Keys())
        beeper = beeper_for(beep=live.beep)
        if beeper is not None:
            stack.enter_context(beeper)
        face = face_for(live, measuring.names)
        run = Run(measuring, face, keys, beeper, folder, live.seconds, over, live.sounds)
        run.follow(microphone)


def face_for(live: Live, names: tuple[str, ...]) -> Face:
    """Return the face that fits the output."""
    if live.json:
        return JsonLines(names)
    where = console()
    if not where.is_terminal or where.is_dumb_terminal:
        return PlainLines(names, live.unit)

    return Screen(names, live.unit, where)


def opened(device: str | None) -> Microphone:
    """Open the input."""
    return open_microphone(device)


# --- what was asked for -------------------------------------------------------------------------


def seconds_of(text: str | None) -> float | None:
    """Return the time of ``--for`` in seconds."""
    if text is None:
        return None

    return positive(text, TIME, option="--for").value


def way_of(strand: Sequence[str] | None, *, sides: bool, parks: bool, travel: str | None) -> Way:
    """Return how a belt is read: one strand, both, from either side, or at two parks.

    Raises
    ------
    RequestError
        If the options contradict each other.
    """
    found = o.grouping(list(strand) if strand else None, parks=parks, travel=travel)
    if sides and found != "one":
        raise RequestError("--sides reads one strand: leave out --parks and the second --strand")
    return "sides" if sides else found


def asking_range(low: str | None, high: str | None) -> FrequencyRange | None:
    """Return the range of --from and --to."""
    return parsing.frequency_range(low, high)


# --- which inputs there are ---------------------------------------------------------------------


def show_devices(*, json: bool) -> int:
    """List the sound inputs; return the exit code."""
    found = inputs()
    if json:
        records = [
            {
                "number": each.index,
                "name": each.name,
                "host": each.host,
                "channels": each.channels,
                "rate_hz": each.rate_hz,
                "default": each.is_default,
                "loopback": each.is_loopback,
                "bluetooth": each.is_bluetooth,
            }
            for each in found
        ]
        drawing.print_json({"schema": 1, "listen": {"devices": records}})
        return 0 if found else 1
    if not found:
        find_input(None)  # says what is missing here, and the fix for this system
    _table(found)
    return 0


def _table(found: Sequence[Any]) -> None:

    table = Table(box=None, pad_edge=False)
    for head in ("", "number", "name", "system", "channels", "rate", ""):
        table.add_column(head, justify="right" if head in ("number", "channels") else "left")
    for each in found:
        marks = [("seems a loopback", each.is_loopback), ("seems Bluetooth", each.is_bluetooth)]
        table.add_row(
            "default" if each.is_default else "",
            str(each.index),
            each.name,
            each.host,
            str(each.channels),
            f"{each.rate_hz:.0f} Hz",
            ", ".join(words for words, true in marks if true),
        )
    console().print(table)
