"""The tension recommended for a belt by its pitch, construction and width: low, best and high.

One table of rules. For each end the first rule whose figures are known is used.

========  ==================================================================  =============
end       rule                                                                basis
========  ==================================================================  =============
low       published minimum for tooth engagement                              published
low       polyurethane with steel cords: a tenth of the allowable             derived
low       inch belts of the standard: a quarter of its Ta                     derived
low       0.04 % stretch: published minima lie at 0.02 to 0.05 %              general rule
best      polyurethane with steel cords: a quarter of the allowable, 0.1 %    derived
best      0.1 % stretch, but at most half the working tension                 general rule
high      polyurethane with steel cords: half the allowable                   derived
high      published working tension                                           published
high      0.2 % stretch                                                       general rule
========  ==================================================================  =============

Sources. Minimum for tooth engagement: SDP/SI handbook, table 9. Working tension: SDP/SI D265
p. T-15 table 3 (a tension, 1/15 of the ultimate); Ta of GB/T 11362-2008 (adopts ISO 5295), whose
shaft force ``F_Q = 1000 P/v`` is two strands at Ta/2. 0.1 % stretch: a machine maker's assembly
manual (item 0.0.641.21, p. 8) sets two marks 1000 mm apart to 1001 mm. Half the allowable:
``F_V >= F_U`` and ``F_V + F_U <= F_allow`` (Elatech 2012, p. 54). Its allowable is 0.4 % stretch in
every table read, and the handbook's T5 with steel cords (36.6 N a millimetre) is the same figure as
Elatech's (36.0): where only the handbook's is known for such a belt it is taken for the allowable.
0.04 and 0.2 % are judgements between these figures.

Two figures that do not fit each other: by the catalogue's EA the working tension of 3GT is 0.41 %
stretch, that of the other rubber belts 0.12 to 0.20 %. Fifteen times it, the ultimate, would be
6 %, more than a glass cord stretches before it breaks (2 to 3 % for the others; glass fibre itself
below 5 %, a textbook value from memory). The working tension was read and stands to that of HTD 3M
as for the other pitches (1.6 to 2.1). So the EA of 3GT, from memory, is too low. It only sets
``best``, which the set points of robots printed for 3GT bear out, so that it is kept.

Conventions: newtons, preload of one strand, at rest, motors off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from beltpitch.advice.bounds import Bound
from beltpitch.belts.catalogue import JOINED_SHARE, Belt, Figure

Basis = Literal["published", "derived", "general rule"]

LOW_STRETCH, BEST_STRETCH, HIGH_STRETCH = 0.0004, 0.001, 0.002
ALLOWABLE_STRETCH = 0.004  # every table of Elatech 2012 that was read
BEST_OF_WORKING = 0.5
LOW_OF_TA = 0.25
OF_ALLOWABLE = {"low": 0.1, "best": 0.25, "high": 0.5}  # the same stretches, 0.4 % being allowed
READ = ("standard", "maker", "quoted", "measured by the user")  # not from memory, not derived
MARKS_APART_M = 1.0  # two marks on the slack belt
STANDARD = "GB/T 11362"

BASIS_WORDS: dict[str, str] = {
    "published": "published figures",
    "derived": "derived from published figures",
    "general rule": "general rule",
}


@dataclass(frozen=True, slots=True)
class Recommendation:
    """What a belt of this pitch, construction and width should have.

    Parameters
    ----------
    low, best, high
        The ends and the tension to aim at, each with its rule and source.
    basis
        How sure it is: the weaker of the two ends.
    """

    low: Bound
    best: Bound
    high: Bound
    basis: Basis


def recommended(belt: Belt, *, joined: bool = False) -> Recommendation | None:
    """Return the recommended range and best tension; None where too little is known of the belt.

    Parameters
    ----------
    belt
        From the catalogue, or the user's own.
    joined
        Whether the belt was cut and joined: its allowable is then half (Elatech 2012, type V).
    """
    low, high = _low(belt, joined=joined), _high(belt, joined=joined)
    best = None if high is None else _best(belt, high[0], joined=joined)
    if low is None or high is None or best is None or not low[0].newtons < high[0].newtons:
        return None
    aim = best if low[0].newtons <= best.newtons else low[0]
    every: tuple[Basis, ...] = ("general rule", "derived", "published")
    basis = min((low[1], high[1]), key=every.index)
    return Recommendation(low[0], aim, high[0], basis)


def allowable(belt: Belt, *, joined: bool = False) -> Figure | None:
    """Return what the cords of a polyurethane belt with steel cords may see; None for others."""
    figure = belt.allowable_n
    if figure is None and _steel_polyurethane(belt):
        figure = belt.working_tension_n
    if figure is None:
        return None
    return figure.times(JOINED_SHARE, figure.unit, figure.scaling) if joined else figure


def marks_apart_mm(newtons: float, ea_n: float) -> float:
    """Return how far apart two marks stand that are a metre apart on the slack belt, in mm.

    Hooke's law, ``1 + T/EA``.
    """
    return 1000 * MARKS_APART_M * (1 + newtons / ea_n)


def _low(belt: Belt, *, joined: bool) -> tuple[Bound, Basis] | None:
    rated, working = allowable(belt, joined=joined), belt.working_tension_n
    if belt.seating_n is not None:
        figure = belt.seating_n
        rule = "minimum for tooth engagement of this pitch and width"
        return Bound(figure.value, "seating", rule, figure.told), _basis(figure)
    if rated is not None:
        return _share_of(rated, "low", "a tenth of the allowable strand tension, 0.04 % stretch")
    if working is not None and STANDARD in working.source:
        newtons = LOW_OF_TA * working.value
        rule = "a quarter of the standard's working tension"
        return Bound(newtons, "recommended", rule, working.told), "derived"
    return _stretched(belt, LOW_STRETCH)


def _best(belt: Belt, high: Bound, *, joined: bool) -> Bound | None:
    rated = allowable(belt, joined=joined)
    if rated is not None:
        words = "a quarter of the allowable strand tension, 0.1 % stretch"
        return _share_of(rated, "best", words)[0]
    half = BEST_OF_WORKING * high.newtons
    stretched = _stretched(belt, BEST_STRETCH)
    if stretched is not None and stretched[0].newtons <= half:
        return stretched[0]
    return Bound(half, "recommended", "half the working tension", high.source)


def _high(belt: Belt, *, joined: bool) -> tuple[Bound, Basis] | None:
    rated, working = allowable(belt, joined=joined), belt.working_tension_n
    if rated is not None:
        return _share_of(rated, "high", "half the allowable strand tension, 0.2 % stretch")
    if working is not None:
        share = JOINED_SHARE if joined else 1.0
        bound = Bound(share * working.value, "recommended", "working tension", working.told)
        return bound, _basis(working)
    return _stretched(belt, HIGH_STRETCH, JOINED_SHARE if joined else 1.0)


def _share_of(figure: Figure, end: str, rule: str) -> tuple[Bound, Basis]:
    bound = Bound(OF_ALLOWABLE[end] * figure.value, "recommended", rule, figure.told)
    return bound, "derived" if figure.known in READ else "general rule"


def _stretched(belt: Belt, stretch: float, share: float = 1.0) -> tuple[Bound, Basis] | None:
    if belt.ea_n is None:
        return None
    rule = f"{stretch * 100:.2g} % stretch, a general rule"
    newtons = share * stretch * belt.ea_n.value
    return Bound(newtons, "recommended", rule, belt.ea_n.told), "general rule"


def _basis(figure: Figure) -> Basis:
    return "published" if figure.known in READ else "derived"


def _steel_polyurethane(belt: Belt) -> bool:
    return belt.construction == "polyurethane, steel cord"
