"""A strand that hangs with a weight at its foot: its tension, and what the swinging weight does.

Derived here and tested numerically. The clamp at the top is fixed; the weight can swing, so the
foot of the strand gives way a little and the tone is sharp of that between two fixed ends.
"""

from __future__ import annotations

import math

from beltpitch.belts.corrections import GRAVITY
from beltpitch.errors import check_not_negative, check_positive


def hung_tension(weight_kg: float, hung_belt_kg: float = 0.0, gravity: float = GRAVITY) -> float:
    """Return the tension at mid-strand in N: ``g (M + half the hung belt)``."""
    check_positive(weight_kg, "weight", "kg")
    check_not_negative(hung_belt_kg, "mass of the hung belt", "kg")
    return gravity * (weight_kg + hung_belt_kg / 2)


def swing_factor(weight_kg: float, strand_kg: float, n: int = 1) -> float:
    """Return what to multiply a heard mode by to have that of a fixed foot.

    ``1 - m L/(n^2 pi^2 M)``, first order: a string with a mass at its foot obeys
    ``tan kL = m/(M k)``.
    """
    check_positive(weight_kg, "weight", "kg")
    return 1 - strand_kg / ((n * math.pi) ** 2 * weight_kg)
