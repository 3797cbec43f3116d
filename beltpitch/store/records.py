"""What the book keeps of a reading: the printed record, and the parts of each estimate.

The parts say whose error is whose, so that a drift can later be told from what its readings do not
share. Errors that belong to one sitting (plucks, the strands' difference) are keyed by the entry
they stand in when they are read back; everything else keeps the key it had.

Conventions: JSON, SI; infinite degrees of freedom are null.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from beltpitch.advice.limits import SafeLimit
from beltpitch.advice.window import Window
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.corrections import Correction
from beltpitch.belts.span import Span
from beltpitch.errors import RequestError
from beltpitch.reading import PluckReading, Reading
from beltpitch.session.verdict import Verdict, as_json
from beltpitch.uncertainty import Estimate, Part

RECORD_SCHEMA = 1
# Keys of errors that every sitting makes anew.
OF_ONE_SITTING = ("pluck:", "strand:", "row:")


@dataclass(frozen=True, slots=True)
class Estimates:
    """The estimates of one kept reading; None where there was none.

    ``linear_mass`` is in kg/m, ``span`` in m, the others in Hz and N.
    """

    frequency: Estimate | None = None
    tension: Estimate | None = None
    preload: Estimate | None = None
    strand_difference: Estimate | None = None
    linear_mass: Estimate | None = None
    span: Estimate | None = None


def record_of(verdict: Verdict, inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is kept of a verdict: the JSON contract's record, estimates, window, inputs."""
    reading, window = verdict.reading, verdict.window
    estimates = Estimates(
        frequency=reading.frequency,
        tension=reading.tension,
        preload=reading.preload,
        strand_difference=reading.strand_difference,
        linear_mass=reading.belt.linear_mass if reading.belt else None,
        span=reading.span.length if reading.span else None,
    )
    return {
        "schema": RECORD_SCHEMA,
        "reading": as_json(verdict),
        "estimates": {
            name: estimate_json(getattr(estimates, name)) for name in Estimates.__dataclass_fields__
        },
        "window": window_json(window),
        "inputs": dict(inputs),
    }


def estimate_json(estimate: Estimate | None) -> dict[str, Any] | None:
    """Return an estimate with its parts as JSON."""
    if estimate is None:
        return None
    parts = [[p.name, p.key, p.u, p.dof if math.isfinite(p.dof) else None] for p in estimate.parts]
    return {"value": estimate.value, "parts": parts}


def estimate_from(kept: Mapping[str, Any] | None, sitting: str) -> Estimate | None:
    """Return an estimate that was kept; errors of one sitting get its name in their keys."""
    if kept is None:
        return None
    parts = tuple(
        Part(name, _keyed(key, sitting), u, math.inf if dof is None else dof)
        for name, key, u, dof in kept["parts"]
    )
    return Estimate(kept["value"], parts)


def _keyed(key: str, sitting: str) -> str:
    return f"{key}@{sitting}" if key.startswith(OF_ONE_SITTING) else key


def estimates_from(record: Mapping[str, Any], sitting: str) -> Estimates:
    """Return the estimates of a kept record.

    Raises
    ------
    RequestError
        If the record is not one of this program's.
    """
    try:
        kept = record["estimates"]
        return Estimates(
            **{name: estimate_from(kept.get(name), sitting) for name in _ESTIMATE_NAMES}
        )
    except (KeyError, TypeError, ValueError) as error:
        raise RequestError(f"entry {sitting} of the book cannot be read: {error}") from None


_ESTIMATE_NAMES = tuple(Estimates.__dataclass_fields__)


def window_json(window: Window | None) -> dict[str, Any] | None:
    """Return a window as JSON."""
    return None if window is None else asdict(window)


def window_from(kept: Mapping[str, Any] | None) -> Window | None:
    """Return a window that was kept, without the marks beside it."""
    if kept is None:
        return None
    safe = kept.get("safe")  # older books have neither this nor cautions
    return Window(
        low_n=kept["low_n"],
        high_n=kept["high_n"],
        low_rule=kept["low_rule"],
        high_rule=kept["high_rule"],
        sources=tuple(kept["sources"]),
        target_n=kept["target_n"],
        safe=None if safe is None else SafeLimit(**safe),
        cautions=tuple(kept.get("cautions", ())),
        best_n=kept.get("best_n"),
        basis=kept.get("basis", ""),
        bears_n=kept.get("bears_n"),
        default_tolerance=kept.get("default_tolerance", False),
    )


def reading_from(
    entry_record: Mapping[str, Any],
    estimates: Estimates,
    belt: Belt | None = None,
    span: Span | None = None,
) -> Reading:
    """Return a kept reading as it was, on the belt and the span that are given."""
    said = entry_record["reading"]
    return Reading(
        source=said["source"],
        belt=belt,
        span=span,
        frequency=estimates.frequency,
        partials_hz=tuple(said["partials_hz"]),
        inharmonicity=said["inharmonicity"],
        plucks=tuple(PluckReading(**_known(PluckReading, pluck)) for pluck in said["plucks"]),
        tension=estimates.tension,
        strand=said["strand"],
        preload=estimates.preload,
        strand_difference=estimates.strand_difference,
        corrections=tuple(Correction(**_known(Correction, c)) for c in said["corrections"]),
        warnings=tuple(said["warnings"]),
        echoes=tuple(said["notes"]),
        steady_hz=tuple(said["steady_hz"]),
    )


def _known(record: Any, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values a record has today; keys may have been added since, or before."""
    return {key: values[key] for key in record.__dataclass_fields__ if key in values}
