"""Nothing that the program answers, prints or draws changes unseen; see golden.py to renew it."""

from __future__ import annotations

import difflib
import itertools
import json
from pathlib import Path
from typing import Any

import pytest

from tests.golden import cases, golden

PARTS = 16  # so that several processes share the work
SHOWN = 12  # differences in a message
RENEW = "if this is meant: python -m tests.golden.golden"


def refuse(found: list[str]) -> None:
    shown = "\n".join(found[:SHOWN])
    assert not found, f"{len(found)} differences; {RENEW}\n{shown}"


@pytest.mark.parametrize("part", range(PARTS))
def test_the_answers_are_those_that_are_kept(part: int, tmp_path: Path) -> None:
    old = golden.kept(golden.ANSWERS)
    made = old["made with"]
    found: list[str] = []
    for name, make in itertools.islice(cases.every().items(), part, None, PARTS):
        new = json.loads(json.dumps(golden.answer(make(), tmp_path)))
        within = golden.tolerance(made, new, old[name])
        found += golden.differences(new, old[name], within, name)
    refuse(found)


def test_every_kind_of_case_is_kept_and_no_other() -> None:
    old = golden.kept(golden.ANSWERS)
    names = cases.every()
    assert len(names) >= 500
    assert set(old) == {"made with", *names}
    refusals = [key for key, value in old.items() if "refusal" in value]
    assert len(refusals) >= 40
    silent = [v for v in old.values() if "frequency_hz" not in (v.get("readings") or [{}])[0]]
    assert len(silent) >= 100
    told = [v for v in old.values() if "tension_n" in (v.get("readings") or [{}])[0]]
    assert len(told) >= 300


def test_the_json_of_every_command_is_that_which_is_kept() -> None:
    old = golden.kept(golden.JSON)
    within = golden.tolerance(old.pop("made with"), {}, {})
    new = json.loads(json.dumps(golden.commands_json()))
    refuse(list(golden.differences(new, old, within)))


def test_the_screens_are_those_that_are_kept() -> None:
    old, new = golden.SCREENS.read_text("utf-8"), golden.screens()
    assert old.count("$ beltpitch ") >= 40
    refuse(list(difflib.unified_diff(old.splitlines(), new.splitlines(), lineterm="", n=2)))


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ({"a": 1.0}, {"a": 1.0 + 1e-10}, []),
        ({"a": 1.0}, {"a": 1.0 + 1e-8}, [".a: 1.0 -> 1.00000001"]),
        ({"a": [1, "x"]}, {"a": [1, "y"]}, [".a[1]: 'x' -> 'y'"]),
        ({"a": [1]}, {"a": [1, 2]}, [".a[1]: 2 is new"]),
        ({"a": 1}, {"b": 1}, [".a: 1 is gone", ".b: 1 is new"]),
        ({"a": True}, {"a": 1}, [".a: True -> 1"]),
        ({"a": []}, {"a": [1]}, [".a: [] is gone", ".a[0]: 1 is new"]),
        ({"a": None}, {"a": 1.0}, [".a: None -> 1.0"]),
    ],
)
def test_a_difference_is_found(old: Any, new: Any, found: list[str]) -> None:
    assert list(golden.differences(new, old, golden.EXACT)) == found
