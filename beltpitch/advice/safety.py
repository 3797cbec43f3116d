"""Cautions: every text that is said where a person is told to turn or hang something.

They stand in one place so that commands, pages and reports say the same, and so that none is
forgotten. Order: what keeps a person whole first, what keeps the machine right last.
"""

from __future__ import annotations

POWER = "Power off and isolated first: motors, and the spindle or laser too."
PROP = "Prop a vertical axis: it may drop when its belt is slack."
PUSH = "Push the axes by hand, and slowly: a turned motor feeds its driver."
BLOCK = "Block the axis before fingers go near pulleys; unblock it only to settle it."
EYES = "Wear eye protection: a belt that lets go whips."
RATING = "Stay under the belt's rating, on the way as well as at the end."
LOW = "Hang the weight a hand's breadth above the floor, so that it cannot fall far."
LINE = "Never stand in line with a hung weight; feet and hands clear of where it could fall."
PAIR = "After a pair was re-tensioned: home, square the gantry, check steps per mm."
SCALE = "After re-tensioning check steps per mm: a tighter belt moves the axis further per step."
MANUAL = "The machine's manual, local codes and licensed practice come before this advice."


def short_caution(*, turn: bool, pair: bool = False) -> str:
    """Return the cautions on one line; `turning` and `plucking` have them whole."""
    if turn and pair:
        return "isolate power, prop vertical axes; square after; manual first"
    return "isolate power, prop vertical axes; manual, local codes first"


def turning(*, vertical: bool | None = None, pair: bool = False) -> tuple[str, ...]:
    """Return the cautions for turning a tensioner.

    Parameters
    ----------
    vertical
        Whether the axis can drop; None if unknown, and then the prop is named too.
    pair
        Whether the belt is one of a pair.
    """
    prop = () if vertical is False else (PROP,)
    return (POWER, *prop, PUSH, BLOCK, EYES, RATING, PAIR if pair else SCALE, MANUAL)


def plucking(*, vertical: bool | None = None) -> tuple[str, ...]:
    """Return the cautions for plucking a belt without turning anything."""
    prop = () if vertical is False else (PROP,)
    return (POWER, *prop, PUSH, BLOCK, EYES, MANUAL)


def hanging() -> tuple[str, ...]:
    """Return the cautions for hanging weights on a belt."""
    return (EYES, LOW, LINE, RATING, MANUAL)
