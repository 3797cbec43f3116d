"""Keep readings until the disk is full: ``full_disk_child.py BOOK BYTES``.

The limit is the process's own on the size of a file, which is what a full disk looks like to it.
Prints the numbers that were reported as kept, then what was said at the end.
"""

from __future__ import annotations

import resource
import sys
from dataclasses import replace
from pathlib import Path

from beltpitch.errors import CannotTell
from beltpitch.store.log import History
from tests.store.kill_nursery import SOUND, blank


def main() -> None:
    book, limit = Path(sys.argv[1]), int(sys.argv[2])
    with History(book) as history:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        try:
            while True:
                kept = history.keep(replace(blank(), flac=SOUND))
                sys.stdout.write(f"{kept.id}\n")
        except CannotTell as error:
            sys.stdout.write(f"said: {error.message}\n")


if __name__ == "__main__":
    main()
