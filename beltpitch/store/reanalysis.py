"""Reading a kept sound again, as a later version of the program hears it."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

from beltpitch import parsing
from beltpitch.errors import CannotTell, RequestError
from beltpitch.reading import read
from beltpitch.session.verdict import Verdict, judged
from beltpitch.store.entries import belt_from
from beltpitch.store.log import History, NewEntry, SavedEntry
from beltpitch.store.named_belts import named


def read_again(history: History, number: int) -> tuple[SavedEntry, Verdict]:
    """Read the sound of an entry again and keep the answer as its new revision.

    Belt, span, window and the rate error of the sound device are those it was kept with.

    Raises
    ------
    RequestError
        If there is no such entry, or its sound or its belt were not kept.
    CannotTell
        If the sound gives no answer now; the book is left as it is.
    """
    entry = history.entry(number)
    flac = history.sound(number)
    texts = dict(entry.record["inputs"].get("belt") or {})
    name = str(texts.pop("name", entry.line.belt))
    if not texts:
        raise RequestError(
            f"entry {number} does not say which belt it was: it cannot be read again"
        )
    made = named(belt_from(name, texts), entry.line.machine)
    with tempfile.TemporaryDirectory(prefix="beltpitch-") as folder:
        path = Path(folder) / "sound.flac"
        path.write_bytes(flac)
        clock = entry.record["inputs"].get("clock")
        rate_error = parsing.clock(clock)[0] if clock else None
        reading = read(path, belt=made.belt, span=made.span, rate_error=rate_error)
    if reading.frequency is None:
        raise CannotTell(f"entry {number} gives no answer now: {reading.warnings[0]}")
    reading = replace(reading, source=entry.line.source, strand=entry.line.strand)
    verdict = judged(reading, entry.window)
    sitting = NewEntry(
        verdict=verdict,
        belt=entry.line.belt,
        taken=entry.line.taken,
        machine=entry.line.machine,
        digest=entry.line.digest,
        inputs=entry.record["inputs"],
    )
    return history.keep(sitting, into=number), verdict
