"""Which tensions to try: levels, repeats, order.

Five levels from end to end of the range (three or four where there are few trials), every level
twice before any is repeated oftener, then the middle first: the ends show the curvature, repeats
show the scatter. The order is random, so that drift of the machine, of the tool or of the hand does
not pass for an effect of tension.

Conventions: newtons; `order` counts from 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltpitch.errors import RequestError
from beltpitch.study.trials import FEWEST_TRIALS, Field

USUAL_TRIALS = 12
MOST_TRIALS = 60
FIVE_FROM, FOUR_FROM = 7, 6  # trials from which five, four levels leave a repeat
STEP_N = 0.5  # a tensioner is not set finer by hand; a narrow range is left as it is


@dataclass(frozen=True, slots=True)
class Planned:
    """One trial to be made: its place in the order, and the tension to set."""

    order: int
    tension_n: float


def planned(field: Field, count: int = USUAL_TRIALS, *, seed: int = 0) -> tuple[Planned, ...]:
    """Return tensions to try, in the order to try them.

    Parameters
    ----------
    field
        The range.
    count
        How many cuts there may be.
    seed
        Of the random order.

    Raises
    ------
    RequestError
        If there are too few or too many.
    """
    if not FEWEST_TRIALS <= count <= MOST_TRIALS:
        raise RequestError(
            f"{count} trials: a study takes {FEWEST_TRIALS} to {MOST_TRIALS}; five levels with "
            f"repeats are {USUAL_TRIALS}"
        )

    number = 5 if count >= FIVE_FROM else 4 if count >= FOUR_FROM else 3
    every = [level for level, n in enumerate(shares(number, count)) for _ in range(n)]
    order = np.random.default_rng(seed).permutation(count)
    return tuple(
        Planned(i + 1, _set(field, every[at] / (number - 1))) for i, at in enumerate(order)
    )


def shares(number: int, count: int) -> tuple[int, ...]:
    """Return how many trials each of `number` levels gets, from the lowest.

    One each; then a second for the middle, its neighbours, the ends; then as before, in rounds in
    which the middle comes twice.
    """
    middle = sorted(range(number), key=lambda i: (abs(2 * i - (number - 1)), i))
    found = [1] * number
    rounds = [*middle, middle[0]]
    for k in range(count - number):
        found[rounds[k % len(rounds)]] += 1
    return tuple(found)


def _set(field: Field, share: float) -> float:
    exact = field.low_n + share * field.width_n
    if not 0 < share < 1 or field.width_n < 20 * STEP_N:
        return exact
    return round(exact / STEP_N) * STEP_N
