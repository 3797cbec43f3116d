"""The figures the README tells are those of the tables."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from calibration import evidence
from tests import readme

Row = Mapping[str, int]


def rows(document: Path, table: str) -> Mapping[str, Row]:
    (kept,) = (k for k in evidence.kept_tables(document) if k.name == table)
    found: Mapping[str, Row] = kept.record["rows"]
    return found


def answered(row: Row) -> str:
    return f"{100 * row['answered'] / row['count']:.1f} %"


def of_those(row: Row, what: str) -> str:
    return f"{100 * row[what] / row['answered']:.1f} %"


def test_the_readme_tells_the_figures_of_the_tables() -> None:
    belts = rows(evidence.ACCURACY, "belts")["all"]
    real = rows(evidence.ACCURACY, "real")
    three = rows(evidence.ACCURACY, "real-three")["10 dB"]
    missing = rows(evidence.ACCURACY, "missing")["all"]
    nothing = rows(evidence.ACCURACY, "no-pluck")
    told = " ".join(readme.README.read_text("utf-8").split())
    for figures in (
        f"given for {answered(belts)}; of those {of_those(belts, 'within_half_percent')} lay "
        f"within 0.5 % and {of_those(belts, 'wrong')} were wrong",
        f"{answered(real['20 dB'])} answered at 20 dB and {of_those(real['20 dB'], 'wrong')} of "
        f"those wrong; {answered(real['10 dB'])} and {of_those(real['10 dB'], 'wrong')} at 10 dB, "
        f"{answered(real['5 dB'])} and {of_those(real['5 dB'], 'wrong')} at 5 dB",
        f"three times ({answered(three)} and {of_those(three, 'wrong')} at 10 dB)",
        f"made missing, {of_those(missing, 'wrong')} of the answers were wrong",
        f"{answered(nothing['recorded'])} of recorded noise",
    ):
        assert figures in told


def test_the_readme_tells_how_often_the_interval_holds() -> None:
    classes = rows(evidence.COVERED, "classes")
    every = classes["all"]
    share = [
        100 * row["covered"] / row["answered"]
        for name, row in classes.items()
        if re.search(r"rubber|steel|Hz", name)
    ]
    told = " ".join(readme.README.read_text("utf-8").split())
    assert (
        f"held the true tension in {of_those(every, 'covered')}, between {min(share):.1f} and "
        f"{max(share):.1f} % in every kind of belt and every octave"
    ) in told
