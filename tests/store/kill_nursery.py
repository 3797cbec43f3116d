"""Start writers of a book, kill each at a random moment, and look at the book after every kill.

Run as a script by test_book.py: ``kill_nursery.py FOLDER ROUNDS SEED``; prints a JSON summary. One
process imports everything once and forks the writers, so that two hundred of them take seconds.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path

from beltpitch.reading import Reading
from beltpitch.session.verdict import judged
from beltpitch.store.log import History, NewEntry

LONGEST_S = 0.02
MOST_FIRST = 6  # readings it may keep before the kill comes near
ROUNDS_A_BOOK = 20  # so that books are also killed while they are made
SOUND = bytes(range(256)) * 200


def blank() -> NewEntry:
    when = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    return NewEntry(judged(Reading(source="typed")), belt="y", taken=when, machine="m")


def write_for_ever(book: Path, out: int) -> None:
    """Keep readings and report each as soon as it is said to be kept."""
    with History(book) as history:
        count = 0
        while True:
            count += 1
            flac = SOUND if count % 3 == 0 else None
            kept = history.keep(replace(blank(), note=f"number {count}", flac=flac))
            os.write(out, f"{kept.id} {len(flac or b'')}\n".encode())


def one_round(book: Path, chance: random.Random) -> tuple[list[tuple[int, int]], bool]:
    """Return what a killed writer had reported, and whether its log was left behind."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        try:
            write_for_ever(book, write)
        finally:
            os._exit(1)
    os.close(write)
    with os.fdopen(read) as pipe:
        first = "".join(pipe.readline() for _ in range(chance.randint(0, MOST_FIRST)))
        time.sleep(chance.uniform(0.0, LONGEST_S))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = (first + pipe.read()).split("\n")
    reported = [tuple(int(word) for word in line.split()) for line in lines[:-1]]
    log = book.with_name(book.name + "-wal")
    return [(r[0], r[1]) for r in reported], log.exists() and log.stat().st_size > 0


def check(book: Path, reported: dict[int, int]) -> None:
    """Look at the whole book: sound by SQLite's own check, and nothing reported is missing."""
    with History(book) as history:
        assert history.integrity() == "ok"
        kept = {line.id for line in history.lines(most=None)}
        assert set(reported) <= kept, sorted(set(reported) - kept)
        for number, size in reported.items():
            entry = history.entry(number)
            assert entry.has_sound == (size > 0)
        for number in sorted(reported)[-2:]:
            if reported[number]:
                assert history.sound(number) == SOUND


def main() -> None:
    folder, rounds, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    chance = random.Random(seed)
    total = logs = idle = 0
    reported: dict[int, int] = {}
    book = folder / "book-0.sqlite"
    for number in range(rounds):
        if number % ROUNDS_A_BOOK == 0:
            book, reported = folder / f"book-{number}.sqlite", {}
        found, log = one_round(book, chance)
        reported |= dict(found)
        total, logs, idle = total + len(found), logs + log, idle + (not found)
        check(book, reported)
    print(json.dumps({"kills": rounds, "kept": total, "logs": logs, "idle": idle}))  # noqa: T201


if __name__ == "__main__":
    main()
