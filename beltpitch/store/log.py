"""The history: every reading taken with a machine, kept in the book and found again.

An entry is one sitting with one belt. A recording is known by its digest: read again, it becomes a
new revision of its own entry, and the entry says what its latest revision says. Deleting needs the
entry's number.

Conventions: times are aware and in UTC; forces in newtons, temperatures in degrees Celsius.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

from beltpitch.advice.window import Window
from beltpitch.errors import RequestError
from beltpitch.session.verdict import Verdict
from beltpitch.store import database
from beltpitch.store.records import Estimates, estimates_from, record_of, window_from

Event = Literal["tensioned", "new belt"]
EVENTS: tuple[Event, ...] = ("tensioned", "new belt")
LONGEST_TEXT = 2000
COLUMNS = (
    "id, taken, machine, belt, strand, park, source, digest, event, temperature_c, note, seen, "
    "revision, verdict, frequency_hz, preload_n, preload_u_n"
)


@dataclass(frozen=True, slots=True)
class NewEntry:
    """A reading to be kept.

    Parameters
    ----------
    verdict
        What was read.
    belt
        Name of the belt on its machine.
    taken
        When, aware.
    machine
        Name of the machine; empty for none.
    park
        Where the axis stood.
    digest
        Of the recording it came from; None for a typed one.
    event
        What had been done to the belt just before it.
    temperature_c
        Of the shop.
    note, seen
        Free words; and what an inspection found on the belt.
    inputs
        What was asked for, as texts, so that it can be read again.
    flac
        The sound, to be kept too.
    taken_said
        Whether somebody said when; it then corrects the time of an entry that is there.
    """

    verdict: Verdict
    belt: str
    taken: dt.datetime
    machine: str = ""
    park: str | None = None
    digest: str | None = None
    event: Event | None = None
    temperature_c: float | None = None
    note: str | None = None
    seen: str | None = None
    inputs: Mapping[str, Any] = field(default_factory=dict)
    flac: bytes | None = None
    taken_said: bool = False

    def __post_init__(self) -> None:
        if self.taken.tzinfo is None:
            raise ValueError("the time of a reading must be aware of its time zone")
        if not self.belt:
            raise RequestError("a reading is kept under its belt's name: give one")


@dataclass(frozen=True, slots=True)
class EntrySummary:
    """An entry as a list shows it."""

    id: int
    taken: dt.datetime
    machine: str
    belt: str
    strand: str | None
    park: str | None
    source: str
    digest: str | None
    event: str | None
    temperature_c: float | None
    note: str | None
    seen: str | None
    revision: int
    verdict: str
    frequency_hz: float | None
    preload_n: float | None
    preload_u_n: float | None


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry whole.

    Parameters
    ----------
    line
        What a list shows.
    record
        The record of its latest revision: ``reading`` is the JSON contract's.
    estimates
        With their parts; errors of its own sitting are keyed by its number.
    window
        It was judged by.
    program, kept
        Version of the program that made the revision, and when.
    has_sound
        Whether the sound was kept.
    """

    line: EntrySummary
    record: dict[str, Any]
    estimates: Estimates
    window: Window | None
    program: str
    kept: dt.datetime
    has_sound: bool


@dataclass(frozen=True, slots=True)
class SavedEntry:
    """Where a reading was kept: number of its entry, and its revision there (1 for a new one)."""

    id: int
    revision: int


@dataclass(frozen=True, slots=True)
class Filter:
    """Which entries are meant; None means any."""

    machine: str | None = None
    belt: str | None = None
    since: dt.datetime | None = None
    until: dt.datetime | None = None
    verdict: str | None = None

    def where(self) -> tuple[str, list[str]]:
        """Return the condition in SQL and its values."""
        asked = (
            ("machine = ?", self.machine),
            ("belt = ?", self.belt),
            ("taken >= ?", utc_text(self.since) if self.since else None),
            ("taken <= ?", utc_text(self.until) if self.until else None),
            ("verdict = ?", self.verdict),
        )
        given = [(words, value) for words, value in asked if value is not None]
        return " AND ".join(words for words, _ in given) or "1", [value for _, value in given]


