"""What is typed on the command line stands over the machine file, even where it equals a default.

The list of options is made from the commands themselves: a new option that the machine file can
give too is checked here, or this file says why it is not.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from beltpitch.store.entries import BELT_KEYS, DUTY_KEYS, MACHINE_KEYS, PAIR_KEYS
from beltpitch.terminal.main import run_with
from tests.handbook.commands import every_command

Capture = pytest.CaptureFixture[str]

# An option by another name than its key: (table, key).
OTHER_NAMES = {
    ("adjust", "tensioner"): ("tensioner", "pull"),
    ("adjust", "thread"): ("tensioner", "lead"),
    ("adjust", "wrap"): ("tensioner", "wrap"),
    ("adjust", "frame_stiffness"): ("tensioner", "frame"),
    ("pair", "within"): ("pairs", "within"),
    ("pair", "target_within"): ("belts", "within"),
}
# An option that only shares its name with a key.
OTHER_THINGS = {
    "note": "a note about the reading",
    "book": "its own rule, tested with the book",
    ("adjust", "teeth"): "the two pulleys of --centre",
    ("adjust", "drive"): "tells the kind of tensioner where --tensioner does not",
    ("pair", "span"): "typed once it also says that both spans are equal",
    ("weigh", "mass"): "what the scale shows",
    ("weigh", "loop"): "the piece is a loop",
    ("weigh", "teeth"): "of the piece",
    ("machine add", "belts"): "the two of a new pair",
    ("tension", "travel"): "between two parks",
    ("recording", "travel"): "between two parks",
    ("listen", "travel"): "between two parks",
}
# For each key what the file says, and what is typed; the latter is the default where there is one.
VALUES: dict[str, tuple[Any, Any]] = {
    "belt": ("AT5 32 mm", "AT5 25 mm"),
    "width": ("30 mm", "25 mm"),
    "linear_mass": ("80 g/m", "90 g/m"),
    "construction": ("polyurethane, aramid cord", "polyurethane, steel cord"),
    "span": ("500 mm", "412 mm"),
    "ends": ("clamp", "pulley"),
    "strand": ("upper", "lower"),
    "target": ("120 N", "110 N"),
    "within": ("20 %", "10%"),
    "limit": ("300 N", "200 N"),
    "loop": ("3000 mm", "2400 mm"),
    "joined": (False, True),
    "drive": ("looped", "fixed"),
    "mass": ("4 kg", "3 kg"),
    "cross_mass": ("2 kg", "1 kg"),
    "acceleration": ("5 m/s^2", "3 m/s^2"),
    "force": ("60 N", "30 N"),
    "friction": ("8 N", "4 N"),
    "slope": ("90 deg", "0 deg"),
    "belts": (2, 1),
    "teeth": (30, 20),
    "wrap": ("120 deg", "180 deg"),
    "mesh": (6, 8),
    "torque": ("2 N m", "1 N m"),
    "radial": ("250 N", "300 N"),
    "power": ("60 W", "50 W"),
    "speed": ("1400 rpm", "1000 rpm"),
    "service_factor": (2.0, 1.0),
    "near": ("200 mm", "150 mm"),
    "travel": ("800 mm", "900 mm"),
    "frame": ("steel", "aluminium"),
    "pull": ("clamp", "idler"),
    "lead": ("0.5 mm", "0.7 mm"),
    "loop_sides": ("412 mm, 1200 mm", "412 mm, 900 mm"),
    "strand_limit": ("1 N", "2 N"),
    "detent": ("10 N mm", "20 N mm"),
    "pulley_teeth": (30, 20),
    "rail_friction": ("1 N", "2 N"),
}
FRAME_OF_SCREW = ("400 N/mm", "800 N/mm")  # the tensioner's key of the same name
PLAIN: dict[str, dict[str, Any]] = {
    "machine": {"name": "Plover", "frame": "aluminium"},
    "belts": {"belt": "AT5 25 mm", "span": "412 mm", "loop": "2400 mm", "target": "110 N",
              "axis": "y"},
    "duty": {"drive": "fixed", "mass": "3 kg", "acceleration": "3 m/s^2", "teeth": 20,
             "near": "150 mm", "travel": "900 mm", "torque": "1 N m"},
    "tensioner": {"pull": "idler", "lead": "0.7 mm"},
    "pairs": {},
}  # fmt: skip
CROSSED = {"drive": "crossed"}
ROTARY = {"drive": "rotary", "mass": None, "acceleration": None, "torque": None,
          "power": "50 W", "speed": "1000 rpm", "near": None}  # fmt: skip
# What else must stand in a table for a key to mean something.
NEEDS: dict[str, dict[str, dict[str, Any]]] = {
    "cross_mass": {"duty": CROSSED},
    "power": {"duty": ROTARY},
    "speed": {"duty": ROTARY},
    "service_factor": {"duty": ROTARY},
    "width": {"belts": {"belt": "AT5"}},
    "detent": {"belts": {"pulley_teeth": 20}},
    "pulley_teeth": {"belts": {"detent": "20 N mm"}},
}
RUN = {
    "tension": ["tension", "y-left", "--frequency", "85 Hz", "--no-keep"],
    "frequency": ["frequency", "y-left", "--tension", "100 N"],
    "window": ["window", "y-left", "--set-at", "18 degC", "--runs-at", "35 degC"],
    "adjust": ["adjust", "y-left", "--reading", "80 N"],
    "pair": ["pair", "y", "--first", "85 Hz", "--second", "86 Hz", "--no-keep"],
}


def known(command: str, option: str) -> tuple[str, str] | None:
    """Return table and key of the machine file that an option stands for; None if none."""
    if option in OTHER_THINGS or (command, option) in OTHER_THINGS:
        return None
    if (command, option) in OTHER_NAMES:
        return OTHER_NAMES[command, option]
    tables = (("belts", BELT_KEYS), ("duty", DUTY_KEYS), ("machine", MACHINE_KEYS))
    found = [(table, option) for table, keys in tables if option in keys]
    return found[0] if found else None


OPTIONS = [
    (command, param)
    for command, made in every_command().items()
    if any(p.name == "machine" for p in made.params)
    for param in made.params
    if param.param_type_name == "option" and known(command, param.name)
]
NAMES = [f"{command} --{param.name}" for command, param in OPTIONS]
TYPED = [(command, param) for command, param in OPTIONS if command in RUN]


def test_the_options_found_hold_those_that_were_once_ignored() -> None:
    once = {"tension --ends", "tension --within", "window --belts", "window --wrap",
            "window --frame", "window --service_factor", "adjust --wrap"}  # fmt: skip
    assert once <= set(NAMES)
    assert {"within"} <= set(PAIR_KEYS)


@pytest.mark.parametrize(("command", "param"), OPTIONS, ids=NAMES)
def test_an_option_that_the_file_can_give_has_no_default(command: str, param: Any) -> None:
    """So that the command knows whether it was typed; defaults are applied where a belt is made."""
    assert param.default is None


def file_text(tables: dict[str, dict[str, Any]]) -> str:
    """Return a machine file with two like belts that are a pair."""

    def lines(table: dict[str, Any]) -> str:
        kept = {key: value for key, value in table.items() if value is not None}
        return "".join(f"{key} = {json.dumps(value)}\n" for key, value in kept.items())

    screw = ", ".join(f"{key} = {json.dumps(value)}" for key, value in tables["tensioner"].items())
    belt = lines(tables["belts"]) + f"tensioner = {{ {screw} }}\n"
    return (
        f"[machine]\n{lines(tables['machine'])}[duty.y]\n{lines(tables['duty'])}"
        f"[belts.y-left]\n{belt}[belts.y-right]\n{belt}"
        f'[pairs.y]\nbelts = ["y-left", "y-right"]\n{lines(tables["pairs"])}'
    )


def answer(capsys: Capture, path: Path, key: tuple[str, str], value: Any, *words: str) -> Any:
    """Return what a command says of the belt whose file holds a value."""
    table, name = key
    tables = {where: dict(said) for where, said in PLAIN.items()}
    for where, said in NEEDS.get(name, {}).items():
        tables[where].update(said)
    tables[table][name] = value
    path.write_text(file_text(tables))
    code = run_with([*words, "--machine", str(path), "--json"])
    out, err = capsys.readouterr()
    assert code == 0, err
    return without_texts(json.loads(out))


def without_texts(found: Any) -> Any:
    """Return a record without what was said about the way it was asked."""
    if isinstance(found, dict):
        skipped = ("notes", "sources")
        return {key: without_texts(v) for key, v in found.items() if key not in skipped}
    return [without_texts(each) for each in found] if isinstance(found, list) else found


@pytest.mark.parametrize(("command", "param"), TYPED, ids=[f"{c} --{p.name}" for c, p in TYPED])
def test_what_is_typed_counts_as_if_the_file_said_it(
    capsys: Capture, tmp_path: Path, command: str, param: Any
) -> None:
    key = known(command, param.name)
    assert key is not None
    assert key[1] in VALUES, f"say in VALUES what {key[1]} may be"
    written, typed = FRAME_OF_SCREW if key == ("tensioner", "frame") else VALUES[key[1]]
    option = [param.opts[0]] if typed is True else [param.opts[0], str(typed)]
    path = tmp_path / "beltpitch.toml"
    by_option = answer(capsys, path, key, written, *RUN[command], *option)
    assert by_option == answer(capsys, path, key, typed, *RUN[command])
