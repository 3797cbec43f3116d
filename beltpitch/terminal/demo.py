"""``beltpitch demo``: a gantry pair in an invented workshop, recorded and read like any other.

The workshop, the machine and its tensions are made up. The recordings are synthesised, written as
WAV, and read through the very same path as real ones.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

from beltpitch import parsing
from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.belts.strand_tension import aim
from beltpitch.errors import RequestError
from beltpitch.reading import read
from beltpitch.session.verdict import SCHEMA, as_json, judged
from beltpitch.setup.strung_belt import strung
from beltpitch.terminal import options as o
from beltpitch.terminal import reading_view
from beltpitch.terminal.drawing import console, field, print_json

if TYPE_CHECKING:
    from beltpitch.reading import Reading

BELT, LINEAR_MASS = "2GT 9 mm", "12.6 +/- 0.1 g/m"
SPAN = "286 +/- 0.5 mm"
RATE_HZ = 48_000.0
TARGET, WITHIN = "30 N", "15%"
# name of the strand: tension in newtons as the story has it, seed of the sound
STORY = {"y-left": (30.4, 11), "y-right": (22.4, 12)}
SCENE = (
    "Tern Yard, a workshop that does not exist. Its gantry router Plover has two Y belts, "
    f"{BELT}, weighed at {LINEAR_MASS}, free span {SPAN} between pulley and clamp. The right one "
    "was slackened on purpose."
)


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(demo)


def demo(
    into: Annotated[
        Path | None,
        typer.Option("--into", help="Folder to write the recordings to; default: none are kept."),
    ] = None,
    details: o.DetailsOption = False,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> int:
    """Record and read the two belts of an invented gantry; no microphone needed."""
    o.checked_unit(unit)
    if into is not None:
        return _measured(into, json=json, unit=unit, kept=True, details=details)
    with TemporaryDirectory(prefix="beltpitch-") as folder:
        return _measured(Path(folder), json=json, unit=unit, kept=False, details=details)


def _measured(folder: Path, *, json: bool, unit: str, kept: bool, details: bool) -> int:

    window = strung(BELT, None, LINEAR_MASS, None, SPAN, "pulley,clamp", TARGET, WITHIN).window
    verdicts = [judged(r, window) for r in _readings(_recorded(folder))]
    if json:
        print_json({"schema": SCHEMA, "readings": [as_json(v) for v in verdicts]})
        return 0
    where = console()
    field(where, "demo", SCENE)
    story = ", ".join(f"{name} {n:g} N" for name, (n, _) in STORY.items())
    field(where, "made with", story)
    if kept:
        field(where, "written", f"{len(STORY)} recordings into {folder}")
    where.print()
    reading_view.show(verdicts, unit, heard=True, details=details)
    return 0


def _recorded(folder: Path) -> list[Path]:
    """Write the two recordings and return their paths."""
    belt = parsing.belt(BELT, linear_mass=LINEAR_MASS)
    span = parsing.span(SPAN, belt, ends="pulley,clamp")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RequestError(f"--into {folder}: cannot make this folder ({error.strerror})") from None
    paths = []
    for name, (tension_n, seed) in STORY.items():
        tone = aim(tension_n, belt, span)
        first, last = tone.partials_hz[0], tone.partials_hz[-1]
        top = len(tone.partials_hz)
        square = (last / first / top) ** 2  # (1 + B top^2)/(1 + B)
        sound = pluck_recording(
            first,
            rate_hz=RATE_HZ,
            inharmonicity=(square - 1) / (top**2 - square),
            decay_s=0.25,
            glide=0.004,
            scatter=0.002,
            hum_level=2e-3,
            noise=1e-3,
            seed=seed,
        )
        paths.append(folder / f"{name}.wav")
        save_sound(paths[-1], sound, RATE_HZ, overwrite=True)
    return paths


def _readings(paths: list[Path]) -> list[Reading]:

    belt = parsing.belt(BELT, linear_mass=LINEAR_MASS)
    return [read(p, belt=belt, span=SPAN, ends="pulley,clamp") for p in paths]
