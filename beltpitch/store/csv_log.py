"""Entries as CSV and JSON, out and in.

A text that a spreadsheet would take for a formula (it begins with ``=``, ``+``, ``-``, ``@``, a tab
or a return) gets an apostrophe before it, and so does one that begins with an apostrophe; reading
it back takes that away, so that nothing is changed by the way out and in. The file begins with a
byte order mark, by which spreadsheets know UTF-8.

Conventions: one line an entry, columns by name in any order; times in UTC, forces in newtons.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from beltpitch.advice.window import OLD_WORD, WORDS, Word
from beltpitch.errors import RequestError, SourceError
from beltpitch.reading import Reading
from beltpitch.session.verdict import Verdict
from beltpitch.store.dates import moment
from beltpitch.store.entries import meant
from beltpitch.store.log import EVENTS, Entry, EntrySummary, Filter, History, NewEntry, utc_text
from beltpitch.uncertainty import Estimate

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
LARGEST_BYTES = 100_000_000
IMPORTED_U = 0.05  # of the preload, where a row has no doubt: common practice, no source
COLDEST_C = -273.15
NUMBERS = ("temperature_c", "frequency_hz", "preload_n", "preload_u_n")
COLUMNS = (
    "id",
    "taken",
    "machine",
    "belt",
    "strand",
    "park",
    "source",
    "event",
    "verdict",
    "frequency_hz",
    "preload_n",
    "preload_u_n",
    "temperature_c",
    "note",
    "seen",
    "digest",
    "revision",
)


def csv_of(lines: Iterable[EntrySummary]) -> str:
    """Return entries as the text of a CSV file."""
    out = io.StringIO(newline="")
    out.write("\N{ZERO WIDTH NO-BREAK SPACE}")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for line in lines:
        writer.writerow([_cell(line, column) for column in COLUMNS])
    return out.getvalue()


def _cell(line: EntrySummary, column: str) -> str:
    value = getattr(line, column)
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return utc_text(value)
    if isinstance(value, int | float):
        return repr(value)
    return escaped(str(value))


def escaped(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def unescaped(text: str) -> str:
    """Return the text that was escaped; others as they are."""
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA_STARTS) else text


def json_of(entry: Entry) -> dict[str, Any]:
    """Return an entry whole as JSON: what a list shows, and the record of its latest revision."""
    line = {column: getattr(entry.line, column) for column in COLUMNS}
    return {
        **line,
        "taken": utc_text(entry.line.taken),
        "kept": utc_text(entry.kept),
        "program": entry.program,
        "has_sound": entry.has_sound,
        "record": entry.record,
    }


# --- in -----------------------------------------------------------------------------------------


def sittings_from(path: Path) -> list[NewEntry]:
    """Return the readings of a CSV file, to be kept.

    Raises
    ------
    RequestError
        If the file cannot be read, or a row does not say what it must; nothing was kept then.
    """
    rows = csv.DictReader(io.StringIO(_text(path), newline=""), strict=True)
    try:
        _check_columns(path, list(rows.fieldnames or ()))
        return list(_sittings(path, rows))
    except csv.Error as error:
        raise RequestError(f"{path}, line {rows.line_num}: not CSV: {error}") from None


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise RequestError(f"{path} is too large to be a table of readings")
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise RequestError(f"{path} cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise RequestError(
            f"{path} is no text in UTF-8: save it as CSV UTF-8 (comma separated)"
        ) from None


def _check_columns(path: Path, names: list[str]) -> None:
    if len(names) == 1 and ";" in names[0]:
        raise RequestError(f"{path} is separated by semicolons: save it separated by commas")
    for name in names:
        if name not in COLUMNS:
            raise RequestError(
                f'{path}: no column "{name}" is known{meant(name, list(COLUMNS))}; known are '
                f"{', '.join(COLUMNS)}"
            )
    missing = [name for name in ("taken", "belt", "preload_n") if name not in names]
    if missing:
        raise RequestError(f"{path}: the column {' and '.join(missing)} is missing")


def _sittings(path: Path, rows: csv.DictReader[str]) -> Iterator[NewEntry]:
    for row in rows:
        place = f"{path}, line {rows.line_num}"
        if None in row or None in row.values():
            raise RequestError(f"{place}: more or fewer cells than the first line has")
        yield _sitting(place, {key: value.strip() for key, value in row.items() if value.strip()})


def _sitting(place: str, row: Mapping[str, str]) -> NewEntry:
    def words(name: str) -> str | None:
        return unescaped(row[name]) if name in row else None

    number = {name: _number(place, name, row[name]) for name in NUMBERS if name in row}
    missing = [name for name in ("taken", "belt") if name not in row]
    if missing:
        raise RequestError(f"{place}: no {' and no '.join(missing)}")
    reading = _reading(place, number, words("source") or "imported", words("strand"))
    event = row.get("event")
    if event is not None and event not in EVENTS:
        raise RequestError(f'{place}: event "{event}" is none of {", ".join(EVENTS)}')
    return NewEntry(
        verdict=Verdict(reading, None, _word(place, row.get("verdict")), "Imported.", ()),
        belt=words("belt") or "",
        taken=moment(row["taken"], f"{place}: taken"),
        machine=words("machine") or "",
        park=words("park"),
        event=event,
        temperature_c=number.get("temperature_c"),
        note=words("note"),
        seen=words("seen"),
        inputs={"imported": dict(row)},
    )


def _number(place: str, name: str, text: str) -> float:
    least = COLDEST_C if name == "temperature_c" else 0.0
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value >= least and "_" not in text):
        raise RequestError(
            f"{place}: {name} {text!r} is no number of at least {least:g}; write it as 37.5, "
            "without a unit"
        )
    return value


def _reading(place: str, number: Mapping[str, float], source: str, strand: str | None) -> Reading:
    value = number.get("preload_n")
    if not value:
        raise RequestError(f"{place}: no preload_n above zero")
    u = number.get("preload_u_n") or IMPORTED_U * value
    hertz = number.get("frequency_hz")
    return Reading(
        source=source,
        strand=strand,
        frequency=None if not hertz else Estimate(hertz),
        preload=Estimate.single(value, u, name="imported", key="row:imported"),
        echoes=(f"imported; u {u:.3g} N",),
    )


def _word(place: str, text: str | None) -> Word:
    if text in (None, "", OLD_WORD):
        return "cannot tell"
    for word in WORDS:
        if text == word:
            return word
    raise RequestError(f'{place}: verdict "{text}" is none of {", ".join(WORDS)}')


def keep_all(history: History, sittings: Iterable[NewEntry]) -> tuple[int, int]:
    """Keep readings that are not in the book yet; return (kept, there already)."""
    kept = there = 0
    for sitting in sittings:
        reading = sitting.verdict.reading
        same = Filter(sitting.machine, sitting.belt, sitting.taken, sitting.taken)
        if history.holds(same, reading.source, reading.strand):
            there += 1
        else:
            history.keep(sitting)
            kept += 1
    return kept, there


LARGEST_BYTES = 1_000_000


def table_lines(path: Path) -> list[str]:
    """Return the lines of a text table.

    Raises
    ------
    SourceError
        If there is no such file, or it is no text.
    """
    if path.is_dir():
        raise SourceError(f"{path} is a folder: give the table itself, a CSV file")
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise SourceError(f"{path} is larger than a megabyte: that is no table of weights")
        raw = path.read_bytes()
    except OSError as error:
        raise SourceError(f"{path} cannot be read: {error.strerror or error}") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SourceError(
            f"{path} is no text in UTF-8: save the table as CSV (comma separated, UTF-8)"
        ) from None
    if "\0" in text:
        raise SourceError(f"{path} is no text: save the table as CSV")
    return text.splitlines()
