"""Keep COUNT readings in a book under a belt's NAME: ``writer_child.py BOOK COUNT NAME``."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from beltpitch.store.log import History
from tests.store.kill_nursery import SOUND, blank


def main() -> None:
    path, count, name = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
    for i in range(count):  # opened anew each time, as the command does
        with History(path) as history:
            kept = history.keep(replace(blank(), belt=name, flac=SOUND if i % 4 == 0 else None))
        sys.stdout.write(f"{kept.id}\n")


if __name__ == "__main__":
    main()
