"""How far a stiff, tensioned strand sounds above the plain string: exact, for any ends.

The strand obeys ``m y_tt = T y_xx - EI y_xxxx`` between two points that do not move sideways and
that resist turning like springs of ``k_r`` N m/rad. With ``xi = L sqrt(T/EI)`` (large: like a
string) mode n sounds at ``n f_s r_n``, ``f_s = sqrt(T/m)/(2L)``.

Ends are given as *holding* s from 0 (pinned) to 1 (clamped), ``s = kappa/(1 + kappa)`` with
``kappa = k_r/sqrt(T EI)``: to first order each end shortens the string by ``s sqrt(EI/T)``.

Source: with a = alpha L, b = beta L, ``b^2 = a^2 + xi^2`` and ``r_n = a b/(n pi xi)``, the four
end conditions reduce (derived here; no source read) to one equation for all modes,

    (1-s1)(1-s2) S^2 sin a + (s1+s2-2 s1 s2) xi S (b coth b sin a - a cos a)
        + s1 s2 xi^2 (xi^2 sin a - 2 a b (coth b cos a - csch b)) = 0,    S = a^2 + b^2,

whose limits are the textbook equations: pinned ``sin a = 0``, clamped
``2ab(1 - cos a cosh b) + (b^2 - a^2) sin a sinh b = 0``, clamped and pinned
``b tan a = a tanh b``. Nothing grows exponentially in this form. The tests compare it with finite
elements.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# Root n lies between n pi (pinned) and the clamped bar without tension, (n + 0.5056) pi for n = 1,
# less for the others; the next root is at (n + 1) pi or above.
WIDEST_SHIFT = 0.51 * math.pi
COTH_IS_ONE = 40.0  # beyond it exp(-2b) is lost in a double
STEPS = 100  # bisection alone would need 53
CLOSE = 1e-9  # last relative step of Newton; the error left is about its square


@dataclass(frozen=True, slots=True)
class ModeRatio:
    """``r_n = f_n/(n f_s)`` with its exact derivatives.

    Parameters
    ----------
    value
        The ratio, at least 1.
    by_xi
        ``d ln r / d ln xi``, from -1 (a bar: T no longer matters) to 0 (a string).
    by_end_a, by_end_b
        ``d ln r / d s`` for the holding of each end.
    """

    value: float
    by_xi: float
    by_end_a: float
    by_end_b: float


STRING = ModeRatio(1.0, 0.0, 0.0, 0.0)


def mode_ratio(xi: float, n: int = 1, kappa_a: float = 0.0, kappa_b: float = 0.0) -> float:
    """Return ``f_n/(n f_s)`` for end springs ``kappa = k_r/sqrt(T EI)``, 0 to infinity."""
    return mode(xi, n, holding_of(kappa_a), holding_of(kappa_b)).value


def holding_of(kappa: float) -> float:
    """Return the holding ``kappa/(1 + kappa)`` of an end spring."""
    return 1.0 if math.isinf(kappa) else kappa / (1 + kappa)


def mode(xi: float, n: int, hold_a: float, hold_b: float) -> ModeRatio:
    """Return the ratio of mode n and its derivatives.

    Parameters
    ----------
    xi
        ``L sqrt(T/EI)``, above 0; infinite for a string.
    n
        Mode number, 1 for the fundamental.
    hold_a, hold_b
        Holding of the two ends, 0 pinned to 1 clamped.

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    if not xi > 0 or n < 1 or not (0 <= hold_a <= 1 and 0 <= hold_b <= 1):
        raise ValueError(f"no mode {n} for xi {xi} and ends {hold_a}, {hold_b}")
    if math.isinf(xi):
        return STRING
    equation = _Equation(xi, n, hold_a, hold_b)
    shift = _root(equation)
    a = n * math.pi + shift
    b2 = a * a + xi * xi
    _, by_a, by_xi, by_s1, by_s2 = equation.at(shift)
    per_a = 1 / a + a / b2  # d ln(a b)/da at fixed xi
    return ModeRatio(
        value=a * math.sqrt(b2) / (n * math.pi * xi),
        by_xi=-xi * by_xi / by_a * per_a - a * a / b2,
        by_end_a=-by_s1 / by_a * per_a,
        by_end_b=-by_s2 / by_a * per_a,
    )


