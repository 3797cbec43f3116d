"""A bracketed root in plain code.

scipy.optimize costs more than the start-up limit; the tests compare this with its brentq.
"""

from __future__ import annotations

import math
from collections.abc import Callable

STEPS = 200
CLOSE = 1e-9  # last relative step of Newton; the error left is about its square


def rising_root(miss: Callable[[float], tuple[float, float]], low: float, high: float) -> float:
    """Return x > 0 where a rising miss(x) crosses 0: Newton in ln x, kept inside a bracket.

    Parameters
    ----------
    miss
        Returns its value and its derivative by ln x.
    low, high
        Bracket, above 0.
    """
    x = high
    for _ in range(STEPS):
        value, slope = miss(x)
        if value == 0:
            return x
        low, high = (x, high) if value < 0 else (low, x)
        new = x * math.exp(-value / slope) if slope > 0 else math.inf
        if abs(new - x) <= CLOSE * x:
            return new
        x = new if low < new < high else math.sqrt(low * high)
    return x
