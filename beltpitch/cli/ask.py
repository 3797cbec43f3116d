"""Asking for what is missing, on a terminal; what was told can be written to the machine file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import typer

from beltpitch.errors import BeltpitchError


def ask_for(over: dict[str, Any], ends: str) -> tuple[dict[str, Any], str]:
    """Ask for belt and span where they were not given, and offer to write them down.

    Parameters
    ----------
    over
        The long options by their key; None where not given.
    ends
        What holds the span's ends.

    Returns
    -------
    The options with what was told, and the ends.
    """
    from beltpitch import asking

    found = dict(over)
    told = False
    if found["belt"] is None and found["linear_mass"] is None:
        found["belt"] = _asked(
            "Which belt, such as 2GT 9 mm (Enter: frequency only)",
            lambda text: asking.belt(text, width=found["width"]),
        )
        told = found["belt"] is not None
    if found["belt"] is None and found["linear_mass"] is None:
        return found, ends
    if found["span"] is None:
        found["span"] = _asked(
            "Free span, such as 412 +/- 1 mm (Enter: frequency only)",
            lambda text: asking.span(text, ends=ends),
        )
        told = told or found["span"] is not None
    if told:
        _offer(found, ends)
    return found, ends


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


def _offer(found: dict[str, Any], ends: str) -> None:
    """Offer to write the belt to the machine file of this folder."""
    from beltpitch.keep.edit import add_belt
    from beltpitch.keep.entries import BeltEntry
    from beltpitch.keep.machine import USUAL

    words = f"Name to keep it under in {USUAL}, such as y-left (Enter: do not keep)"
    name = str(typer.prompt(words, default="", show_default=False)).strip()
    if not name:
        return
    given = {key: value for key, value in found.items() if value is not None}
    try:
        add_belt(Path(USUAL), BeltEntry(name=name, ends=ends, **given))
    except BeltpitchError as error:
        typer.echo(error.message)
        return
    typer.echo(f"written; from now on: beltpitch listen {name}")
