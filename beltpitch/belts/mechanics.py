"""Tone <-> tension of one strand: bending stiffness, ends, air and stretch in one law.

    f_n = (n/2L) sqrt(T/m) r_n(xi),    xi = L sqrt(T/EI),    m = m0/(1 + T/EA) + m_air

``r_n`` is exact (`beltpitch.belts.modes`); m0 is the linear mass of the slack belt, as weighed or
as a catalogue has it; m_air is the air carried along (`beltpitch.belts.corrections`).

Sensitivities are exact, by differentiating the law with the tone held:

    (1 + g + e) dlnT = 2 dlnf + 2 (1 - g) dlnL + dln m0 m0'/m + dln m_air m_air/m
                       + g dlnEI + e dlnEA - 2 sum_i (d ln r/d s_i) ds_i

with ``g = d ln r/d ln xi`` and ``e = (m0'/m) (T/EA)/(1 + T/EA)``, ``m0' = m0/(1 + T/EA)``.

Conventions: SI floats; tension of this strand alone; frequency at vanishing amplitude.
Source: reference physics notes, sections 1 to 3 (the string law; Fletcher 1964 for stiff strings).
"""

from __future__ import annotations

import math

from beltpitch.belts.modes import ModeRatio, mode
from beltpitch.belts.roots import rising_root
from beltpitch.belts.strand import Result, Sensitivities, Strand
from beltpitch.errors import CannotTell, check_positive

SMALLEST_XI = 0.5  # below it a bar: the tone barely feels the tension
MARGIN = 1e-12  # of a bracket, against rounding


def frequency(strand: Strand, tension_n: float, n: int = 1) -> float:
    """Return the frequency of mode n in Hz at a tension in N.

    Raises
    ------
    RequestError
        If the tension is not above 0 and finite.
    """
    check_positive(tension_n, "tension", "N")
    ratio = mode(strand.xi(tension_n), n, strand.hold_a, strand.hold_b)
    return _tone(strand, tension_n, n, ratio)


def _tone(strand: Strand, tension_n: float, n: int, ratio: ModeRatio) -> float:
    speed = math.sqrt(tension_n / strand.moving_mass(tension_n))
    return n * ratio.value * speed / (2 * strand.span_m)


def partials(strand: Strand, tension_n: float, count: int = 4) -> tuple[float, ...]:
    """Return the frequencies of modes 1 to `count` in Hz."""
    return tuple(frequency(strand, tension_n, n) for n in range(1, count + 1))


def tension(strand: Strand, frequency_hz: float, n: int = 1) -> Result:
    """Return the tension in N at which mode n sounds at `frequency_hz`.

    Raises
    ------
    RequestError
        If the frequency is not above 0 and finite.
    CannotTell
        If the strand would sound as high with hardly any tension in it.
    """
    check_positive(frequency_hz, "frequency", "Hz")
    low, high = _bracket(strand, frequency_hz, n)

    def miss(t: float) -> tuple[float, float]:
        ratio = mode(strand.xi(t), n, strand.hold_a, strand.hold_b)
        slope = (1 + ratio.by_xi + strand.softening(t)) / 2
        return math.log(_tone(strand, t, n, ratio) / frequency_hz), slope

    found = rising_root(miss, low, high)
    return Result(
        found, found, strand.xi(found), strand, frequency_hz, n, _tension_log(strand, found, n)
    )


def _bracket(strand: Strand, frequency_hz: float, n: int) -> tuple[float, float]:
    """Return tensions that enclose the answer."""
    stiff = n**2 * math.pi**2 * strand.stiffness_n_m2 / strand.span_m**2
    per_mass = 4 * (strand.span_m * frequency_hz / n) ** 2
    # Pinned ends and the slack belt's mass give the most tension a tone can mean.
    high = per_mass * (strand.linear_mass_kg_per_m + strand.air_kg_per_m) - stiff
    low = SMALLEST_XI**2 * strand.stiffness_n_m2 / strand.span_m**2
    if low == 0:
        return per_mass * strand.moving_mass(high) * (1 - MARGIN), high * (1 + MARGIN)
    loose = frequency(strand, low, n)
    if high <= low or loose >= frequency_hz:
        raise CannotTell(
            f"{frequency_hz:.4g} Hz is no higher than this span would sound nearly without tension"
            f" ({loose:.4g} Hz by its own stiffness): check the span, the belt and its stiffness"
        )
    return low, high * (1 + MARGIN)


def _tension_log(strand: Strand, tension_n: float, n: int) -> Sensitivities:
    """Return the log sensitivities of the tension, by the formula of the module's docstring."""
    ratio = mode(strand.xi(tension_n), n, strand.hold_a, strand.hold_b)
    moving, e = strand.moving_mass(tension_n), strand.softening(tension_n)
    air = strand.air_kg_per_m / moving
    whole = 1 + ratio.by_xi + e
    return Sensitivities(
        frequency=2 / whole,
        span=2 * (1 - ratio.by_xi) / whole,
        linear_mass=(1 - air) / whole,
        air=air / whole,
        stiffness=ratio.by_xi / whole,
        stretch=e / whole,
        end_a=-2 * ratio.by_end_a / whole,
        end_b=-2 * ratio.by_end_b / whole,
    )


SLACK_SHARE = 1 / 500  # of the breaking load: a strand that all but hangs
RANGE_DOUBT = 0.1  # on either side, for a span or mass that is not quite as stated


def carried_range(
    strand: Strand, break_n: float, slack_n: float | None = None, doubt: float = RANGE_DOUBT
) -> tuple[float, float]:
    """Return the lowest and highest fundamental in Hz that this strand can carry.

    From all but slack (by default a five-hundredth of the breaking load) to breaking, with a
    margin for a span or mass that is not quite as stated.
    """
    slack = SLACK_SHARE * break_n if slack_n is None else slack_n
    return (1 - doubt) * frequency(strand, slack), (1 + doubt) * frequency(strand, break_n)
