"""The machine file: belts by name, pairs, the duty of each axis, when to look again.

A TOML file written by hand or by the program. A mistake in it is told with line, column and what
was probably meant. Values become a belt, a span and a window only when a name is asked for
(`beltpitch.store.named_belts`), so that a large file costs no more than its reading.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from beltpitch import parsing
from beltpitch import units as q
from beltpitch.errors import RequestError
from beltpitch.store.entries import (
    BELT_KEYS,
    CHECK_EVERY,
    DUTY_KEYS,
    MACHINE_KEYS,
    NAMES_LISTED,
    PAIR_KEYS,
    BeltEntry,
    DutyEntry,
    InnerError,
    PairEntry,
    Reader,
    listed,
    meant,
    name_fault,
)
from beltpitch.store.named_belts import NamedBelt, named
from beltpitch.store.toml_positions import nearest, places

USUAL = "beltpitch.toml"
LARGEST_BYTES = 16_000_000  # some 100,000 belts: more is no machine
MOST_MISTAKES = 50  # told at once
DAY_S = 86_400.0

KeyPath = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine file, read.

    Parameters
    ----------
    name
        Of the machine; the book keeps readings under it.
    belts, pairs, duties
        By name, in the order of the file.
    check_every
        How long a belt may go unlooked at.
    frame
        ``aluminium`` or ``steel``; what it does to tension when the shop warms.
    book
        File of the book, beside the machine file; None for the user's own book.
    note
        Anything else.
    clocks
        Rate errors of sound devices, by a part of the device's name.
    path
        Where it was read; None if it was not.
    """

    name: str
    belts: Mapping[str, BeltEntry] = field(default_factory=dict)
    pairs: Mapping[str, PairEntry] = field(default_factory=dict)
    duties: Mapping[str, DutyEntry] = field(default_factory=dict)
    check_every: str = CHECK_EVERY
    frame: str | None = None
    book: str | None = None
    note: str | None = None
    clocks: Mapping[str, str] = field(default_factory=dict)
    path: Path | None = field(default=None, compare=False)

    def belt(self, name: str) -> BeltEntry:
        """Return the belt of that name, as written.

        Raises
        ------
        RequestError
            If there is none; the message has the nearest names.
        """
        if name not in self.belts:
            raise RequestError(self._unknown(name, "belt", list(self.belts)))
        return self.belts[name]

    def pair(self, name: str) -> PairEntry:
        """Return the pair of that name.

        Raises
        ------
        RequestError
            If there is none; the message has the nearest names.
        """
        if name not in self.pairs:
            raise RequestError(self._unknown(name, "pair", list(self.pairs)))
        return self.pairs[name]

    def named(self, name: str) -> NamedBelt:
        """Return what a belt's name stands for: belt, span, window.

        Raises
        ------
        RequestError
            If there is no such belt, or it cannot be what is written.
        """
        entry = self.belt(name)
        return named(entry, self.name, self.duty(entry.axis))

    def duty(self, axis: str | None) -> DutyEntry | None:
        """Return the duty of an axis; None if it has none."""
        return None if axis is None else self.duties.get(axis)

    def both(self, name: str) -> tuple[NamedBelt, NamedBelt]:
        """Return what the two belts of a pair stand for.

        Raises
        ------
        RequestError
            If there is no such pair, or one of its belts is not there.
        """
        first, second = self.pair(name).belts
        return self.named(first), self.named(second)

    def entries(self, name: str) -> tuple[BeltEntry, ...]:
        """Return one belt by its name, or the two of a pair by the pair's, as written.

        Raises
        ------
        RequestError
            If the name is neither.
        """
        if name in self.pairs:
            first, second = self.pairs[name].belts
            return self.belt(first), self.belt(second)
        if name in self.belts:
            return (self.belts[name],)
        raise RequestError(self._unknown(name, "belt or pair", [*self.belts, *self.pairs]))

    def clock_of(self, device: str) -> str | None:
        """Return the rate error of a sound device, as written; the longest name that fits says."""
        fits = [name for name in self.clocks if name.lower() in device.lower()]
        return self.clocks[max(fits, key=len)] if fits else None

    @property
    def check_every_days(self) -> float:
        """How long a belt may go unlooked at, in days."""
        return q.positive(self.check_every, q.INTERVAL, option="check_every").value / DAY_S

    def _unknown(self, name: str, what: str, names: list[str]) -> str:
        where = f" in {self.path.name}" if self.path else ""
        return f'no {what} "{name}"{where}{meant(name, names) or listed(names)}'


