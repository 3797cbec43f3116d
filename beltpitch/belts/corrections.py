"""What moves the tone besides tension, and by how much: air, pluck height, sag.

Each formula is plain arithmetic with its source beside it; [K] is from memory of the literature,
tested numerically; [C] is derived for beltpitch and tested.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from beltpitch.belts.mechanics import tension
from beltpitch.belts.strand import Strand
from beltpitch.errors import check_not_negative, check_positive
from beltpitch.uncertainty import Estimate, rectangular

AIR_KG_PER_M3 = 1.204  # dry air, 20 degC, 101 325 Pa
AIR_DOUBT = 1 / 3  # u of the air carried along, as a share of itself (design decision)
GRAVITY = 9.80665  # m/s^2, standard

# The pluck as it is read, mid-span amplitude over span: common practice, no source.
USUAL_PLUCK = 1 / 400
USUAL_STIFFNESS = 700.0  # EA/T where EA is not known; belts lie at 500 to 1500
# Planar motion rises by 3/8 eps, whirling by 1/2 eps: a pluck that begins to whirl while it dies
# can bend the extrapolation to rest by this share of the glide that was seen.
GLIDE_DOUBT = 0.25
SAG_WORTH_SAYING = 0.003  # of the tension


@dataclass(frozen=True, slots=True)
class Correction:
    """A correction by name, and by how many percent it moved the tension."""

    name: str
    percent: float


def air_carried(width_m: float, density_kg_per_m3: float = AIR_KG_PER_M3) -> float:
    """Return the air that moves with a flat strand, in kg/m: ``rho pi b^2/4``.

    Potential flow about a thin strip moving normal to its face (Lamb; Blevins) [K]. The boundary
    layer adds 5 to 20 % (see its test), and the belt's thickness, teeth and neighbours change it
    too; a third of itself as standard uncertainty covers all of that.
    """
    return density_kg_per_m3 * math.pi * width_m**2 / 4


def air_estimate(width_m: float, density_kg_per_m3: float = AIR_KG_PER_M3) -> Estimate:
    """Return the air carried along with its uncertainty; all belts share that error."""
    check_positive(width_m, "width", "m")
    air = air_carried(width_m, density_kg_per_m3)
    return Estimate.single(air, AIR_DOUBT * air, name="air", key="air")


def hardening(stretch_n: float, tension_n: float, amplitude_m: float, span_m: float) -> float:
    """Return ``eps = (pi^2/4)(EA/T)(a/L)^2`` of a pluck of mid-span amplitude a.

    The mode then obeys ``q'' + w0^2 (q + eps q^3) = 0`` (Kirchhoff 1876, Carrier 1945) [K].
    """
    return math.pi**2 / 4 * (stretch_n / tension_n) * (amplitude_m / span_m) ** 2


def amplitude_rise(eps: float) -> float:
    """Return by what share the tone is sharp: ``sqrt(1 + 3 eps/4) - 1``.

    Within 0.003 % of the exact elliptic integral at eps = 0.05 and 0.06 % at 0.25; the first order
    is ``3 eps/8``.
    """
    return math.sqrt(1 + 0.75 * eps) - 1


def amplitude_u(
    tension_n: float, stretch_n: float = math.inf, amplitude_ratio: float = USUAL_PLUCK
) -> float:
    """Return the budget's amplitude line in N for a tone that was read without its glide.

    A limit one way only (a pluck can only be sharp), entered both ways because no correction is
    made. `amplitude_ratio` is the mid-span amplitude over the span while the tone was read.
    """
    stretch = USUAL_STIFFNESS * tension_n if math.isinf(stretch_n) else stretch_n
    eps = hardening(stretch, tension_n, amplitude_ratio, 1.0)
    return rectangular(tension_n * ((1 + amplitude_rise(eps)) ** 2 - 1))


def glide_u(tension_n: float, glide: float) -> float:
    """Return the amplitude line in N for a tone taken down to rest along its glide."""
    return rectangular(2 * tension_n * GLIDE_DOUBT * abs(glide))


def sag_parameter(strand: Strand, tension_n: float, gravity: float = GRAVITY) -> float:
    """Return lambda^2 of Irvine & Caughey (1974) for a level strand that lies flat [K].

    ``(m g L/T)^2 (EA/T) (L/L_e)``, ``L_e = L [1 + (m g L/T)^2/8]``, at most with the whole EA of
    the strand: a loop or a soft frame makes it less. A strand on edge or upright has none.
    """
    if math.isinf(strand.stretch_n):
        return 0.0
    weight = strand.linear_mass_kg_per_m * gravity * strand.span_m / tension_n
    return weight**2 * strand.stretch_n / tension_n / (1 + weight**2 / 8)


def sag_rise(lambda2: float, n: int = 1) -> float:
    """Return by what share sag raises mode n that moves up and down.

    ``4 lambda2/(n^4 pi^4)`` for odd modes, Rayleigh's first order [C]; even modes have none.
    """
    return 4 * lambda2 / (n * math.pi) ** 4 if n % 2 else 0.0


def sag_warning(strand: Strand, tension_n: float) -> str | None:
    """Return what to say of the sag of a long flat strand, or None where it does not matter."""
    share = 2 * sag_rise(sag_parameter(strand, tension_n))
    if share < SAG_WORTH_SAYING:
        return None
    return (
        f"if this strand lies flat its sag makes the tension read up to {share:.1%} high: "
        "pluck it sideways, or park for a shorter span"
    )


def corrections(
    strand: Strand, frequency_hz: float, n: int = 1, glide: float = 0.0
) -> tuple[Correction, ...]:
    """Return each correction with what it did to the tension, those that were made only.

    Bending stiffness is that of pinned ends; "ends" is what their holding adds to it. `glide` is
    the share by which the pluck began sharp of `frequency_hz`.
    """
    pinned = replace(strand, hold_a=0.0, hold_b=0.0)
    full = tension(strand, frequency_hz, n).tension_n
    loose = tension(pinned, frequency_hz, n).tension_n
    string = tension(replace(pinned, stiffness_n_m2=0.0), frequency_hz, n).tension_n
    airless = tension(replace(strand, air_kg_per_m=0.0), frequency_hz, n).tension_n
    rigid = tension(replace(strand, stretch_n=math.inf), frequency_hz, n).tension_n
    effects = {
        "bending stiffness": loose / string,
        "ends": full / loose,
        "air carried along": full / airless,
        "stretch": full / rigid,
        "pluck amplitude": 1 / (1 + glide) ** 2,
    }
    return tuple(Correction(name, 100 * (x - 1)) for name, x in effects.items() if x != 1)


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