class History:
    """The readings of one book file; use it as a context.

    Parameters
    ----------
    path
        The book; None for the user's own.
    create
        Whether to make the file if it is not there.
    """

    def __init__(self, path: Path | None = None, *, create: bool = True) -> None:
        self.path = path or database.default_path()
        self._link = database.connect(self.path, create=create)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the book."""
        self._link.close()

    def keep(self, sitting: NewEntry, *, into: int | None = None) -> SavedEntry:
        """Keep a reading, in one transaction; on return it is on the disk.

        Parameters
        ----------
        sitting
            The reading and what goes with it.
        into
            Number of the entry whose new revision it is; None finds it by the digest, or makes one.

        Raises
        ------
        CannotTell
            If the disk does not take it; then nothing was changed.
        """
        record = record_of(sitting.verdict, sitting.inputs)
        text = json.dumps(record, allow_nan=False)
        with database.told(self.path), database.transaction(self._link):
            known = self._known(sitting, into)
            kept = (
                SavedEntry(known[0], known[1] + 1)
                if known
                else SavedEntry(self._insert(sitting), 1)
            )
            self._revise(kept, sitting, record)
            self._link.execute(
                "INSERT INTO revision VALUES (?, ?, ?, ?, ?)",
                (kept.id, kept.revision, utc_text(now()), program(), text),
            )
            if sitting.flac is not None:
                self._link.execute(
                    "INSERT OR REPLACE INTO sound VALUES (?, ?)", (kept.id, sitting.flac)
                )
        return kept

    def _known(self, sitting: NewEntry, into: int | None) -> tuple[int, int] | None:
        """Return number and revision of the entry that this recording has already."""
        if into is None and sitting.digest is None:
            return None
        found = self._link.execute(
            "SELECT id, revision FROM entry WHERE id = ? "
            "OR (digest = ? AND machine = ? AND belt = ? AND strand IS ?) LIMIT 1",
            (into, sitting.digest, *_texts(sitting.machine, sitting.belt, _strand(sitting))),
        ).fetchone()
        if into is not None and found is None:
            raise RequestError(f"no entry {into} in the book {self.path}: see beltpitch history")
        return (int(found[0]), int(found[1])) if found else None

    def _insert(self, sitting: NewEntry) -> int:
        made = self._link.execute(
            "INSERT INTO entry (taken, machine, belt, strand, park, source, digest, revision, "
            "verdict) VALUES (?, ?, ?, ?, ?, ?, ?, 0, '')",
            (
                utc_text(sitting.taken),
                *_texts(sitting.machine, sitting.belt, _strand(sitting), sitting.park),
                *_texts(sitting.verdict.reading.source, sitting.digest),
            ),
        )
        assert made.lastrowid is not None
        return made.lastrowid

    def _revise(self, kept: SavedEntry, sitting: NewEntry, record: Mapping[str, Any]) -> None:
        """Let the entry say what its latest revision says; what was said before stays."""
        said = record["reading"]
        self._link.execute(
            "UPDATE entry SET revision = ?, verdict = ?, frequency_hz = ?, preload_n = ?, "
            "preload_u_n = ?, taken = coalesce(?, taken), event = coalesce(?, event), "
            "temperature_c = coalesce(?, temperature_c), note = coalesce(?, note), "
            "seen = coalesce(?, seen) WHERE id = ?",
            (
                kept.revision,
                said["verdict"],
                said["frequency_hz"],
                said["preload_n"],
                said["preload_u_n"],
                utc_text(sitting.taken) if sitting.taken_said else None,
                sitting.event,
                sitting.temperature_c,
                *_texts(sitting.note, sitting.seen),
                kept.id,
            ),
        )

    def lines(self, which: Filter | None = None, *, most: int | None = 20) -> list[EntrySummary]:
        """Return the latest entries, newest first; ``most`` None returns all."""
        where, values = (which or Filter()).where()
        limit = -1 if most is None else most
        with database.told(self.path):
            rows = self._link.execute(
                f"SELECT {COLUMNS} FROM entry WHERE {where} ORDER BY taken DESC, id DESC LIMIT ?",
                (*values, limit),
            ).fetchall()
        return [_line(row) for row in rows]

    def count(self, which: Filter | None = None) -> int:
        """Return how many entries there are."""
        where, values = (which or Filter()).where()
        with database.told(self.path):
            row = self._link.execute(f"SELECT count(*) FROM entry WHERE {where}", values).fetchone()
        return int(row[0])

    def belts(self) -> list[tuple[str, str]]:
        """Return every (machine, belt) that has an entry."""
        with database.told(self.path):
            rows = self._link.execute(
                "SELECT DISTINCT machine, belt FROM entry ORDER BY machine, belt"
            ).fetchall()
        return [(str(machine), str(belt)) for machine, belt in rows]

    def entries(self, which: Filter | None = None, *, most: int | None = 20) -> list[Entry]:
        """Return the latest entries whole, newest first."""
        return [self._whole(line, line.revision) for line in self.lines(which, most=most)]

    def entry(self, number: int, revision: int | None = None) -> Entry:
        """Return one entry whole, by default its latest revision.

        Raises
        ------
        RequestError
            If there is no such entry or revision.
        """
        with database.told(self.path):
            row = self._link.execute(
                f"SELECT {COLUMNS} FROM entry WHERE id = ?", (number,)
            ).fetchone()
        if row is None:
            raise RequestError(f"no entry {number} in the book {self.path}: see beltpitch history")
        line = _line(row)
        return self._whole(line, revision or line.revision)

    def _whole(self, line: EntrySummary, revision: int) -> Entry:
        with database.told(self.path):
            row = self._link.execute(
                "SELECT record, program, kept, EXISTS (SELECT 1 FROM sound WHERE entry = ?) "
                "FROM revision WHERE entry = ? AND number = ?",
                (line.id, line.id, revision),
            ).fetchone()
        if row is None:
            raise RequestError(
                f"entry {line.id} has revisions 1 to {line.revision}, none of number {revision}"
            )
        record = json.loads(row[0])
        return Entry(
            line=line,
            record=record,
            estimates=estimates_from(record, str(line.id)),
            window=window_from(record.get("window")),
            program=row[1],
            kept=_time(row[2]),
            has_sound=bool(row[3]),
        )

    def sound(self, number: int) -> bytes:
        """Return the sound of an entry as FLAC.

        Raises
        ------
        RequestError
            If none was kept.
        """
        with database.told(self.path):
            row = self._link.execute("SELECT flac FROM sound WHERE entry = ?", (number,)).fetchone()
        if row is None:
            raise RequestError(f"entry {number} has no sound: it is kept only with --sound")
        return bytes(row[0])

    def delete(self, number: int) -> None:
        """Delete one entry with its revisions and its sound.

        Raises
        ------
        RequestError
            If there is no such entry.
        """
        with database.told(self.path), database.transaction(self._link):
            gone = self._link.execute("DELETE FROM entry WHERE id = ?", (number,)).rowcount
        if not gone:
            raise RequestError(f"no entry {number} in the book {self.path}: see beltpitch history")

    def integrity(self) -> str:
        """Return what SQLite's own check of the file says: "ok", or what is wrong."""
        with (
            database.told(self.path),
            closing(self._link.execute("PRAGMA integrity_check")) as rows,
        ):
            return str(rows.fetchone()[0])

    def holds(self, which: Filter, source: str, strand: str | None) -> bool:
        """Return whether an entry like this is there already: same belt, time, source, strand."""
        where, values = which.where()
        with database.told(self.path):
            row = self._link.execute(
                f"SELECT 1 FROM entry WHERE {where} AND source = ? AND strand IS ? LIMIT 1",
                (*values, source, strand),
            ).fetchone()
        return row is not None


