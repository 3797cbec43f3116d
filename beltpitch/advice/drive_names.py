"""The names of drives a duty may have; apart from `duty`, so that a machine file loads no more."""

from __future__ import annotations

# The names of `beltpitch.belts.drives`, and a loop that carries its load on one strand.
DRIVES: dict[str, str] = {
    "looped": "belt clamped at both ends, looped over a motor on the carriage",
    "fixed": "fixed motor and idler, the carriage clamped to one strand",
    "crossed": "two long belts sharing both axes, crossed or stacked",
    "closed": "closed loop that carries its load towards the pulley driving it",
    "rotary": "plain rotary drive between two shafts",
}
