"""What is to be measured, as the page asks for it: a name of the machine file, or typed texts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, get_args

from beltpitch.advice.comparison import TOLERANCE
from beltpitch.errors import RequestError
from beltpitch.session.session import Subject, Way
from beltpitch.store.belt_request import (
    BELT_TEXTS,
    BeltRequest,
    asked_by_name,
    asked_by_options,
    subject_of,
)
from beltpitch.store.log import one_line
from beltpitch.store.machine_file import Machine
from beltpitch.units import PERCENT, parse

PAIR_KEYS = ("pair", "first", "second", "tolerance")
FORM_STRANDS = ("second_span", "loop_sides", "strand_limit")
WAY_KEYS = ("way", "strand", "other", "travel")
KEYS = {*BELT_TEXTS, *FORM_STRANDS, "name", "ends", "within", *PAIR_KEYS, *WAY_KEYS}
LONGEST_TEXT = 200
PAIR_NAMES = STRAND_NAMES = ("first", "second")


@dataclass(frozen=True, slots=True)
class FormProcedure:
    """How each belt is read, see `beltpitch.session.session.Subject`.

    Parameters
    ----------
    way
        In one step or in two, and which.
    strands
        Names of the two strands, where both are read.
    travel
        Between two parks, as it was written.
    """

    way: Way = "one"
    strands: tuple[str, ...] = ()
    travel: str | None = None

    def subject(self, asked: BeltRequest, name: str) -> Subject:
        """Return the belt ready to be read in this way."""
        return subject_of(asked, name, self.way, self.strands, self.travel, None)


@dataclass(frozen=True, slots=True)
class FormRequest:
    """The belt or the two belts to be measured.

    Parameters
    ----------
    asked
        As they were asked for.
    subjects
        The same, ready to be measured.
    within, same_span, one_roll
        Of a pair, see `beltpitch.advice.comparison.compare`.
    wish
        The texts it was made from, to be shown in the form again.
    """

    asked: tuple[BeltRequest, ...]
    subjects: tuple[Subject, ...]
    within: float
    same_span: bool
    one_roll: bool
    wish: Mapping[str, str]

    @property
    def way(self) -> Way:
        """How each belt is read."""
        return self.subjects[0].way

    @property
    def places(self) -> tuple[tuple[int, int], ...]:
        """Every step of every belt, in order: belt and step, each from 0."""
        return tuple(
            (i, step)
            for i, subject in enumerate(self.subjects)
            for step in range(len(subject.orders))
        )


def planned(wish: Mapping[str, Any], machine: Machine | None) -> FormRequest:
    """Return the plan for what the page asks for.

    Parameters
    ----------
    wish
        Either ``name``, of a belt or a pair of the machine, or texts as the options of the command
        line have them, and ``pair`` for two such belts. With either: ``way`` to read them, the
        names of both strands as ``strand`` and ``other``, and the ``travel`` between two parks.
    machine
        The machine file's; None without one.

    Raises
    ------
    RequestError
        If something cannot be read.
    """
    texts = _texts(wish)
    manner = _manner(texts)
    plan = _by_name(texts, machine, manner) if "name" in texts else _typed(texts, manner)
    if manner.way == "parks" and len(plan.subjects) > 1:
        raise RequestError("two parks read one belt: choose one of the pair")
    return plan


def _manner(texts: dict[str, str]) -> FormProcedure:
    """Return how the belts are read.

    Raises
    ------
    RequestError
        If there is no such way, or something it needs is missing.
    """
    wanted, travel = texts.get("way", "one"), texts.get("travel")
    ways: tuple[Way, ...] = get_args(Way)
    way = next((each for each in ways if each == wanted), None)
    if way is None:
        raise RequestError(f"{wanted[:40]!r} is no way to read a belt: {', '.join(ways)}")
    if (way == "parks") != (travel is not None):
        raise RequestError(
            "two parks need the travel: how far the carriage moves from the first place to the "
            'second, such as "160.0 +/- 0.2 mm"; no other way does'
        )
    names: tuple[str, ...] = ()
    if way == "strands":
        names = (texts.get("strand", STRAND_NAMES[0]), texts.get("other", STRAND_NAMES[1]))
        if names[0] == names[1]:
            raise RequestError("the two strands need two names")
    return FormProcedure(way, names, travel)


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


def _by_name(texts: dict[str, str], machine: Machine | None, manner: FormProcedure) -> FormRequest:
    beside = {key: texts.get(key) for key in FORM_STRANDS}
    asked = asked_by_name(texts["name"], machine, beside)
    tolerance = None
    if machine is not None and texts["name"] in machine.pairs:
        tolerance = machine.pairs[texts["name"]].within
    return FormRequest(
        asked=asked,
        subjects=tuple(manner.subject(a, a.entry.name) for a in asked),
        within=_tolerance(tolerance),
        same_span=all(a.span is None for a in asked),
        one_roll=len({a.entry.roll for a in asked}) == 1,
        wish=texts,
    )


def _typed(texts: dict[str, str], manner: FormProcedure) -> FormRequest:
    over = {key: texts.get(key) for key in (*BELT_TEXTS, *FORM_STRANDS)}
    one = asked_by_options(over, ends=texts.get("ends"), within=texts.get("within"))
    names: tuple[str, ...] = (one.entry.name,)
    if texts.get("pair"):
        names = (texts.get("first", PAIR_NAMES[0]), texts.get("second", PAIR_NAMES[1]))
        if len(set(names)) == 1:
            raise RequestError("the two belts of a pair need two names")
    return FormRequest(
        asked=tuple(_called(one, name) for name in names),
        subjects=tuple(manner.subject(one, name) for name in names),
        within=_tolerance(texts.get("tolerance")),
        same_span=True,
        one_roll=True,
        wish=texts,
    )


def _called(asked: BeltRequest, name: str) -> BeltRequest:
    return replace(asked, entry=replace(asked.entry, name=name))


def _tolerance(text: str | None) -> float:
    return TOLERANCE if text is None else parse(text, PERCENT, option="tolerance").value


def in_words_of_the_page(message: str) -> str:
    """Return a message about options in words of the page's fields."""
    message = re.sub(r" \(--[a-z-]+(?: --[a-z-]+)*\)", "", message)  # only how to type it
    return re.sub(r"--([a-z-]+)", lambda m: m[1].replace("-", " "), message)