# --- reading the file ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Mistake:
    """Something wrong in a machine file: where, what, and what to write instead."""

    line: int
    column: int
    words: str

    def said(self, file: str) -> str:
        """Return it as one line that an editor can jump to."""
        return f"{file}:{self.line}:{self.column}: {self.words}"


def find(folder: Path | None = None) -> Path | None:
    """Return the machine file of a folder (by default the current one), or None."""
    path = (folder or Path()) / USUAL
    return path if path.is_file() else None


def load(path: str | Path) -> Machine:
    """Read a machine file.

    See `find` for the one of the current folder, `beltpitch.store.machine_edit` for writing.

    Raises
    ------
    RequestError
        If it is not there or has a mistake; the first one is told with line and column.
    """
    file = Path(path)
    text = text_of(file)
    machine, wrong = parsed(text, file)
    if machine is None or wrong:
        raise RequestError(first_of(wrong, file))
    return machine


def first_of(wrong: list[Mistake], file: Path) -> str:
    """Return the first mistake as one line, and how many more there are."""
    more = len(wrong) - 1
    rest = f" (and {more} more: beltpitch machine check)" if more else ""
    return wrong[0].said(str(file)) + rest


def mistakes(path: str | Path) -> tuple[Mistake, ...]:
    """Return everything wrong in a machine file, at most `MOST_MISTAKES`, in order of lines.

    Unlike `load` this also makes every belt, span and window that is written.

    Raises
    ------
    RequestError
        If the file cannot be read.
    """
    file = Path(path)
    text = text_of(file)
    machine, wrong = parsed(text, file)
    if machine is not None and not wrong:
        wrong = _not_makeable(machine, text)
    return tuple(sorted(wrong, key=lambda m: (m.line, m.column)))


def _not_makeable(machine: Machine, text: str) -> list[Mistake]:
    found: list[tuple[tuple[str | int, ...], str]] = []
    for entry in machine.belts.values():
        try:
            named(entry, machine.name, machine.duty(entry.axis))
        except RequestError as error:
            found.append((("belts", entry.name), _in_keys(error.message)))
        if len(found) >= MOST_MISTAKES:
            break
    return _placed(found, text)


def _in_keys(message: str) -> str:
    """Return a message about options in words of the file's keys."""
    return re.sub(r"--([a-z-]+)", lambda m: m[1].replace("-", "_"), message)


def text_of(file: Path) -> str:
    """Return the text of a machine file.

    Raises
    ------
    RequestError
        If it is not there, is no text, or is too large.
    """
    try:
        if file.is_dir():
            raise RequestError(f"{file} is a folder; name the machine file in it: {USUAL}")
        if file.stat().st_size > LARGEST_BYTES:
            raise RequestError(f"{file} is larger than any machine file; is it the right file?")
        return file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise RequestError(
            f"no machine file {file}; make one with: beltpitch machine new"
        ) from None
    except UnicodeDecodeError as error:
        raise RequestError(
            f"{file} is not a text in UTF-8 (byte {error.start}); save it again as UTF-8"
        ) from None
    except OSError as error:
        raise RequestError(f"{file} cannot be read: {error.strerror or error}") from None


