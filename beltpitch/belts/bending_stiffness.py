"""Bending stiffness from the inharmonicity that is heard.

The sound room fits ``f_n = n F sqrt(1 + B n^2)``. Pinned ends give ``B = pi^2 EI/(T L^2)``
exactly. Held ends raise all modes by nearly one factor and leave B nearly as it is (derived here,
tested against exact modes, s and ``h = 2 - 3s/2 + s^2/3`` of either end):

    B = (pi^2/xi^2) [1 + (2/xi) sum s (1 - h) + ...]

The code does not use this series: it takes B through two exact modes and inverts that.
"""

from __future__ import annotations

import math
from dataclasses import replace

from beltpitch.belts.mechanics import SMALLEST_XI, tension
from beltpitch.belts.modes import mode
from beltpitch.belts.roots import rising_root
from beltpitch.belts.strand import Result, Sensitivities, Strand
from beltpitch.errors import CannotTell, check_positive

TOP_PARTIAL = 4  # partials commonly heard on a belt, where the caller does not say
WIDE = 10.0  # the heard B of any ends lies within this factor squared of pi^2/xi^2


def inharmonicity(xi: float, hold_a: float, hold_b: float, top: int = TOP_PARTIAL) -> float:
    """Return the B that is heard: ``f_n = n F sqrt(1 + B n^2)`` through modes 1 and `top`.

    Pinned ends give ``pi^2/xi^2`` exactly. Others give (derived, tested)
    ``(pi^2/xi^2) [1 + (2/xi) sum_i s_i (1 - h_i)]``, ``h = 2 - 3s/2 + s^2/3``, to next order.
    """
    return _heard(xi, hold_a, hold_b, top)[0]


def _heard(xi: float, hold_a: float, hold_b: float, top: int) -> tuple[float, float, float, float]:
    """Return the heard B and its derivatives: d ln B/d ln xi, d ln B/d s for either end."""
    first, last = mode(xi, 1, hold_a, hold_b), mode(xi, top, hold_a, hold_b)
    square = (last.value / first.value) ** 2  # (1 + B top^2)/(1 + B)
    b = (square - 1) / (top**2 - square)
    per = 2 * square * (top**2 - 1) / (top**2 - square) ** 2 / b  # d ln B / d ln(r_top/r_1)
    return (
        b,
        per * (last.by_xi - first.by_xi),
        per * (last.by_end_a - first.by_end_a),
        per * (last.by_end_b - first.by_end_b),
    )


def stiffness(
    strand: Strand, frequency_hz: float, inharmonicity_b: float, top: int = TOP_PARTIAL
) -> Result:
    """Return the bending stiffness EI in N m^2 that makes the partials as inharmonic as heard.

    B tells xi; xi and the fundamental tell T; ``EI = T (L/xi)^2``. For pinned ends this is
    ``EI = B T L^2/pi^2``. The strand's own stiffness is not used. Combine the result's terms with
    the same estimates that go into `tension`: what they share is then counted once.

    Parameters
    ----------
    strand
        Its span, masses, stretch and ends.
    frequency_hz
        Mode 1.
    inharmonicity_b
        B as heard.
    top
        Highest partial that B rests on.

    Raises
    ------
    RequestError
        If the frequency is not above 0 and finite.
    CannotTell
        If B is not above 0, or so large that no belt under tension has it.
    """
    check_positive(frequency_hz, "frequency", "Hz")
    largest = inharmonicity(SMALLEST_XI, strand.hold_a, strand.hold_b, top)
    if not 0 < inharmonicity_b < largest:
        raise CannotTell(f"inharmonicity {inharmonicity_b:g} tells no bending stiffness")

    def miss(xi: float) -> tuple[float, float]:
        b, by_xi, *_ = _heard(xi, strand.hold_a, strand.hold_b, top)
        return -math.log(b / inharmonicity_b), -by_xi

    guess = math.pi / math.sqrt(inharmonicity_b)
    xi = rising_root(miss, max(SMALLEST_XI, guess / WIDE), guess * WIDE)
    _, by_xi, by_a, by_b = _heard(xi, strand.hold_a, strand.hold_b, top)
    ratio = mode(xi, 1, strand.hold_a, strand.hold_b)
    found = _string_tension(strand, frequency_hz / ratio.value)
    ei = found * (strand.span_m / xi) ** 2

    # dlnxi = (dlnB - B_a ds_a - B_b ds_b)/B_xi; T from m T_string/r^2; EI = T L^2/xi^2.
    moving, e = strand.moving_mass(found), strand.softening(found)
    air, whole = strand.air_kg_per_m / moving, 1 + e
    per_xi = -2 * ratio.by_xi / whole - 2
    log = Sensitivities(
        frequency=2 / whole,
        span=2 / whole + 2,
        linear_mass=(1 - air) / whole,
        air=air / whole,
        stiffness=0.0,
        stretch=e / whole,
        end_a=-2 * ratio.by_end_a / whole - per_xi * by_a / by_xi,
        end_b=-2 * ratio.by_end_b / whole - per_xi * by_b / by_xi,
        inharmonicity=per_xi / by_xi,
    )
    whole_strand = replace(strand, stiffness_n_m2=ei)
    return Result(ei, found, xi, whole_strand, frequency_hz, 1, log, inharmonicity_b)


def _string_tension(strand: Strand, frequency_hz: float) -> float:
    """Return the tension of the strand taken as a string, stretch and air included."""
    return tension(replace(strand, stiffness_n_m2=0.0), frequency_hz).tension_n