@dataclass(frozen=True, slots=True)
class _Equation:
    """The characteristic equation of mode n, times (-1)^n, as a function of ``a - n pi``."""

    xi: float
    n: int
    s1: float
    s2: float

    def first_guess(self) -> float:
        """Return the root for ends so far apart that they do not feel each other."""
        a, xi = self.n * math.pi, self.xi
        b, spread = math.hypot(a, xi), 2 * a * a + xi * xi
        phases = (
            math.atan(s * xi * a / ((1 - s) * spread + s * xi * b)) for s in (self.s1, self.s2)
        )
        return sum(phases)

    def at(self, shift: float) -> tuple[float, float, float, float, float]:
        """Return the left side and its derivatives by a, xi, s1, s2."""
        xi, s1, s2 = self.xi, self.s1, self.s2
        a = self.n * math.pi + shift
        b = math.hypot(a, xi)
        sin, cos = math.sin(shift), math.cos(shift)
        coth, csch = _coth_csch(b)
        csch_signed = -csch if self.n % 2 else csch
        spread = a * a + b * b
        free, mixed, held = (1 - s1) * (1 - s2), s1 + s2 - 2 * s1 * s2, s1 * s2

        one = b * coth * sin - a * cos  # one end turns, the other is held
        one_a = (b * coth - 1) * cos + a * sin
        one_b = (coth - b * csch**2) * sin
        inner = coth * cos - csch_signed
        both = xi**2 * sin - 2 * a * b * inner  # both are held
        both_a = xi**2 * cos - 2 * b * inner + 2 * a * b * coth * sin
        both_b = -2 * a * inner + 2 * a * b * csch * (csch * cos - _signed(coth, self.n))

        value = free * spread**2 * sin + mixed * xi * spread * one + held * xi**2 * both
        by_a = (
            free * spread * (8 * a * sin + spread * cos)
            + mixed * xi * (4 * a * one + spread * (one_a + one_b * a / b))
            + held * xi**2 * (both_a + both_b * a / b)
        )
        by_xi = (
            free * 4 * spread * xi * sin
            + mixed * (spread * one + 2 * xi**2 * one + xi**2 * spread * one_b / b)
            + held * xi * (2 * both + 2 * xi**2 * sin + xi**2 * both_b / b)
        )
        by_s1, by_s2 = (
            -(1 - other) * spread**2 * sin
            + (1 - 2 * other) * xi * spread * one
            + other * xi**2 * both
            for other in (s2, s1)
        )
        return value, by_a, by_xi, by_s1, by_s2


def _signed(x: float, n: int) -> float:
    return -x if n % 2 else x


def _coth_csch(b: float) -> tuple[float, float]:
    """Return coth b and 1/sinh b without overflow."""
    if b > COTH_IS_ONE:
        return 1.0, 2 * math.exp(-b)
    return 1 / math.tanh(b), 1 / math.sinh(b)


def _root(equation: _Equation) -> float:
    """Return the one root in [0, WIDEST_SHIFT]: Newton, kept inside a shrinking bracket."""
    low, high = 0.0, WIDEST_SHIFT
    x = equation.first_guess()
    for _ in range(STEPS):
        value, slope, *_ = equation.at(x)
        if value == 0:
            return x
        low, high = (x, high) if value < 0 else (low, x)
        new = x - value / slope if slope > 0 else math.inf
        if abs(new - x) <= CLOSE * x:
            return new
        x = new if low < new < high else (low + high) / 2
    return x
