"""Tables kept in the documents, each with what it was measured on.

A table stands between two comment lines. The first holds, as JSON, seed, count, date, the digest
of the source files measured and the bare counts, so that a test can say "stale" and re-run a part.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
ACCURACY = ROOT / "docs" / "accuracy.md"
SPEED = ROOT / "docs" / "speed.md"
STUDY = ROOT / "docs" / "study.md"
COVERED = ROOT / "docs" / "coverage.md"
SHARED = ("corpus.py", "files.py", "measures.py", "ours.py", "peers.py", "simulator.py")
SCRIPTS = {
    "accuracy.md": ("accuracy.py", "bound.py", "efficiency.py", *SHARED),
    "speed.md": ("speed.py", "book_speed.py", *SHARED),
    "coverage.md": (
        *("coverage.py", "setups.py", "intervals.py", "efforts.py", "measures.py", "simulator.py"),
    ),
}
ALSO = {"coverage.md": ("estimate.py",)}  # of the program
# Of sound/, what knows the live device and nothing else: no table is measured through it.
DEVICE = ("microphone.py", "hushed.py")
SHOWN_DIGITS = 12  # of the digest, in the line under a table


def measured_files(document: Path) -> list[Path]:
    """Return the source files whose change makes the tables of a document stale, sorted.

    beltpitch/sound but for the live device, beltpitch/belt, beltpitch/reading.py, the script that
    writes the document and the modules it measures with. For the page on studies:
    advice/study*.py.
    """
    if document.name == STUDY.name:
        advice = ROOT / "beltpitch" / "advice"
        own = [*advice.glob("study_[jpqt]*.py"), ROOT / "calibration" / "studies.py"]
        return sorted(own)
    found = [
        *(ROOT / "beltpitch" / "sound").rglob("*.py"),
        *(ROOT / "beltpitch" / "belt").rglob("*.py"),
        *(ROOT / "beltpitch" / "belt").rglob("*.toml"),
        ROOT / "beltpitch" / "reading.py",
        *(ROOT / "beltpitch" / name for name in ALSO.get(document.name, ())),
        *(ROOT / "calibration" / name for name in SCRIPTS[document.name]),
    ]
    return sorted(path for path in found if path.is_file() and path.name not in DEVICE)


def digest(document: Path) -> str:
    """Return SHA-256 over names and contents of the measured files (line ends as LF)."""
    total = hashlib.sha256()
    for path in measured_files(document):
        content = path.read_bytes().replace(b"\r\n", b"\n")
        total.update(path.relative_to(ROOT).as_posix().encode())
        total.update(hashlib.sha256(content).digest())
    return total.hexdigest()


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
        "digest": digest(document),
    }
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
