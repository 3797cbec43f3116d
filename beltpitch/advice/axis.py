"""A carriage between two strands of belt: stiffness, stretch, slackening, resonance, scale.

Two springs. The motor pulley is held; one strand runs straight from carriage to pulley (L1), the
other the long way round (L2); both are stretched by the preload T0. Belt-makers' theory papers
and Sollmann, Jouaneh and Lavender 2010 (IEEE/ASME Trans. Mech., H-frame) give
``k = EA (1/L1 + 1/L2)``. The slackening is derived here: the force F that pulls towards L1 takes
``F L1/(L1 + L2)`` from strand 2, which is slack at ``F = T0 (1 + L2/L1)``; beyond it only strand 1
pulls. So preload sets how far the axis stays stiff, not how stiff it is.

Conventions: SI; ``ea_n`` is the belt's axial stiffness EA in newtons (force for a strain of one).
Idlers and frame are taken as rigid, the motor as held.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from beltpitch.errors import RequestError, check_not_negative, check_positive

# Thermal expansion of the frame per kelvin: textbook values (belt-data section 5).
FRAME_EXPANSION = {"aluminium": 23e-6, "steel": 12e-6}


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the carriage stands between the ends of the stretched belt.

    Parameters
    ----------
    loop_m
        Whole length of belt under tension, L1 + L2. For a belt clamped at both ends: from clamp
        to clamp. For a fixed motor and idler: once round the loop.
    near_m
        Length of the shorter way from carriage to held pulley (or clamp) with the carriage at
        the near end of its travel.
    travel_m
        Travel of the carriage; for two belts sharing both axes, the two travels added.

    Raises
    ------
    RequestError
        If a length is not positive, or the travel does not fit the loop.
    """

    loop_m: float
    near_m: float
    travel_m: float

    def __post_init__(self) -> None:
        check_positive(self.loop_m, "the length of the belt loop", "m")
        check_positive(self.near_m, "the shortest strand", "m")
        check_not_negative(self.travel_m, "the travel", "m")
        if self.near_m + self.travel_m >= self.loop_m:
            raise RequestError(
                f"a strand of {self.near_m * 1e3:.4g} mm and a travel of "
                f"{self.travel_m * 1e3:.4g} mm do not fit a loop of {self.loop_m * 1e3:.4g} mm; "
                "measure the whole belt under tension"
            )

    def strands(self, position_m: float) -> tuple[float, float]:
        """Return (L1, L2) with the carriage `position_m` from the near end of its travel."""
        first = self.near_m + position_m
        return first, self.loop_m - first

    def slack_share(self) -> float:
        """Return the largest share of a pull that is taken from a strand, over the travel.

        Either strand may be the slack one, since the pull changes sign: it loses F L1/(L1 + L2)
        or F L2/(L1 + L2), and the worst place is an end of the travel.
        """
        lengths = [*self.strands(0.0), *self.strands(self.travel_m)]
        return max(lengths) / self.loop_m


def stiffness(ea_n: float, strands_m: tuple[float, float], belts: int = 1) -> float:
    """Return k = EA (1/L1 + 1/L2) in N/m, both strands taut, times the number of belts.

    Two equal belts side by side each add their own. So do the two belts that share both axes,
    where both stand alike; elsewhere the axis gives more, 4/(1/k_A + 1/k_B), and runs off across
    (derived; tests solve the springs on their own).
    """
    first, second = strands_m
    return belts * ea_n * (1 / first + 1 / second)


def slackens_at(preload_n: float, pulled_m: float, other_m: float) -> float:
    """Return the force on one belt at which a strand goes slack, in N.

    Parameters
    ----------
    preload_n
        Tension of both strands with nothing pulling.
    pulled_m
        Length of the strand that the force stretches.
    other_m
        Length of the strand that goes slack: at T0 (1 + other/pulled).
    """
    return preload_n * (1 + other_m / pulled_m)


def stretch(force_n: float, preload_n: float, ea_n: float, strands_m: tuple[float, float]) -> float:
    """Return how far one belt lets the carriage give under a force, in metres.

    The force pulls so that the longer strand takes it up: the softer of the two directions. F/k
    while both strands are taut; beyond the slackening only that strand pulls, ``(F - T0) L/EA``.
    """
    longest, shortest = max(strands_m), min(strands_m)
    if force_n <= slackens_at(preload_n, longest, shortest):
        return force_n / stiffness(ea_n, strands_m)
    return (force_n - preload_n) * longest / ea_n


