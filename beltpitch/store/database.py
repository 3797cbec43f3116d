"""The book as a file: SQLite, one transaction a change, versions and their migrations.

Write-ahead log with full synchronisation: what was reported as kept survives the end of the
process and of the power; two processes wait for each other. The version of the file is SQLite's
``user_version``; an older book is brought up to date in one transaction, a newer one is refused.

Conventions: times are ISO 8601 in UTC with a trailing Z, so that they sort as text.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from platformdirs import user_data_dir

from beltpitch.errors import BeltpitchError, CannotTell, RequestError

APPLICATION_ID = 0x62656C74  # "belt"
WAIT_S = 15.0  # for another process that is writing
RETRY_S = 0.02
FILE_NAME = "book.sqlite"

# MIGRATIONS[v] brings a book of version v to version v + 1; version 0 is an empty file.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        # One entry a sitting with one belt; what it says is its latest revision. The columns that
        # lists need are repeated here, so that a list reads no records.
        """CREATE TABLE entry (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            taken TEXT NOT NULL,
            machine TEXT NOT NULL,
            belt TEXT NOT NULL,
            strand TEXT,
            park TEXT,
            source TEXT NOT NULL,
            digest TEXT,
            event TEXT,
            temperature_c REAL,
            note TEXT,
            seen TEXT,
            revision INTEGER NOT NULL,
            verdict TEXT NOT NULL,
            frequency_hz REAL,
            preload_n REAL,
            preload_u_n REAL
        ) STRICT""",
        "CREATE INDEX entry_by_time ON entry (taken)",
        "CREATE INDEX entry_by_belt ON entry (machine, belt, taken)",
        "CREATE INDEX entry_by_digest ON entry (digest) WHERE digest IS NOT NULL",
        """CREATE TABLE revision (
            entry INTEGER NOT NULL REFERENCES entry ON DELETE CASCADE,
            number INTEGER NOT NULL,
            kept TEXT NOT NULL,
            program TEXT NOT NULL,
            record TEXT NOT NULL,
            PRIMARY KEY (entry, number)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TABLE sound (
            entry INTEGER PRIMARY KEY REFERENCES entry ON DELETE CASCADE,
            flac BLOB NOT NULL
        ) STRICT""",
    ),
)
BOOK_VERSION = len(MIGRATIONS)


def default_path() -> Path:
    """Return where the user's own book lies."""
    return Path(user_data_dir("beltpitch", appauthor=False)) / FILE_NAME


def connect(path: Path, *, create: bool) -> sqlite3.Connection:
    """Open a book file, made or brought up to date as needed.

    Parameters
    ----------
    path
        The file.
    create
        Whether to make it if it is not there.

    Raises
    ------
    RequestError
        If it is not there, is no book, or was written by a newer program.
    CannotTell
        If the disk does not allow it.
    """
    if not create and not path.exists():
        raise RequestError(f"no book at {path}: nothing was kept there yet; name one with --book")
    if path.is_dir():
        raise RequestError(f"{path} is a folder; name a file for the book, as in {FILE_NAME}")
    with told(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        link = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
        try:
            _prepare(link, path)
        except BaseException:
            link.close()
            raise
    return link


def _prepare(link: sqlite3.Connection, path: Path) -> None:
    _check(link, path)
    _retry(link, "PRAGMA journal_mode = WAL")
    link.execute("PRAGMA synchronous = FULL")
    link.execute("PRAGMA foreign_keys = ON")
    if _number(link, "user_version") < BOOK_VERSION:
        with transaction(link):
            _migrate(link)


def _check(link: sqlite3.Connection, path: Path) -> None:
    version, owner = _number(link, "user_version"), _number(link, "application_id")
    tables = link.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if owner != APPLICATION_ID and (tables or version or owner):
        raise RequestError(
            f"{path} is a database of another program; name another file with --book"
        )
    if version > BOOK_VERSION:
        raise RequestError(
            f"{path} was written by a newer beltpitch (book version {version}, this program knows "
            f"up to {BOOK_VERSION}): update beltpitch; the book was left as it is"
        )


def _number(link: sqlite3.Connection, pragma: str) -> int:
    return int(link.execute(f"PRAGMA {pragma}").fetchone()[0])


def _retry(link: sqlite3.Connection, statement: str) -> None:
    """Execute a statement that SQLite does not wait for by itself when another process writes."""
    end = time.monotonic() + WAIT_S
    while True:
        try:
            link.execute(statement).fetchone()
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > end:
                raise
            time.sleep(RETRY_S)
        else:
            return


def _migrate(link: sqlite3.Connection) -> None:
    """Bring the book up to date; another process may just have done so."""
    for version in range(_number(link, "user_version"), BOOK_VERSION):
        for statement in MIGRATIONS[version]:
            link.execute(statement)
        link.execute(f"PRAGMA user_version = {version + 1}")
    link.execute(f"PRAGMA application_id = {APPLICATION_ID}")


@contextmanager
def transaction(link: sqlite3.Connection) -> Iterator[None]:
    """Do what follows whole or not at all."""
    link.execute("BEGIN IMMEDIATE")
    try:
        yield
        link.execute("COMMIT")
    except BaseException:
        if link.in_transaction:
            link.execute("ROLLBACK")
        raise


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite and the disk say into one line of ours."""
    try:
        yield
    except BeltpitchError:
        raise
    except sqlite3.OperationalError as error:
        raise CannotTell(f"{_trouble(str(error), path)}; nothing was changed in it") from None
    except sqlite3.DatabaseError as error:
        raise RequestError(
            f"{path} is not a book of beltpitch, or is damaged ({error}); name another with --book"
        ) from None
    except OSError as error:
        raise CannotTell(
            f"the book {path} cannot be made: {error.strerror or error}; name another with --book"
        ) from None


def _trouble(message: str, path: Path) -> str:
    if "full" in message or "disk I/O" in message:
        return f"no room or no luck on the disk of the book {path} ({message})"
    if "locked" in message:
        return f"another program has held the book {path} for {WAIT_S:.0f} s; try again"
    if "readonly" in message or "unable to open" in message:
        return f"the book {path} cannot be written ({message}); name another with --book"
    return f"the book {path} cannot be used ({message})"
