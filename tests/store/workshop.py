"""Readings of an invented workshop, to be kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from beltpitch import parsing
from beltpitch.advice.window import target_window
from beltpitch.reading import typed_reading
from beltpitch.session.verdict import judged
from beltpitch.store.log import NewEntry

START = dt.datetime(2026, 3, 1, 9, 30, tzinfo=dt.UTC)


def sitting(
    frequency_hz: float = 70.2,
    *,
    day: float = 0.0,
    linear_mass: str | None = None,
    span: str = "412 +/- 1 mm",
    strand: str | None = None,
    **more: object,
) -> NewEntry:
    """Return a typed reading of a 2GT 9 mm belt, as the command keeps it."""
    belt = parsing.belt("2GT 9 mm", linear_mass=linear_mass)
    free = parsing.span(span, belt, ends="clamp,idler")
    text = f"{frequency_hz:.4f} Hz"
    reading = typed_reading(parsing.typed([text, text, text]), belt, free, key="typed")
    verdict = judged(replace(reading, strand=strand), target_window(40.0, 0.25))
    made = NewEntry(
        verdict=verdict,
        belt="y-left",
        taken=START + dt.timedelta(days=day),
        machine="Northlight router",
        park="X = 100",
        inputs={"belt": {"name": "y-left", "belt": "2GT 9 mm", "span": span}},
    )
    return replace(made, **more)  # type: ignore[arg-type]
