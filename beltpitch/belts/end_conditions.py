"""What holds the ends of a strand, by name, and where the strand really ends.

Conventions: *holding* is s of `beltpitch.belts.modes`, 0 pinned to 1 clamped. Source: derived here,
no measured belt behind it. A stiff belt running onto a pulley touches ``sqrt(EI/T)`` beyond the
tangent point and is held there, so to first order a smooth pulley acts as pinned at its tangent
point (tested with finite elements in contact). Teeth, short wraps and dull cords may hold it more,
so a pulley stands one third of the way to clamped, with a standard uncertainty of 0.29 of that
range. A flat idler gets the same: it has no teeth, but wraps are shorter.
"""

from __future__ import annotations

import math
import re
from difflib import get_close_matches

from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, Part, rectangular

PULLEY_HOLDING = 1 / 3
PULLEY_HOLDING_U = 0.29  # about that of anything between pinned and clamped, 1/sqrt(12)

# name: holding and its standard uncertainty
KINDS: dict[str, tuple[float, float]] = {
    "pulley": (PULLEY_HOLDING, PULLEY_HOLDING_U),
    "idler": (PULLEY_HOLDING, PULLEY_HOLDING_U),
    "clamp": (1.0, 0.0),
    "pinned": (0.0, 0.0),
}
USUAL_ENDS = "pulley"  # where nothing else is said
ODD_TEETH = "odd teeth"  # of a travel, its line of the budget
TOOTHED = frozenset({"pulley"})  # ends whose last contact is a tooth

End = tuple[str, Estimate]


def ends(named: str | tuple[str, str], belt: str) -> tuple[End, End]:
    """Return the two ends that are named, such as "pulley,clamp".

    Parameters
    ----------
    named
        One kind for both ends or two with a comma or a space between: pulley, idler, clamp or
        pinned; or the pair of them.
    belt
        Name of the belt. Its pulleys and idlers share one error, ``belt:<name>/ends``: how a
        belt is held is a property of its teeth and cords.

    Returns
    -------
    Pairs of kind and holding (an `Estimate`, 0 pinned to 1 clamped).

    Raises
    ------
    RequestError
        If a kind is not known or there are more than two.
    """
    first, second = _kinds(named) if isinstance(named, str) else named
    return _end(first, belt), _end(second, belt)


def _kinds(text: str) -> tuple[str, str]:
    kinds = re.split(r"\s*,\s*|\s+", text.strip().lower())
    if len(kinds) > 2:  # noqa: PLR2004
        raise RequestError(f'ends "{text}": a strand has two ends, write for instance pulley,clamp')
    return kinds[0], kinds[-1]


def _end(kind: str, belt: str) -> End:
    if kind not in KINDS:
        near = get_close_matches(kind, KINDS, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise RequestError(f'end "{kind}" is not one of {", ".join(KINDS)}{hint}')
    holding, u = KINDS[kind]
    return kind, Estimate.single(holding, u, name="ends", key=f"belt:{belt}/ends")


def last_contact(kinds: tuple[str, str], pitch_m: float, *, key: str, positions: int = 1) -> Part:
    """Return the part of the span's uncertainty that the teeth make.

    On a toothed pulley the last contact is a tooth, half a pitch either way (rectangular); two
    pulleys stand independently, and so do several pulley positions.

    Parameters
    ----------
    kinds
        Kinds of the two ends; only toothed pulleys count.
    pitch_m
        Tooth spacing in m.
    key
        Whose error it is, such as ``contact:<sitting>``.
    positions
        Number of pulley positions the readings were spread over.
    """
    toothed = sum(kind in TOOTHED for kind in kinds)
    u = rectangular(pitch_m / 2) * math.sqrt(toothed / max(1, positions))
    return Part("last contact", key, u)


def moved_contact(travel: Estimate, pitch_m: float, *, key: str) -> Part | None:
    """Return the part of a travel's uncertainty that the teeth make; None where its own is larger.

    On a toothed pulley the last contact drops out of two parks only if the same place of a tooth
    touches at both. Moving by a whole number of teeth plus d shifts the last contact by d with
    probability 1 - d/p and by d - p with probability d/p (p: pitch): mean 0, standard deviation
    sqrt(d (p - d)) (derived here).

    Parameters
    ----------
    travel
        How far the carriage was moved, m.
    pitch_m
        Tooth spacing in m.
    key
        Whose error it is.
    """
    odd = travel.value % pitch_m
    u = math.sqrt(odd * (pitch_m - odd))
    return Part(ODD_TEETH, key, u) if min(odd, pitch_m - odd, u) > travel.u else None
