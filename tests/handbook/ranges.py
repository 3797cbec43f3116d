"""The table of recommended ranges in docs/windows.md, made from the catalogue."""

from __future__ import annotations

import re

from beltpitch.advice.recommendation import BASIS_WORDS, recommended
from beltpitch.belts import catalogue
from beltpitch.terminal.belts import every_width

TABLE = re.compile(r"(<!-- ranges -->\n).*?(<!-- end of ranges -->)", re.DOTALL)


def table() -> str:
    """Return the table as Markdown: a row for each profile and construction."""
    rows = [
        "| profile | construction | width: low, best, high (N) | how sure |",
        "|---|---|---|---|",
    ]
    for profile in catalogue.profiles():
        for made in profile.constructions:
            cells, sure = [], set()
            for belt in every_width(profile):
                found = recommended(belt)
                if belt.construction != made.name or found is None or belt.width_m is None:
                    continue
                ends = (end.newtons for end in (found.low, found.best, found.high))
                cells.append(f"{belt.width_m * 1e3:.4g}: {', '.join(f'{n:.3g}' for n in ends)}")
                sure.add(BASIS_WORDS[found.basis])
            rows.append(
                f"| {profile.name} | {made.name} | {'; '.join(cells)} | {', '.join(sorted(sure))} |"
            )
    return "\n".join(rows) + "\n"


def filled(text: str) -> str:
    """Return a page with the table in its place."""
    return TABLE.sub(lambda place: place[1] + table() + place[2], text)
