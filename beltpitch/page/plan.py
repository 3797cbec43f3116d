"""What is to be measured, as the page asks for it: a name of the machine file, or typed texts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from beltpitch.advice.match import TOLERANCE
from beltpitch.errors import RequestError
from beltpitch.keep.asked import BELT_TEXTS, Asked, asked_by_name, asked_by_options, subject_of
from beltpitch.keep.history import one_line
from beltpitch.keep.machine import Machine
from beltpitch.quantity import PERCENT, parse
from beltpitch.sitting import Subject, Way

KEYS = {*BELT_TEXTS, "name", "ends", "within", "pair", "first", "second", "tolerance", "sides"}
LONGEST_TEXT = 200
PAIR_NAMES = ("first", "second")


@dataclass(frozen=True, slots=True)
class Plan:
    """The belt or the two belts to be measured.

    Parameters
    ----------
    asked
        As they were asked for.
    subjects
        The same, ready to be measured.
    within, same_span, one_roll
        Of a pair, see `beltpitch.advice.match.compare`.
    wish
        The texts it was made from, to be shown in the form again.
    """

    asked: tuple[Asked, ...]
    subjects: tuple[Subject, ...]
    within: float
    same_span: bool
    one_roll: bool
    wish: Mapping[str, str]

    @property
    def way(self) -> Way:
        """How each belt is read."""
        return self.subjects[0].way


def planned(wish: Mapping[str, Any], machine: Machine | None) -> Plan:
    """Return the plan for what the page asks for.

    Parameters
    ----------
    wish
        Either ``name``, of a belt or a pair of the machine, or texts as the options of the command
        line have them, and ``pair`` for two such belts.
    machine
        The machine file's; None without one.

    Raises
    ------
    RequestError
        If something cannot be read.
    """
    texts = _texts(wish)
    way: Way = "sides" if texts.get("sides") else "one"
    if "name" in texts:
        return _by_name(texts, machine, way)
    return _typed(texts, way)


def _texts(wish: Mapping[str, Any]) -> dict[str, str]:
    """Return what was given, stripped; empty fields are left out."""
    found = {}
    for key, value in wish.items():
        if key not in KEYS or not isinstance(value, str):
            raise RequestError(f"the page asked for {one_line(key)[:40]!r}, which is not known")
        if len(value) > LONGEST_TEXT:
            raise RequestError(f"{key} is longer than {LONGEST_TEXT} characters")
        if value.strip():
            found[key] = one_line(value)
    return found


def _by_name(texts: dict[str, str], machine: Machine | None, way: Way) -> Plan:
    asked = asked_by_name(texts["name"], machine)
    tolerance = None
    if machine is not None and texts["name"] in machine.pairs:
        tolerance = machine.pairs[texts["name"]].within
    return Plan(
        asked=asked,
        subjects=tuple(subject_of(a, a.entry.name, way, None, None, None) for a in asked),
        within=_tolerance(tolerance),
        same_span=all(a.span is None for a in asked),
        one_roll=len({a.entry.roll for a in asked}) == 1,
        wish=texts,
    )


def _typed(texts: dict[str, str], way: Way) -> Plan:
    over = {key: texts.get(key) for key in BELT_TEXTS}
    one = asked_by_options(
        over, ends=texts.get("ends", "pulley"), within=texts.get("within", "10%")
    )
    names: tuple[str, ...] = (one.entry.name,)
    if texts.get("pair"):
        names = (texts.get("first", PAIR_NAMES[0]), texts.get("second", PAIR_NAMES[1]))
        if len(set(names)) == 1:
            raise RequestError("the two belts of a pair need two names")
    return Plan(
        asked=tuple(_called(one, name) for name in names),
        subjects=tuple(subject_of(one, name, way, None, None, None) for name in names),
        within=_tolerance(texts.get("tolerance")),
        same_span=True,
        one_roll=True,
        wish=texts,
    )


def _called(asked: Asked, name: str) -> Asked:
    return replace(asked, entry=replace(asked.entry, name=name))


def _tolerance(text: str | None) -> float:
    return TOLERANCE if text is None else parse(text, PERCENT, option="tolerance").value


def in_words_of_the_page(message: str) -> str:
    """Return a message about options in words of the page's fields."""
    return re.sub(r"--([a-z-]+)", lambda m: m[1].replace("-", " "), message)
