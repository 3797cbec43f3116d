"""Asking for what is missing, on a terminal; what was told can be written to the machine file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from beltpitch import parsing
from beltpitch.errors import BeltpitchError
from beltpitch.store.entries import BeltEntry
from beltpitch.store.machine_edit import add_belt
from beltpitch.store.machine_file import USUAL, find, load

NAMES_LISTED = 6  # in a question


@dataclass(frozen=True, slots=True)
class Answers:
    """What was told: a belt's name in the machine file, if it has one, else the long options."""

    name: str | None
    over: dict[str, Any]
    ends: str | None


def on_terminal() -> bool:
    """Return whether somebody is there to be asked."""
    return all(s is not None and s.isatty() for s in (sys.stdin, sys.stdout))


def ask_frequencies() -> list[str] | None:
    """Ask for the frequencies that were measured; None for an empty answer."""
    words = "Frequency in Hz, one for each pluck, such as 66.3, 66.1, 66.4"
    text = _asked(words, lambda text: parsing.typed([text]))
    return None if text is None else [text]


def ask_for(
    over: dict[str, Any],
    ends: str | None,
    machine: Path | None = None,
    *,
    without: str = "frequency only",
    pair: bool = False,
) -> Answers:
    """Ask for belt and span where they were not given, and offer to write them down.

    Parameters
    ----------
    over
        The long options by their key; None where not given.
    ends
        What holds the span's ends; None where not given.
    machine
        The machine file; None for the one of this folder, if there is one.
    without
        What an empty answer leads to.
    pair
        Whether two belts alike are meant: a name is that of a pair, and nothing is written down.
    """
    found = dict(over)
    given = found["belt"] is not None or found["linear_mass"] is not None
    told = False
    if not given:
        path = machine or find()
        made = load(path) if path else None
        names = [] if made is None else list(made.pairs if pair else made.belts)
        text = _asked(_which_belt(names, without), lambda text: _belt(text, names, found["width"]))
        if text is None or text in names:
            return Answers(text, over, ends)
        found["belt"], told = text, True
    if found["span"] is None:
        found["span"] = _asked(
            f"Free span, such as 412 +/- 1 mm (Enter: {without})",
            lambda text: parsing.span(text, ends=ends),
        )
        told = told or found["span"] is not None
    return Answers(_offer(found, ends) if told and not pair else None, found, ends)


def _which_belt(names: Sequence[str], without: str) -> str:
    known = ", ".join(names[:NAMES_LISTED]) + (", …" if len(names) > NAMES_LISTED else "")
    either = f": {known}, or one" if names else ","
    return f"Which belt{either} such as 2GT 9 mm (Enter: {without})"


def _belt(text: str, names: Sequence[str], width: str | None) -> None:
    """Read what was told of a belt: a name, or a belt of the catalogue."""
    if text not in names:
        parsing.belt(text, width=width)


def _asked(words: str, read: Callable[[str], object]) -> str | None:
    """Ask until the answer can be read; None for an empty one."""
    while True:
        text = str(typer.prompt(words, default="", show_default=False)).strip()
        if not text:
            return None
        try:
            read(text)
        except BeltpitchError as error:
            typer.echo(error.message)
        else:
            return text


def _offer(found: dict[str, Any], ends: str | None) -> str | None:
    """Offer to write the belt to the machine file of this folder; return its name if written."""
    words = f"Name to keep it under in {USUAL}, such as y-left (Enter: do not keep)"
    name = str(typer.prompt(words, default="", show_default=False)).strip()
    if not name:
        return None
    given = {key: value for key, value in found.items() if value is not None}
    try:
        add_belt(Path(USUAL), BeltEntry(name=name, ends=ends, **given))
    except BeltpitchError as error:
        typer.echo(error.message)
        return None
    typer.echo(f"written; from now on: beltpitch listen {name}")
    return name
