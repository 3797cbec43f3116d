"""Write the book file of the present version that later versions must be able to open.

    PYTHONPATH=. python tests/store/make_book.py tests/data/books/version-1.sqlite

Run once for each version of the book; the files stay for ever, as written by the program that had
that version.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

from beltpitch.store.log import History
from tests.store.workshop import sitting


def main() -> None:
    path = Path(sys.argv[1])
    with History(path) as history:
        history.keep(
            sitting(70.2, digest="d" * 64, note="first \N{LATIN SMALL LETTER E WITH ACUTE}")
        )
        history.keep(sitting(70.3, digest="d" * 64, seen="frayed edge"))
        history.keep(sitting(69.8, day=30, event="tensioned", temperature_c=19.5, flac=b"fLaC"))
        history.keep(sitting(69.5, day=61, strand="left", taken=dt.datetime.now(dt.UTC)))
    with closing(sqlite3.connect(path)) as link:
        link.execute("PRAGMA journal_mode = DELETE")
        link.execute("VACUUM")


if __name__ == "__main__":
    main()
