"""Belts, pairs, tensioners and duties as a person writes them, and what each key may hold.

Every value is kept as the text that was written, with its unit and its doubt; a key is named like
the option of the command line it stands for, with ``_`` for ``-``. A reader takes what TOML holds
and returns what the record keeps, or says in one line what to write instead.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from beltpitch import units as q
from beltpitch.advice.tensioner import lead_m
from beltpitch.belts.drives import DRIVE_NAMES
from beltpitch.belts.end_conditions import ends as read_ends
from beltpitch.errors import RequestError
from beltpitch.parsing import EQUAL, loop_sides
from beltpitch.store.dates import plausible

LONGEST_NAME = 60
NAMES_LISTED = 20
USUAL_WRAP = "180 deg"
WITHIN_PAIR = "5%"  # common practice, no source
CHECK_EVERY = "90 d"  # common practice, no source


@dataclass(frozen=True, slots=True)
class TensionerEntry:
    """A tensioner as written: how it pulls, the thread's lead, the wrap, the frame's stiffness."""

    pull: str
    lead: str
    wrap: str = USUAL_WRAP
    frame: str | None = None


@dataclass(frozen=True, slots=True)
class BeltEntry:
    """One belt of a machine, as written.

    Parameters
    ----------
    name
        What it is called on this machine.
    belt, construction, width, linear_mass
        As the options of the command line.
    bending_stiffness
        As `beltpitch hang` told it.
    roll
        Which roll it was cut from; belts of one roll share the error of its linear mass.
    joined
        Whether it was cut and joined, and so may carry half.
    span, ends
        The free span and what holds its ends.
    second_span
        Of the second strand where both are read; "equal" for one as long as the first.
    loop_sides
        All of the loop that stands at each strand's tension, both in one text.
    strand_limit, detent, pulley_teeth, rail_friction
        How far the strands may differ: as it is, or by what holds them unequal.
    park
        Where the axis stands for that span.
    strand
        Which strand is plucked.
    loop
        Belt under tension: clamp to clamp, or once round.
    axis
        Name of its duty.
    target, within, limit
        The user's own target with its tolerance, and the most they want to see.
    target_from
        Where the target comes from, such as a study; None for the user's own choice.
    study
        File beside this one that holds the trials of its study.
    fitted
        When it was fitted: a new belt runs in.
    tensioner
        What tightens it.
    note
        Anything else.
    """

    name: str
    belt: str | None = None
    construction: str | None = None
    width: str | None = None
    linear_mass: str | None = None
    bending_stiffness: str | None = None
    roll: str | None = None
    joined: bool = False
    span: str | None = None
    second_span: str | None = None
    loop_sides: str | None = None
    strand_limit: str | None = None
    detent: str | None = None
    pulley_teeth: int | None = None
    rail_friction: str | None = None
    ends: str | None = None
    park: str | None = None
    strand: str | None = None
    loop: str | None = None
    axis: str | None = None
    target: str | None = None
    within: str | None = None
    limit: str | None = None
    target_from: str | None = None
    study: str | None = None
    fitted: dt.date | None = None
    tensioner: TensionerEntry | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class PairEntry:
    """Two belts that must agree, and within what share of the tension."""

    name: str
    belts: tuple[str, str]
    within: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class DutyEntry:
    """What one axis asks of its belts, as written; keys as the options of ``beltpitch window``."""

    name: str
    drive: str = "fixed"
    mass: str | None = None
    acceleration: str | None = None
    force: str | None = None
    friction: str | None = None
    slope: str | None = None
    belts: int = 1
    cross_mass: str | None = None
    teeth: int | None = None
    wrap: str | None = None
    mesh: int | None = None
    radial: str | None = None
    near: str | None = None
    travel: str | None = None
    torque: str | None = None
    power: str | None = None
    speed: str | None = None
    service_factor: float = 1.0
    vertical: bool = False


def name_fault(name: str) -> str | None:
    """Return what is wrong with a belt's or pair's name; None if nothing is."""
    if not 0 < len(name) <= LONGEST_NAME or name != name.strip():
        return f"a name has 1 to {LONGEST_NAME} characters, none of them a space at its ends"
    if name.startswith("-") or any(not c.isprintable() for c in name):
        return f"the name {name!r} begins with - or holds control characters: choose another"
    return None


def meant(name: str, known: list[str]) -> str:
    """Return "; did you mean ...?", or nothing if no name is near."""
    near = get_close_matches(name, known, n=2, cutoff=0.6)
    if not near:
        folded = {k.casefold(): k for k in known}
        near = [folded[name.casefold()]] if name.casefold() in folded else []
    return f"; did you mean {' or '.join(near)}?" if near else ""


def listed(known: list[str]) -> str:
    """Return the names there are, in words."""
    shown, more = known[:NAMES_LISTED], len(known) - NAMES_LISTED
    if not shown:
        return "; there is none yet"
    return f"; there are {', '.join(shown)}" + (f" and {more} more" if more > 0 else "")


Reader = Callable[[object, str], object]


def _wanted(key: str, value: object, wanted: str) -> RequestError:
    shown = value if isinstance(value, str) else type(value).__name__
    return RequestError(f"{key} = {shown!r}: {wanted}")


def _words(value: object, key: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise _wanted(key, value, "write a text in quotation marks")
    if any(not c.isprintable() for c in value):
        raise _wanted(key, value, "write it on one line, without control characters")
    return value


def _file_name(value: object, key: str) -> str:
    text = _words(value, key)
    if text.startswith(".") or any(c in text for c in "/\\:"):
        raise _wanted(
            key, value, f'write the name of a file beside this one, as in {key} = "book.sqlite"'
        )
    return text


def _amount(kind: q.Kind, least: str = "positive") -> Reader:
    read = q.positive if least == "positive" else q.parse

    def reader(value: object, key: str) -> str:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise _wanted(key, value, f'write a {kind.name}, as in {key} = "{kind.example}"')
        text = str(value)
        read(text, kind, option=key)
        return text

    return reader


def _flag(value: object, key: str) -> bool:
    if not isinstance(value, bool):
        raise _wanted(key, value, f"write {key} = true or {key} = false")
    return value


def _count(value: object, key: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < q.TOO_LARGE:
        raise _wanted(key, value, f"write a whole number above zero, as in {key} = 20")
    return value


def _factor(value: object, key: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < q.TOO_LARGE:
        raise _wanted(key, value, f"write a number above zero, as in {key} = 1.5")
    return float(value)


def _date(value: object, key: str) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return plausible(value, key)
    try:
        return plausible(dt.date.fromisoformat(value if isinstance(value, str) else ""), key)
    except ValueError:
        raise _wanted(key, value, f"write a date, as in {key} = 2026-03-01") from None


def _choice(*choices: str) -> Reader:
    def reader(value: object, key: str) -> str:
        if value not in choices:
            hint = meant(str(value), list(choices))
            raise _wanted(key, value, f"choose from {', '.join(choices)}{hint}")
        return str(value)

    return reader


def _ends(value: object, key: str) -> str:
    text = _words(value, key)
    read_ends(text, "belt")
    return text


def _other_span(value: object, key: str) -> str:
    if isinstance(value, str) and value.strip().casefold() == EQUAL:
        return EQUAL
    return str(_amount(q.LENGTH)(value, key))


def _loop_sides(value: object, key: str) -> str:
    text = _words(value, key)
    loop_sides(text)
    return text


def _share(value: object, key: str) -> str:
    text = str(_amount(q.PERCENT)(value, key))
    if not 0 < q.parse(text, q.PERCENT, option=key).value < 1:
        raise _wanted(key, value, f'write a tolerance between 0 and 100 %, as in {key} = "10%"')
    return text


def _two_names(value: object, key: str) -> tuple[str, str]:
    if (
        not isinstance(value, list)
        or len(value) != 2  # noqa: PLR2004
        or not all(isinstance(v, str) for v in value)
        or value[0] == value[1]
    ):
        raise _wanted(key, value, f'name two belts, as in {key} = ["y-left", "y-right"]')
    return value[0], value[1]


def _thread(value: object, key: str) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _wanted(key, value, f'write a thread or its pitch, as in {key} = "M4"')
    lead_m(str(value), option=key)
    return str(value)


_TENSIONER: Mapping[str, Reader] = {
    "pull": _choice("idler", "clamp"),
    "lead": _thread,
    "wrap": _amount(q.ANGLE),
    "frame": _amount(q.STIFFNESS),
}


class InnerError(RequestError):
    """A mistake at a key inside the value that is being read."""

    def __init__(self, message: str, key: str) -> None:
        super().__init__(message)
        self.key = key


def _tensioner_table(value: object, key: str) -> TensionerEntry:
    if not isinstance(value, dict):
        raise _wanted(key, value, f'write {key} = {{ pull = "idler", lead = "0.7 mm" }}')
    missing = [name for name in ("pull", "lead") if name not in value]
    read: dict[str, str] = {}
    for name, inner in value.items():
        if name not in _TENSIONER:
            hint = meant(name, list(_TENSIONER))
            raise InnerError(f'{key} has no key "{name}"{hint}', name)
        try:
            read[name] = str(_TENSIONER[name](inner, name))
        except RequestError as error:
            raise InnerError(error.message, name) from None
    if missing:
        raise RequestError(
            f'{key} needs {" and ".join(missing)}: {key} = {{ pull = "idler", lead = "0.7 mm" }}'
        )
    return TensionerEntry(**read)


MACHINE_KEYS: Mapping[str, Reader] = {
    "name": _words,
    "check_every": _amount(q.INTERVAL),
    "frame": _choice("aluminium", "steel"),
    "book": _file_name,
    "note": _words,
}
BELT_KEYS: Mapping[str, Reader] = {
    "belt": _words,
    "construction": _words,
    "width": _amount(q.LENGTH),
    "linear_mass": _amount(q.LINEAR_MASS),
    "bending_stiffness": _amount(q.BENDING),
    "roll": _words,
    "joined": _flag,
    "span": _amount(q.LENGTH),
    "second_span": _other_span,
    "loop_sides": _loop_sides,
    "strand_limit": _amount(q.FORCE),
    "detent": _amount(q.TORQUE),
    "pulley_teeth": _count,
    "rail_friction": _amount(q.FORCE),
    "ends": _ends,
    "park": _words,
    "strand": _words,
    "loop": _amount(q.LENGTH),
    "axis": _words,
    "target": _amount(q.FORCE),
    "within": _share,
    "limit": _amount(q.FORCE),
    "target_from": _words,
    "study": _file_name,
    "fitted": _date,
    "tensioner": _tensioner_table,
    "note": _words,
}
PAIR_KEYS: Mapping[str, Reader] = {"belts": _two_names, "within": _share, "note": _words}
DUTY_KEYS: Mapping[str, Reader] = {
    "drive": _choice(*DRIVE_NAMES),
    "mass": _amount(q.MASS),
    "acceleration": _amount(q.ACCELERATION),
    "force": _amount(q.FORCE),
    "friction": _amount(q.FORCE),
    "slope": _amount(q.ANGLE, "any"),
    "belts": _count,
    "cross_mass": _amount(q.MASS),
    "teeth": _count,
    "wrap": _amount(q.ANGLE),
    "mesh": _count,
    "radial": _amount(q.FORCE),
    "near": _amount(q.LENGTH),
    "travel": _amount(q.LENGTH),
    "torque": _amount(q.TORQUE),
    "power": _amount(q.POWER),
    "speed": _amount(q.ROTATION),
    "service_factor": _factor,
    "vertical": _flag,
}


def belt_from(name: str, values: Mapping[str, object]) -> BeltEntry:
    """Return a belt from its keys and values, as a machine file or the book holds them.

    Raises
    ------
    RequestError
        If a key is not known or a value cannot be read.
    """
    for key in values:
        if key not in BELT_KEYS:
            raise RequestError(f'a belt has no key "{key}"{meant(key, list(BELT_KEYS))}')
    read: dict[str, Any] = {key: BELT_KEYS[key](value, key) for key, value in values.items()}
    return BeltEntry(name=name, **read)
