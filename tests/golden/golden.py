"""Answers, JSON and screens as they are kept, made again, and compared.

    python -m tests.golden.golden            write all of tests/data/golden anew
    python -m tests.golden.golden answers    only these; so too commands, screens

Numbers are compared to 1e-9 of themselves, texts exactly. A library of linear algebra rounds
otherwise on another processor, and a search that ends at a tolerance hands that on: where
``made_with`` differs, numbers are compared to 1e-6, and a simulated sound whose samples differ in
the last bit to 1e-4.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import math
import os
import platform
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from calibration import short
from tests.golden import adapter, cases
from tests.handbook import contract

FOLDER = cases.DATA / "golden"
ANSWERS, JSON = FOLDER / "answers.json", FOLDER / "commands.json"
SCREENS = FOLDER / "screens.txt"
EXACT, OTHER_MACHINE, OTHER_SOUND = 1e-9, 1e-6, 1e-4
TINY = 1e-12  # a number so small is nothing: a difference that has been taken
DATES = re.compile(r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?: ?[+-]\d\d:?\d\d|Z)?)?")
DAYS = re.compile(
    r"\b(?:Mon|Tues|Wednes|Thurs|Fri|Satur|Sun)day\b|\b\d{1,2} (?:January|February|March|April|May"
    r"|June|July|August|September|October|November|December) \d{4}\b"
)
USAGE = re.compile(r"^Usage: (?:python -m )?\S+", re.MULTILINE)
SUMS = re.compile(r"\b[0-9a-f]{64}\b")  # of a file, which may hold when it was made
KEPT = (  # of the record of a reading
    *("frequency_hz", "frequency_u_hz", "tension_n", "tension_u_n", "interval_n", "preload_n"),
    *("preload_interval_n", "verdict", "warnings"),
)


def made_with() -> dict[str, str]:
    """Return what the last digits of a number depend on."""
    from threadpoolctl import threadpool_info

    libraries = {
        f"{each.get('internal_api')} {each.get('version')} {each.get('architecture')}"
        for each in threadpool_info()
        if each.get("user_api") == "blas"
    }
    return {
        "numpy": np.__version__,
        "machine": platform.machine(),
        "blas": ", ".join(sorted(libraries)),
    }


def printed(words: Sequence[str], folder: Path) -> tuple[int, str, str]:
    """Return exit code and both streams of a command, 80 columns wide, paths and days replaced."""
    out, err = io.StringIO(), io.StringIO()
    with (
        _environment(NO_COLOR="1", COLUMNS="80"),
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = adapter.command(words)
    return code, _settled(out.getvalue(), folder), _settled(err.getvalue(), folder)


@contextlib.contextmanager
def _environment(**values: str) -> Iterator[None]:
    before = dict(os.environ)
    os.environ.update(values)
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)


def _settled(text: str, folder: Path) -> str:
    text = text.replace(f"{folder}{os.sep}", "").replace(f"{folder}", "FOLDER")
    data = os.environ.get("XDG_DATA_HOME")
    text = text.replace(data, "DATA") if data else text
    text = USAGE.sub("Usage: beltpitch", text)  # a help names the process it runs in
    text = SUMS.sub("SUM", DAYS.sub("DAY", DATES.sub("DATE", text)))
    return "\n".join(line.rstrip() for line in text.split("\n"))


# ---------------------------------------------------------------- answers


def answer(case: cases.Case, folder: Path) -> dict[str, Any]:
    """Return what came of a case: numbers and words, or the exit code and the refusal."""
    with _environment(XDG_DATA_HOME=str(folder / "data")):
        return _answer(case, folder)


def _answer(case: cases.Case, folder: Path) -> dict[str, Any]:
    paths, sounds = list(case.files), []
    for number, make in enumerate(case.sounds):
        paths.append(folder / f"{number}.wav")
        if not case.live:
            sounds.append(cases.write(make(), paths[-1]))
    found: dict[str, Any] = {"sounds": sounds} if sounds else {}
    if case.seen:
        return found | {"scene": _scene(case, paths, folder)}
    if case.words:
        return found | _command(case, paths, folder)
    import beltpitch as bp

    try:
        if case.tones:
            record = adapter.typed(case.tones, case.belt or {}, case.span or "")
        else:
            record = adapter.read(paths[0], case.belt, case.span, case.ends)
    except bp.BeltpitchError as error:
        return found | {"refusal": _settled(error.message, folder)}
    return found | {"readings": [_short(record)]}


def _scene(case: cases.Case, paths: Sequence[Path], folder: Path) -> dict[str, Any]:
    own = folder / "page"
    shutil.rmtree(own, ignore_errors=True)
    own.mkdir()
    live = (case.sounds[0](), float(short.RATE_HZ)) if case.live else None
    files = []
    for number, path in enumerate([] if live else paths):  # each in a folder that the page drops
        (own / str(number)).mkdir()
        files.append(Path(shutil.copy(path, own / str(number) / path.name)))
    return adapter.scene(own, case.seen, files, live)


def _command(case: cases.Case, paths: Sequence[Path], folder: Path) -> dict[str, Any]:
    words = [word.format(*paths) if "{" in word else word for word in case.words]
    if case.name.startswith("refused"):
        code, _, err = printed(words, folder)
        return {"code": code, "refusal": err.strip()}
    code, out, err = printed([*words, "--json"], folder)
    found: dict[str, Any] = {"code": code} if code else {}
    if err.strip():
        found["said"] = err.strip()
    if out.strip():
        whole = json.loads(out)
        found["readings"] = [_short(each) for each in whole.get("readings") or [whole["reading"]]]
    return found


def _short(record: dict[str, Any]) -> dict[str, Any]:
    short = {key: record[key] for key in KEPT if record[key] not in (None, [])}
    short["plucks"] = [
        each["reason"] or (each["frequency_hz"], each["frequency_u_hz"])
        for each in record["plucks"]
    ]
    short["partials"] = len(record["partials_hz"])
    return short


# ---------------------------------------------------------------- commands and screens


def _workshop(folder: Path) -> None:
    """Lay out a folder as the commands of the contract want it."""
    from tests import readme

    shutil.copytree(readme.plover(), folder / "plover")
    (folder / "beltpitch.toml").write_text(contract.MACHINE, "utf-8")
    wrong = contract.MACHINE.replace("span", "spam")
    (folder / "wrong.toml").write_text(wrong, "utf-8")
    (folder / "trials.csv").write_text(contract.TRIALS.lstrip(), "utf-8")


ALSO = (  # screens of what has no JSON, or another screen
    "--help",
    "demo",
    "belts",
    'recording plover/y-left.wav --belt "2GT 9 mm" --span "286 mm" --unit lbf',
    'tension --frequency "66.3 Hz" --belt "2GT 9 mm" --span "412 +/- 1 mm" --target "30 N"',
    'pair plover/y-left.wav plover/y-right.wav --belt "2GT 9 mm" --span "286 mm"',
    'tension --frequency "60 Hz" --frequency "100 Hz" --belt "2GT 9 mm" --parks'
    ' --travel "160.0 +/- 0.2 mm"',
    'window --belt "2GT 9 mm"',
    "history --help",
)


def _told(options: str, commands: Sequence[str]) -> Iterator[tuple[str, int, str, str]]:
    import shlex

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "shop"  # its name is the machine's
        (folder / "data").mkdir(parents=True)
        with _environment(XDG_DATA_HOME=str(folder / "data")):
            _workshop(folder)
            for command in commands:
                words = shlex.split(f"{command} {options}")
                words += ["--seed", "1"] if command.startswith("study plan") else []
                yield command, *printed(words, folder)


def commands_json() -> dict[str, Any]:
    """Return what every command prints as JSON, by command, run in order in one folder."""
    found = {}
    for command, code, out, err in _told("--json", contract.COMMANDS):
        found[command] = {"code": code, "said": err.strip(), "json": json.loads(out)}
    return found


def screens() -> str:
    """Return what every command draws, one after the other, run in order in one folder."""
    parts = []
    for command, code, out, err in _told("", (*contract.COMMANDS, *ALSO)):
        left = f"exit code {code}\n" if code else ""
        parts.append(f"$ beltpitch {command}\n{out.rstrip()}\n{err}".rstrip() + f"\n{left}\n")
    return "".join(parts)


# ---------------------------------------------------------------- comparing


def differences(new: Any, old: Any, within: float, at: str = "") -> Iterator[str]:
    """Yield where two records differ, numbers by more than a fraction of themselves."""
    news, olds = dict(_leaves(new, at)), dict(_leaves(old, at))
    for path in dict.fromkeys((*olds, *news)):
        if path not in news:
            yield f"{path}: {olds[path]!r} is gone"
        elif path not in olds:
            yield f"{path}: {news[path]!r} is new"
        elif not _same(news[path], olds[path], within):
            yield f"{path}: {olds[path]!r} -> {news[path]!r}"


def _leaves(value: Any, at: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict) and value:
        for key, each in value.items():
            yield from _leaves(each, f"{at}.{key}")
    elif isinstance(value, list | tuple) and value:
        for index, each in enumerate(value):
            yield from _leaves(each, f"{at}[{index}]")
    else:
        yield at, value


def _same(new: Any, old: Any, within: float) -> bool:
    if isinstance(new, int | float) and isinstance(old, int | float):
        alike = isinstance(new, bool) == isinstance(old, bool)
        return alike and math.isclose(new, old, rel_tol=within, abs_tol=TINY)
    return bool(new == old)


def tolerance(made: dict[str, Any], new: dict[str, Any], old: dict[str, Any]) -> float:
    """Return how close two answers must be, see the module."""
    if made == made_with():
        return EXACT
    if new.pop("sounds", None) != old.pop("sounds", None):
        return OTHER_SOUND
    return OTHER_MACHINE


def kept(path: Path) -> Any:
    """Return a kept record."""
    return json.loads(path.read_text("utf-8"))


def _lines(records: dict[str, Any]) -> str:
    """Return JSON with one line a record, so that a change is seen line by line."""
    rows = [
        f"{json.dumps(key)}: {json.dumps(value, separators=(',', ':'))}"
        for key, value in records.items()
    ]
    return "{\n" + ",\n".join(rows) + "\n}\n"


def main(wanted: Sequence[str]) -> None:
    """Write what was asked for, or all; days are replaced, so that a rerun changes nothing."""
    FOLDER.mkdir(exist_ok=True)
    start = dt.datetime.now(dt.UTC)
    if not wanted or "answers" in wanted:
        with tempfile.TemporaryDirectory() as name:
            found = {key: answer(make(), Path(name)) for key, make in cases.every().items()}
        ANSWERS.write_text(_lines({"made with": made_with(), **found}), "utf-8")
    if not wanted or "commands" in wanted:
        JSON.write_text(_lines({"made with": made_with(), **commands_json()}), "utf-8")
    if not wanted or "screens" in wanted:
        SCREENS.write_text(screens(), "utf-8")
    sys.stdout.write(f"written in {dt.datetime.now(dt.UTC) - start}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