def parsed(text: str, file: Path) -> tuple[Machine | None, list[Mistake]]:
    """Return the machine that a text describes, or None, and what is wrong with it."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [_not_toml(str(error), text)]
    except RecursionError:
        return None, [Mistake(1, 1, "brackets are nested too deep for a machine file")]
    found: list[tuple[tuple[str | int, ...], str]] = []
    machine = _machine(raw, file, _Wrong(found))
    return machine, _placed(found, text)


_REST = "Expected newline or end of document after a statement"


def _not_toml(message: str, text: str) -> Mistake:
    words, _, _ = message.partition(" (at ")
    at = re.search(r"at line (\d+), column (\d+)", message)
    line, column = (int(at[1]), int(at[2])) if at else (text.count("\n") + 1, 1)
    hint = '; texts stand in quotation marks, as in span = "412 mm"'
    hint = hint if words in ("Invalid value", _REST) else ""
    return Mistake(line, column, f"not TOML: {words[:1].lower()}{words[1:]}{hint}")


def _placed(found: list[tuple[tuple[str | int, ...], str]], text: str) -> list[Mistake]:
    if not found:
        return []
    where = places(text)
    return [Mistake(*nearest(where, path), words) for path, words in found]


class _Wrong:
    """Collects mistakes by the path of the key they belong to."""

    def __init__(self, found: list[tuple[tuple[str | int, ...], str]]) -> None:
        self.found = found

    def __call__(self, path: tuple[str | int, ...], words: str) -> None:
        if len(self.found) < MOST_MISTAKES:
            self.found.append((path, words))

    def unknown(self, path: tuple[str | int, ...], what: str, known: Iterable[str]) -> None:
        """Note a name that is not known, with the nearest right one."""
        name, every = str(path[-1]), list(known)
        hint = meant(name, every) if len(self.found) < NAMES_LISTED else ""
        self(path, f'{what} "{name}"{hint or listed(every)}')


TABLES = ("machine", "belts", "pairs", "duty", "clock")


def _machine(raw: dict[str, Any], file: Path, wrong: _Wrong) -> Machine | None:
    for key in raw:
        if key not in TABLES:
            wrong.unknown((key,), "no table", TABLES)
    head = _values(raw.get("machine", {}), ("machine",), MACHINE_KEYS, wrong)
    belts = _entries(raw, "belts", BELT_KEYS, wrong)
    pairs = _entries(raw, "pairs", PAIR_KEYS, wrong)
    duties = _entries(raw, "duty", DUTY_KEYS, wrong)
    clocks = _clocks(raw.get("clock", {}), wrong)
    for name, values in pairs:
        if "belts" not in values and "belts" not in raw["pairs"][name]:
            wrong(("pairs", name), 'names no belts: write belts = ["y-left", "y-right"]')
    if wrong.found:
        return None
    machine = Machine(
        name=str(head.pop("name", "") or file.resolve().parent.name or "machine"),
        belts={n: BeltEntry(name=n, **v) for n, v in belts},
        pairs={n: PairEntry(name=n, **v) for n, v in pairs},
        duties={n: DutyEntry(name=n, **v) for n, v in duties},
        clocks=clocks,
        path=file,
        **head,
    )
    _check_names(machine, wrong)
    return machine


def _values(
    table: object, path: tuple[str | int, ...], keys: Mapping[str, Reader], wrong: _Wrong
) -> dict[str, Any]:
    if not isinstance(table, dict):
        wrong(path, f"is no table: write [{'.'.join(str(p) for p in path)}] on a line of its own")
        return {}
    found: dict[str, Any] = {}
    for key, value in table.items():
        if key not in keys:
            wrong.unknown((*path, key), f"[{_dotted(path)}] has no key", keys)
            continue
        try:
            found[key] = keys[key](value, key)
        except InnerError as error:
            wrong((*path, key, error.key), error.message)
        except RequestError as error:
            wrong((*path, key), error.message)
    return found


def _dotted(path: tuple[str | int, ...]) -> str:
    return ".".join(str(p) if re.fullmatch(r"[\w-]+", str(p), re.ASCII) else f'"{p}"' for p in path)


def _entries(
    raw: dict[str, Any], table: str, keys: Mapping[str, Reader], wrong: _Wrong
) -> list[tuple[str, dict[str, Any]]]:
    every = raw.get(table, {})
    if not isinstance(every, dict):
        wrong((table,), f"name each of them: [{table}.y-left] on a line of its own")
        return []
    for name in every:
        bad = name_fault(name)
        if bad:
            wrong((table, name), bad)
    return [(name, _values(value, (table, name), keys, wrong)) for name, value in every.items()]


def _clocks(table: object, wrong: _Wrong) -> dict[str, str]:
    """Return the rate errors of sound devices by their names, as written."""
    if not isinstance(table, dict):
        wrong(("clock",), 'name a sound device: [clock] and under it "USB" = "+35 ppm"')
        return {}
    for name, value in table.items():
        try:
            parsing.clock(str(value), option=name)
        except RequestError as error:
            wrong(("clock", name), error.message)
    return {name: str(value) for name, value in table.items()}


def _check_names(machine: Machine, wrong: _Wrong) -> None:
    belts, duties = machine.belts, machine.duties
    for pair in machine.pairs.values():
        if pair.name in belts:
            wrong(("pairs", pair.name), f'"{pair.name}" is a belt already: call the pair otherwise')
        for index, name in enumerate(pair.belts):
            if name not in belts:
                hint = meant(name, list(belts)) if len(wrong.found) < NAMES_LISTED else ""
                wrong(("pairs", pair.name, "belts", index), f'no belt "{name}"{hint}')
    for belt in machine.belts.values():
        if belt.axis is not None and belt.axis not in duties:
            hint = meant(belt.axis, list(duties)) if len(wrong.found) < NAMES_LISTED else ""
            words = f'axis = "{belt.axis}": there is no [duty.{belt.axis}]{hint}'
            wrong(("belts", belt.name, "axis"), words)
