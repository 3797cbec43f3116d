"""Tables kept in the documents, each with what it was measured on.

A table stands between two comment lines. The first holds, as JSON, seed, count, date, the digest
of the code measured and the bare counts, so that a table can be called stale and a part of it made
again. Stale is a warning while the code is worked on (the tests print it at their end) and an
error before a release (`python -m calibration.release`).
"""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calibration import syntax

ROOT = Path(__file__).resolve().parent.parent
ACCURACY = ROOT / "docs" / "accuracy.md"
SPEED = ROOT / "docs" / "speed.md"
STUDY = ROOT / "docs" / "study.md"
COVERED = ROOT / "docs" / "coverage.md"
# What makes the cells of the tables of a document, or of a table of its own: everything that these
# functions can run counts (see syntax.py), and nothing else does.
ROOTS: Mapping[str, tuple[str, ...]] = {
    "accuracy.md": (
        *("accuracy:hear", "accuracy:tabulate", "accuracy:threshold_text"),
        *("efficiency:once", "efficiency:line"),
    ),
    # The live table's screen is left out: each word on it would make the table stale.
    "speed.md": ("speed:throughput", "speed:throughput_real", "speed:growth", "speed:processes"),
    "coverage.md": (
        *("coverage:wishes", "coverage:measure", "coverage:classes_table", "coverage:held_table"),
        *("coverage:parks_table", "coverage:width_table", "setups:setup"),
        *("intervals:covered", "intervals:line", "efforts:table"),
    ),
    "study.md": ("studies:study", "studies:cells_of", "studies:table"),
    "study.md next": ("studies_next:both", "studies_next:line"),
}
DOCUMENTS = (ACCURACY, SPEED, COVERED, STUDY)
UNCOUNTED = ("calibration.evidence",)
SHOWN_DIGITS = 12  # of the digest, in the line under a table


@functools.cache
def _of_code(roots: tuple[str, ...]) -> str:
    sources = syntax.Sources(ROOT, UNCOUNTED)
    return sources.digest([f"calibration.{each}" for each in roots])


def digest(document: Path, table: str = "") -> str:
    """Return the SHA-256 of what a table of a document depends on.

    That is the code that its cells can run, as `calibration.syntax` reduces it, and for the
    coverage the figures of the catalogue that its set-ups use.
    """
    roots = ROOTS.get(f"{document.name} {table}") or ROOTS[document.name]
    found = _of_code(roots)
    if document.name != COVERED.name:
        return found
    from calibration.setups import catalogue_figures

    figures = " ".join(f"{each:.12g}" for each in catalogue_figures())
    return hashlib.sha256(f"{found} {figures}".encode()).hexdigest()


def stale() -> list[str]:
    """Return the tables that were made from other sources, as ``document: table``."""
    return [
        f"{document.name}: {table.name}"
        for document in DOCUMENTS
        for table in kept_tables(document)
        if table.record.get("digest") != digest(document, table.name)
    ]


@dataclass(frozen=True, slots=True)
class Kept:
    """A table as it stands in a document."""

    name: str
    record: Mapping[str, Any]
    text: str


def _pattern(name: str) -> re.Pattern[str]:
    return re.compile(
        rf"<!-- table {re.escape(name)} (\{{.*?\}}) -->\n(.*?)<!-- end {re.escape(name)} -->\n?",
        re.DOTALL,
    )


def kept_tables(document: Path) -> list[Kept]:
    """Return the tables of a document in their order."""
    text = document.read_text(encoding="utf-8")
    names = re.findall(r"<!-- table (\S+) ", text)
    found = []
    for name in names:
        match = _pattern(name).search(text)
        if match is None:
            raise ValueError(f"table {name} in {document.name} has no end")
        found.append(Kept(name, json.loads(match.group(1)), match.group(2)))
    return found


def _plain(counted: np.generic) -> int | float:
    """Return numpy's number as Python's, which json can write."""
    number: int | float = counted.item()
    return number


def keep(document: Path, name: str, table: str, record: Mapping[str, Any]) -> None:
    """Write a table into a document, in place of the one of that name or at the end.

    The record is completed by the date and the digest.
    """
    full = {
        **record,
        "date": dt.datetime.now(dt.UTC).date().isoformat(),
        "digest": digest(document, name),
    }
    _put(document, name, table, full)


def stamp(document: Path, because: str) -> None:
    """Write the digest of today's sources under the tables of a document, with the reason.

    For sources that were changed and still give the same tables; what is said in `because` must
    show that they do.
    """
    for table in kept_tables(document):
        now = digest(document, table.name)
        if table.record.get("digest") != now:
            full = {**table.record, "digest": now, "stamped": because}
            _put(document, table.name, table.text.rpartition("\n*")[0], full)


def _put(document: Path, name: str, table: str, full: Mapping[str, Any]) -> None:
    told = ", ".join(f"{key} {full[key]}" for key in ("seed", "count", "date") if key in full)
    kept = json.dumps(full, sort_keys=True, default=_plain)
    block = (
        f"<!-- table {name} {kept} -->\n{table.rstrip()}\n\n"
        f"*{told}, sources {full['digest'][:SHOWN_DIGITS]}*\n<!-- end {name} -->\n"
    )
    text = document.read_text(encoding="utf-8") if document.exists() else ""
    if _pattern(name).search(text):
        text = _pattern(name).sub(lambda _: block, text)
    else:
        text = f"{text.rstrip()}\n\n{block}".lstrip()
    document.parent.mkdir(exist_ok=True)
    document.write_text(text, encoding="utf-8")