def lost_motion(friction_n: float, stiffness_n_per_m: float) -> float:
    """Return 2 F_f / k in metres: what a reversal loses while the rails' friction changes side."""
    return 2 * friction_n / stiffness_n_per_m


def resonance(stiffness_n_per_m: float, mass_kg: float) -> float:
    """Return sqrt(k/m)/(2 pi) in Hz: the carriage on its belts, the motor held."""
    return math.sqrt(stiffness_n_per_m / mass_kg) / (2 * math.pi)


def scale_error(tension_n: float, ea_n: float) -> float:
    """Return T/EA: the share by which travel per motor tooth exceeds the nominal pitch (derived).

    A belt under tension is longer, so each tooth of the pulley moves more belt. Between two
    tensions the change is the difference of their scale errors; steps per millimetre fall by it.
    """
    return tension_n / ea_n


def thermal_change(ea_n: float, cord_per_k: float, frame: str, warmer_k: float) -> float:
    """Return the change of strand tension when belt and frame warm together, in N.

    ``EA (frame expansion - cord expansion) x temperature rise``: an aluminium frame grows more
    than its belt's cords and tightens the belt.

    Parameters
    ----------
    ea_n
        Axial stiffness of the belt.
    cord_per_k
        Thermal expansion of its cord (the catalogue has it).
    frame
        ``aluminium`` or ``steel``.
    warmer_k
        Temperature rise; negative for a colder shop.

    Raises
    ------
    RequestError
        If the frame's expansion is not known.
    """
    if frame not in FRAME_EXPANSION:
        raise RequestError(
            f"no thermal expansion is known for a frame of {frame!r}; choose one of "
            f"{', '.join(FRAME_EXPANSION)}"
        )
    return ea_n * (FRAME_EXPANSION[frame] - cord_per_k) * warmer_k


@dataclass(frozen=True, slots=True)
class AxisPoint:
    """The axis with its carriage at one place of the travel.

    Parameters
    ----------
    position_m
        From the near end of the travel.
    strands_m
        L1 and L2.
    stiffness_n_per_m
        Of all belts together, both strands taut.
    stretch_m
        How far the carriage gives under the whole peripheral force.
    lost_motion_m
        Lost at a reversal under the rails' friction; None where no friction was given.
    resonance_hz
        None where no mass was given.
    slackens_at_n
        Force on the whole carriage at which a strand goes slack, in the worse direction.
    """

    position_m: float
    strands_m: tuple[float, float]
    stiffness_n_per_m: float
    stretch_m: float
    lost_motion_m: float | None
    resonance_hz: float | None
    slackens_at_n: float


@dataclass(frozen=True, slots=True)
class Load:
    """What the carriage as a whole feels; friction and mass may be None where unknown."""

    force_n: float
    friction_n: float | None = None
    mass_kg: float | None = None

    def __post_init__(self) -> None:
        check_not_negative(self.force_n, "the peripheral force", "N")
        check_not_negative(self.friction_n, "the friction", "N")
        check_positive(self.mass_kg, "the moving mass", "kg")


def along_travel(
    layout: Layout, ea_n: float, preload_n: float, load: Load, *, belts: int = 1, places: int = 5
) -> tuple[AxisPoint, ...]:
    """Return the axis at evenly spaced places from one end of the travel to the other.

    Parameters
    ----------
    layout
        The belt's lengths.
    ea_n
        Axial stiffness of one belt.
    preload_n
        Preload of each belt.
    load
        Force, friction and mass of the whole carriage, shared equally by the belts.
    belts
        Belts that carry it together.
    places
        How many places.
    """
    check_positive(ea_n, "the belt's stiffness EA", "N")
    check_positive(preload_n, "the preload", "N")
    steps = max(1, places - 1)
    return tuple(
        _point(layout, ea_n, preload_n, load, belts, layout.travel_m * i / steps)
        for i in range(places)
    )


def _point(
    layout: Layout, ea_n: float, preload_n: float, load: Load, belts: int, position_m: float
) -> AxisPoint:
    strands = layout.strands(position_m)
    k = stiffness(ea_n, strands, belts)
    return AxisPoint(
        position_m=position_m,
        strands_m=strands,
        stiffness_n_per_m=k,
        stretch_m=stretch(load.force_n / belts, preload_n, ea_n, strands),
        lost_motion_m=None if load.friction_n is None else lost_motion(load.friction_n, k),
        resonance_hz=None if load.mass_kg is None else resonance(k, load.mass_kg),
        slackens_at_n=belts * slackens_at(preload_n, max(strands), min(strands)),
    )
