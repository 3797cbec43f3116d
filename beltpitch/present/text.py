"""Numbers to words: one function for each kind of number that is shown anywhere."""

from __future__ import annotations

from beltpitch.reading import COVERAGE, Reading
from beltpitch.uncertainty import Estimate
from beltpitch.units import FORCE, in_unit, rounded

WIDE = 1.0  # from this width of an interval on one decimal is shown, two below it


def force(value_n: float, unit: str, digits: str = ".1f") -> str:
    """Return a force in the unit that is shown, such as "36.4 N"."""
    return f"{in_unit(value_n, unit, FORCE):{digits}} {unit}"


def interval(estimate: Estimate, unit: str) -> str:
    """Return a force with its 95 % interval, such as "36.4 N   (95%: 33.0 to 39.9 N)"."""
    low, high = (in_unit(n, unit, FORCE) for n in estimate.interval(COVERAGE))
    digits = "z.1f" if high - low >= WIDE else "z.2f"  # z: no negative nought
    return (
        f"{force(estimate.value, unit, digits)}   "
        f"({COVERAGE:.0%}: {low:{digits}} to {high:{digits}} {unit})"
    )


def tone(frequency: Estimate) -> str:
    """Return a frequency rounded to its uncertainty, without its unit."""
    return rounded(frequency.value, frequency.u)


def plucks(count: int) -> str:
    """Return how many plucks, such as "1 pluck"."""
    return f"{count} pluck{'' if count == 1 else 's'}"


def frequency(reading: Reading, heard: Estimate) -> str:
    """Return a frequency with the number of plucks behind it, such as "110.0 Hz (1 pluck)"."""
    return f"{tone(heard)} Hz ({plucks(sum(p.used for p in reading.plucks))})"
