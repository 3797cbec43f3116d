"""Whether a large book is as quick as a small one: listing the last readings, drawing a trend.

    python -m calibration.book_speed

A book of 100,000 readings is made from one of 100 by copying rows in the database, so that every
row is a real one. Both books are read in turn within one run, the best of several rounds counts,
and what is claimed is the ratio.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from calibration.speed import Options, best, run_command

SMALL, LARGE = 100, 100_000
BELT, MACHINE = "y-left", "Northlight router"
PYTHON = [sys.executable, "-c", "from beltpitch.terminal.main import run; run()"]


def small_book(path: Path) -> None:
    """Keep `SMALL` readings of one belt, some days apart, as the command keeps them."""
    import datetime as dt

    from beltpitch import parsing
    from beltpitch.advice.window import target_window
    from beltpitch.reading import typed_reading
    from beltpitch.session.verdict import judged
    from beltpitch.store.log import History, NewEntry

    belt = parsing.belt("2GT 9 mm")
    span = parsing.span("412 +/- 1 mm", belt, ends="clamp,idler")
    start = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    with History(path) as history:
        for i in range(SMALL):
            texts = [f"{70 - 0.01 * i + 0.05 * ((i * 7) % 5):.2f} Hz"] * 3
            reading = typed_reading(parsing.typed(texts), belt, span)
            verdict = judged(replace(reading, source="typed"), target_window(40.0, 0.25))
            when = start + dt.timedelta(days=3 * i)
            history.keep(NewEntry(verdict, BELT, when, MACHINE, park="X = 100"))


def grow(path: Path, count: int) -> None:
    """Copy the rows of a book, one second later each time, until it holds `count`."""
    with closing(sqlite3.connect(path)) as link:
        for table in ("entry", "revision"):
            columns = [row[1] for row in link.execute(f"PRAGMA table_info({table})")]
            key = "id" if table == "entry" else "entry"
            shown = [_copied(column, key) for column in columns]
            for times in range(1, count // SMALL):
                link.execute(
                    f"INSERT INTO {table} ({', '.join(columns)}) SELECT {', '.join(shown)} "
                    f"FROM {table} WHERE {key} <= {SMALL}",
                    {"times": times, "size": SMALL},
                )
        link.commit()


def _copied(column: str, key: str) -> str:
    if column == key:
        return f"{column} + :times * :size"
    if column == "taken":
        return "strftime('%Y-%m-%dT%H:%M:%S.000000Z', taken, '+' || :times || ' seconds')"
    return column


def _command(*words: str) -> Callable[[], object]:
    return run_command([*PYTHON, *words])


def books(options: Options) -> str:
    """Return the table of times with a small and a large book, and their ratio."""
    with tempfile.TemporaryDirectory(prefix="beltpitch-") as folder:
        small, large = Path(folder) / "small.sqlite", Path(folder) / "large.sqlite"
        small_book(small)
        large.write_bytes(small.read_bytes())
        grow(large, LARGE)
        picture = str(Path(folder) / "trend.png")
        works = [
            _command("history", *words, "--book", str(book))
            for words in (("--all",), ("trend", BELT, "--picture", picture))
            for book in (small, large)
        ]
        times = best(options.rounds, works)
    lines = [f"| what | book of {SMALL}, s | book of {LARGE}, s | ratio |", "|---|---|---|---|"]
    for what, (before, after) in zip(
        ("list the last 20", "draw a trend"), (times[:2], times[2:]), strict=True
    ):
        lines.append(f"| {what} | {before:.2f} | {after:.2f} | {after / before:.2f} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(books(Options(rounds=3, files=0, write=False)))