def _line(row: sqlite3.Row | tuple[Any, ...]) -> EntrySummary:
    number, taken, *rest = row
    return EntrySummary(number, _time(taken), *rest)


def _strand(sitting: NewEntry) -> str | None:
    return sitting.verdict.reading.strand


def _texts(*texts: str | None) -> tuple[str | None, ...]:
    """Return texts as the book can hold and every screen can show them: one line, no controls."""
    return tuple(None if text is None else one_line(text) for text in texts)


def one_line(text: str) -> str:
    """Return a text on one line, without control characters, at most `LONGEST_TEXT` long."""
    shown = "".join(c if c.isprintable() else " " for c in text)
    return shown.encode("utf-8", "replace").decode()[:LONGEST_TEXT].strip()


def utc_text(when: dt.datetime) -> str:
    """Return a time as the book writes it."""
    return when.astimezone(dt.UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def _time(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


def now() -> dt.datetime:
    """Return the time now, aware."""
    return dt.datetime.now(dt.UTC)


def digest_of(*paths: Path) -> str:
    """Return what recordings are known by: SHA-256 of their bytes, in order."""
    whole = hashlib.sha256()
    for path in paths:
        with path.open("rb") as file:
            whole.update(hashlib.file_digest(file, "sha256").digest())
    return whole.hexdigest()


def program() -> str:
    """Return the name and version of this program."""
    try:
        return f"beltpitch {version('beltpitch')}"
    except PackageNotFoundError:
        return "beltpitch, not installed"
