"""The keys of the JSON that the commands print, and those that docs/json.md explains.

A *record* is an object that has a table of its own on the page; what lies below it without one is
written with dots: ``turn.belt``. A list adds nothing to a path. Names that are data, not keys
(figures of a belt, parts of a pull), are written ``*``.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from tests import readme

PAGE = readme.DOCS / "json.md"
KEY_ROW = re.compile(r"^\| `([^`]+)` \|", re.MULTILINE)
RECORD = re.compile(r"<!-- record (\S+) -->\n\n?((?:\|.*\n)+)")

# (record, path) whose value is a record with a table of its own.
NESTED = {
    ("readings", ""): "reading",
    ("reading", "plucks"): "pluck",
    ("reading", "budget"): "line",
    ("reading", "preload_budget"): "line",
    ("pair", "readings"): "reading",
    ("live", "match"): "pair",
    ("belts", "figures.*"): "figure",
    ("belts", "constructions.figures.*"): "figure",
    ("figure", "also"): "figure",
    ("history", "entries"): "entry",
    ("history", "entry"): "entry",
    ("history", "trend"): "trend",
    ("entry", "record.reading"): "reading",
    ("window", "by_pitch_and_width"): "range",
    ("window", "by_duty"): "range",
    ("range", "low"): "end",
    ("range", "high"): "end",
    ("report", "belts"): "trend",
}
# (record, path) whose keys are names, not keys of the contract.
NAMES = {
    ("belts", "figures"),
    ("belts", "constructions.figures"),
    ("entry", "record.estimates"),
    ("window", "duty.parts_n"),
}

# (record, path) that is kept as it was given: its keys are the options and the machine file's.
AS_GIVEN = {("entry", "record.inputs")}
# Printed only where a slow extra was asked for.
ON_REQUEST = {
    "reading": {"cross_check_hz"},
    "pair": {  # where it is not yet known, and live
        *(f"pluck_again.{key}" for key in ("belt", "plucks", "why")),
        *(f"reached.{key}" for key in ("event", "belt", "tighter_by")),
    },
}

MACHINE = """
[machine]
name = "Plover"
book = "plover.sqlite"
[belts.y-left]
belt = "2GT 9 mm"
span = "286 +/- 0.5 mm"
loop = "1800 mm"
axis = "y"
study = "trials.csv"
[belts.y-right]
belt = "2GT 9 mm"
span = "286 +/- 0.5 mm"
[pairs.y]
belts = ["y-left", "y-right"]
[duty.y]
drive = "fixed"
mass = "4 kg"
acceleration = "2000 mm/s^2"
friction = "5 N"
teeth = 20
near = "150 mm"
travel = "600 mm"
"""
# Three results of cuts at tensions as typed: two disagree, one with an outlier; one tells nothing.
TRIALS = """
trial,tension [N],size error [um],noise [dB],steps lost
1,20.1,51,60,0
2,26.2,37,62,0
3,32.0,30,64,0
4,32.3,31,64,0
5,38.1,36,67,0
6,43.9,50,70,0
7,20.3,52,60,0
8,26.0,36,61,0
9,38.2,37,86,0
10,44.0,49,69,0
11,26.1,36,62,0
12,38.0,36,66,0
"""
LOOP = '--drive fixed --loop "2400 mm" --near "150 mm" --travel "900 mm"'
# Every command that prints JSON, in each of its ways; run in this order in one folder.
COMMANDS = (
    "recording y plover/y-left.wav plover/y-right.wav",
    'tension y-left --frequency "80 Hz" --frequency "81 Hz" --strand a --strand b'
    ' --span "286 mm" --span equal --no-keep',
    'pair y --first "66 Hz" --second "60 Hz" --no-keep',
    'tension --frequency "66 Hz" --frequency "80 Hz" --belt "2GT 9 mm" --span "286 mm"',
    'frequency --tension "30 N" --belt "2GT 9 mm" --span "286 mm"',
    'frequency --belt "2GT 9 mm" --span "286 mm"',
    f'window --belt "AT5 25 mm" {LOOP} --mass "8 kg" --acceleration "5 m/s^2" --teeth 20'
    ' --torque "2 N m" --radial "300 N" --steps-per-mm 80 --set-at "18 degC" --runs-at "35 degC"'
    ' --target "115 N"',
    'adjust --belt "3GT 9 mm" --target "60 N" --drive fixed --thread M4 --loop "1400 mm"'
    ' --reading "30 +/- 1 N" --reading "44 +/- 1 N" --turned 0.6',
    "belts 2GT",
    'belts "2GT 9 mm"',
    "span --drive fixed",
    'span --pulley "20 teeth" --pulley "40 teeth" --centre "200 mm" --belt "2GT 9 mm"',
    'weigh --belt "2GT 9 mm" --scale "1 g"',
    'weigh --belt "2GT 9 mm" --length "1 m" --mass "11.9 g" --mass "11.8 g" --scale "0.1 g"',
    'hang --belt "2GT 9 mm" --length "200 mm"',
    'hang --belt "2GT 9 mm" --length "300 mm" --weight "0.5 kg: 36 Hz" --weight "2 kg: 70 Hz"'
    ' --weight "4 kg: 97 Hz"',
    "machine check",
    "machine check wrong.toml",
    "machine show",
    "history",
    "history show 1",
    "history trend y-left",
    "history export all.csv",
    "history import all.csv",
    "history delete 1 --yes",
    'machine new one.toml --add-belt "left; 2GT 9 mm; 286 mm"',
    'machine add --machine one.toml --add-belt "right; 2GT 9 mm; 286 mm"'
    ' --add-pair "y; left; right"',
    "report",
    'study plan --table new.csv --belt "2GT 9 mm" --low "20 N" --high "44 N" --measure noise',
    'study learn y-left --low "20 N" --high "44 N"',
    'study next y-left --low "20 N" --high "44 N"',
    'study why y-left --low "20 N" --high "44 N"',
    'study record y-left --trial 13 --tension "33 N" --result "size error=31"'
    ' --result "noise=65" --result "steps lost=0"',
    'study choose y-left --tension "33 N" --low "20 N" --high "44 N"',
)


def printed(folder: Path) -> dict[str, set[str]]:
    """Return the keys that the commands print, by record."""
    (folder / "beltpitch.toml").write_text(MACHINE, "utf-8")
    (folder / "wrong.toml").write_text(MACHINE.replace("span", "spam"), "utf-8")
    (folder / "trials.csv").write_text(TRIALS.lstrip(), "utf-8")
    found: dict[str, set[str]] = {}
    for command in COMMANDS:
        gather(json_of(f"beltpitch {command} --json", folder), found)
    return found


def json_of(command: str, folder: Path) -> Any:
    """Return what a command prints as JSON; what it says on standard error is left out."""
    said = readme.output_of(command, folder)
    start = re.search(r"^\{$", said, re.MULTILINE)
    assert start is not None, f"{command}: {said}"
    return json.JSONDecoder().raw_decode(said[start.start() :])[0]


def gather(whole: dict[str, Any], found: dict[str, set[str]]) -> None:
    """Add the keys of one command's whole answer; its only other key names the record."""
    assert whole["schema"] == 1
    ((name, value),) = ((k, v) for k, v in whole.items() if k != "schema")
    _walk(name, "", value, found)


def _walk(record: str, path: str, value: Any, found: dict[str, set[str]]) -> None:
    if isinstance(value, list):
        for each in value:
            _walk(record, path, each, found)
        return
    if not isinstance(value, dict) or (record, path) in AS_GIVEN:
        return
    if (record, path) in NESTED:
        _walk(NESTED[record, path], "", value, found)
        return
    for key, below in value.items():
        name = "*" if (record, path) in NAMES else key
        deeper = f"{path}.{name}" if path else name
        found.setdefault(record, set()).add(deeper)
        _walk(record, deeper, below, found)


def explained() -> dict[str, set[str]]:
    """Return the keys that the page explains, by record."""
    tables = RECORD.findall(PAGE.read_text("utf-8"))
    return {name: set(KEY_ROW.findall(rows)) for name, rows in tables}
