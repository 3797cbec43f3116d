"""Readings of an invented workshop, to be kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from beltpitch import asking
from beltpitch.advice.window import target_window
from beltpitch.keep.history import Sitting
from beltpitch.reading import typed_reading
from beltpitch.verdict import judged

START = dt.datetime(2026, 3, 1, 9, 30, tzinfo=dt.UTC)


def sitting(
    frequency_hz: float = 70.2,
    *,
    day: float = 0.0,
    linear_mass: str | None = None,
    span: str = "412 +/- 1 mm",
    strand: str | None = None,
    **more: object,
) -> Sitting:
    """Return a typed reading of a 2GT 9 mm belt, as the command keeps it."""
    belt = asking.belt("2GT 9 mm", linear_mass=linear_mass)
    free = asking.span(span, belt, ends="clamp,idler")
    text = f"{frequency_hz:.4f} Hz"
    reading = typed_reading(asking.typed([text, text, text]), belt, free, key="typed")
    verdict = judged(replace(reading, strand=strand), target_window(40.0, 0.25))
    made = Sitting(
        verdict=verdict,
        belt="y-left",
        taken=START + dt.timedelta(days=day),
        machine="Northlight router",
        park="X = 100",
        inputs={"belt": {"name": "y-left", "belt": "2GT 9 mm", "span": span}},
    )
    return replace(made, **more)  # type: ignore[arg-type]
