"""Writing machine files: a new one, or a belt or a pair into one that is there.

Comments and order survive (tomlkit). A file is replaced whole or not at all, and never by one that
could not be read again.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import fields
from pathlib import Path
from typing import Any

from beltpitch.errors import RequestError
from beltpitch.store.entries import BeltEntry, PairEntry, TensionerEntry
from beltpitch.store.machine_file import Machine, first_of, load, parsed, text_of

_HEAD = """\
# Belts of one machine, for beltpitch. Edit freely: comments and order are kept.
# A number may say its doubt: "412 +/- 1 mm" is a limit you are sure of.

"""


def written(machine: Machine) -> str:
    """Return a machine as the text of a new file."""
    tomlkit = _tomlkit()

    document = tomlkit.document()
    apart = ("belts", "pairs", "duties", "clocks", "path")
    document.add("machine", _toml_table(filled(machine, apart)))
    for table, entries in (
        ("belts", machine.belts.values()),
        ("pairs", machine.pairs.values()),
        ("duty", machine.duties.values()),
    ):
        if len(entries):
            holder = tomlkit.table(is_super_table=True)
            for entry in entries:
                holder.add(entry.name, _toml_table(filled(entry, ("name",))))
            document.add(table, holder)
    if machine.clocks:
        document.add("clock", _toml_table(dict(machine.clocks)))
    return _HEAD + str(tomlkit.dumps(document))


def save(machine: Machine, path: str | Path) -> None:
    """Write a new machine file.

    Raises
    ------
    RequestError
        If there is a file already, or it cannot be written.
    """
    file = Path(path)
    if file.exists():
        raise RequestError(f"{file} is there already; edit it, or name another with --machine")
    _replace(file, written(machine))


def add_belt(path: str | Path, entry: BeltEntry, *, over: bool = False) -> None:
    """Write a belt into a machine file, keeping its comments and order; make the file if needed.

    Parameters
    ----------
    path
        The machine file.
    entry
        The belt.
    over
        Whether to write over a belt of that name: its keys are set, others left as they are.

    Raises
    ------
    RequestError
        If the name is taken, or the file would no longer be right.
    """
    _add(Path(path), "belts", entry, over=over)


def add_pair(path: str | Path, entry: PairEntry, *, over: bool = False) -> None:
    """Write a pair into a machine file; as `add_belt`."""
    _add(Path(path), "pairs", entry, over=over)


def _add(file: Path, table: str, entry: BeltEntry | PairEntry, *, over: bool) -> None:
    tomlkit = _tomlkit()

    if not file.exists():
        save(Machine(name=file.resolve().parent.name or "machine"), file)
    load(file)  # a file with a mistake is not touched
    text = text_of(file)
    document = tomlkit.parse(text)
    holder: Any = document.get(table)
    if holder is None:
        holder = tomlkit.table(is_super_table=True)
        document.append(table, holder)
        holder = document[table]
    if entry.name in holder and not over:
        raise RequestError(f'{file.name} has "{entry.name}" already; choose another name')
    values = filled(entry, ("name",))
    if entry.name in holder:
        for key, value in values.items():
            holder[entry.name][key] = value
    else:
        made = _toml_table(values)
        made.add(tomlkit.nl())
        holder.append(entry.name, made)
    changed = tomlkit.dumps(document).rstrip("\r\n") + "\n"
    _, wrong = parsed(changed, file)
    if wrong:
        raise RequestError(first_of(wrong, file) + "; nothing was written")
    _replace(file, changed)


def filled(entry: Any, without: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the fields that differ from their defaults, as TOML can hold them."""
    found: dict[str, Any] = {}
    for one in fields(entry):
        value = getattr(entry, one.name)
        if one.name in without or value is None or value == one.default:
            continue
        if isinstance(value, TensionerEntry):
            value = filled(value, ())
        found[one.name] = list(value) if isinstance(value, tuple) else value
    return found


def as_texts(entry: BeltEntry) -> dict[str, Any]:
    """Return a belt as written, as JSON can hold it; `entries.belt_from` reads it."""
    found = filled(entry)
    if entry.fitted is not None:
        found["fitted"] = entry.fitted.isoformat()
    return found


def _toml_table(values: dict[str, Any]) -> Any:
    tomlkit = _tomlkit()

    table = tomlkit.table()
    for key, value in values.items():
        if isinstance(value, dict):
            inline = tomlkit.inline_table()
            inline.update(value)
            table.add(key, inline)
        else:
            table.add(key, value)
    return table


def _replace(file: Path, text: str) -> None:
    """Write a file whole or not at all."""
    target = file.resolve()
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".beltpitch-", suffix=".toml")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as out:
                out.write(text)
                out.flush()
                os.fsync(out.fileno())
            mode = target.stat().st_mode & 0o777 if target.exists() else 0o644
            Path(name).chmod(mode)
            Path(name).replace(target)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise RequestError(f"{file} cannot be written: {error.strerror or error}") from None


def _tomlkit() -> Any:
    """Return the editor of TOML, loaded where a file is changed."""
    import tomlkit

    return tomlkit
