"""Air, sag, damping and the list of corrections, each against an independent number."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import kv

from beltpitch.belts.corrections import (
    AIR_KG_PER_M3,
    air_carried,
    air_estimate,
    corrections,
    hardening,
    sag_parameter,
    sag_rise,
    sag_warning,
)
from beltpitch.belts.mechanics import tension
from beltpitch.belts.strand import Strand
from beltpitch.errors import RequestError

BELT = Strand(0.412, 0.0126, 3e-4, 1 / 3, 1 / 3, 7.66e-5, 29e3)
GAS_CONSTANT = 287.05  # of dry air, J/(kg K)
ZERO_CELSIUS = 273.15
AIR_VISCOSITY = 1.81e-5  # Pa s at 20 degC


def air_density(temperature_c: float = 20.0, pressure_pa: float = 101325.0) -> float:
    """Return the density of dry air in kg/m^3 (ideal gas); moist air is up to 1 % lighter."""
    return pressure_pa / (GAS_CONSTANT * (temperature_c + ZERO_CELSIUS))


def viscous_factor(
    width_m: float, frequency_hz: float, density_kg_per_m3: float = AIR_KG_PER_M3
) -> float:
    """Return by what factor the boundary layer raises the air carried along.

    ``1 + 2 sqrt2/sqrt(Re)``, ``Re = rho omega b^2/(4 eta)``: the circular section of Stokes and
    Sader (1998) [K], first order for large Re, within 0.5 % from Re = 30 on. Not applied unless
    asked for: it moves the tension by less than 0.1 %.
    """
    reynolds = density_kg_per_m3 * 2 * math.pi * frequency_hz * width_m**2 / (4 * AIR_VISCOSITY)
    return 1 + 2 * math.sqrt(2 / reynolds)


def damped(frequency_hz: float, quality: float) -> float:
    """Return the tone of a mode damped to quality factor Q: ``f sqrt(1 - 1/(4 Q^2))``.

    Raises
    ------
    RequestError
        If Q is not above 1/2: such a strand does not ring.
    """
    if not quality > 0.5:
        raise RequestError(f"quality factor is {quality:g}, must be above 0.5 to ring at all")
    return frequency_hz * math.sqrt(1 - 1 / (4 * quality**2))


@pytest.mark.parametrize(
    ("width_mm", "printed"),
    [(6, 3.40e-5), (9, 7.66e-5), (10, 9.46e-5), (15, 2.13e-4), (25, 5.91e-4)],
)
def test_air_carried_along_by_a_strip(width_mm: float, printed: float) -> None:
    # reference notes, section 2, at 1.204 kg/m3
    assert air_carried(width_mm / 1000) == pytest.approx(printed, rel=0.002)


def test_density_of_air() -> None:
    assert air_density() == pytest.approx(AIR_KG_PER_M3, abs=5e-4)
    assert air_density(0.0) == pytest.approx(1.2929, rel=1e-3)  # CRC handbook, dry, 0 degC
    assert air_density(20.0, 84e3) == pytest.approx(AIR_KG_PER_M3 * 84 / 101.325, rel=1e-3)


@pytest.mark.parametrize(("width_mm", "hz"), [(5, 30), (6, 100), (9, 60), (15, 100), (25, 300)])
def test_boundary_layer_against_the_exact_cylinder(width_mm: float, hz: float) -> None:
    # Sader 1998: Gamma = 1 + 4 i K1(z)/(sqrt(i Re) K0(z)), z = -i sqrt(i Re)
    reynolds = AIR_KG_PER_M3 * 2 * math.pi * hz * (width_mm / 1000) ** 2 / (4 * AIR_VISCOSITY)
    assert reynolds > 30
    root = np.sqrt(1j * reynolds)
    gamma = 1 + 4j * kv(1, -1j * root) / (root * kv(0, -1j * root))
    assert viscous_factor(width_mm / 1000, hz) == pytest.approx(gamma.real, rel=0.005)


def test_boundary_layer_stays_within_the_stated_doubt_of_the_air() -> None:
    air = air_estimate(0.006)
    assert air.u == pytest.approx(air.value / 3)
    assert air.value * viscous_factor(0.006, 40.0) < air.value + air.u
    assert viscous_factor(0.006, 100.0) == pytest.approx(1.15, abs=0.01)  # reference notes
    with pytest.raises(RequestError, match="width is 0 m"):
        air_estimate(0.0)


# --- sag ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "lambda2"), [(1, 0.02), (1, 0.1), (3, 0.1), (5, 0.3)])
def test_sag_against_the_equation_of_irvine_and_caughey(n: int, lambda2: float) -> None:
    # symmetric modes: tan(w/2) = w/2 - (4/lambda2) (w/2)^3, w = omega L sqrt(m/T)

    def miss(w: float) -> float:
        half = w / 2
        return math.sin(half) - math.cos(half) * (half - 4 / lambda2 * half**3)

    w = brentq(miss, n * math.pi - 0.3, n * math.pi + 0.3, xtol=1e-14)
    assert w / (n * math.pi) - 1 == pytest.approx(sag_rise(lambda2, n), rel=0.02)
    assert sag_rise(lambda2, n + 1) == 0


@pytest.mark.parametrize(
    ("span", "printed"), [(0.15, 0.001), (0.3, 0.004), (1.0, 0.046), (1.5, 0.104)]
)
def test_sag_parameter_of_a_9_mm_belt(span: float, printed: float) -> None:
    # reference notes, section 1: 20 N, 9 mm, EA 29 kN; mass 1.28 g/m per mm fits its numbers
    strand = Strand(span, 0.01154, stretch_n=29e3)
    assert sag_parameter(strand, 20.0) == pytest.approx(printed, abs=0.0006)


def test_sag_is_said_where_it_matters() -> None:
    # reference notes, section 0: T too high by 0.03 % at 0.3 m, 0.9 % at 1.5 m
    assert sag_warning(Strand(0.3, 0.0115, stretch_n=29e3), 20.0) is None
    said = sag_warning(Strand(1.5, 0.0115, stretch_n=29e3), 20.0)
    assert said is not None
    assert "0.9%" in said
    assert sag_parameter(Strand(1.5, 0.0115), 20.0) == 0  # EA not known: nothing can be said


# --- damping --------------------------------------------------------------------------------------


@pytest.mark.parametrize("quality", [2.0, 20.0, 150.0])
def test_damped_tone_is_the_root_of_the_oscillator(quality: float) -> None:
    w = 2 * math.pi * 66.3
    roots = np.roots([1, w / quality, w * w])
    assert damped(66.3, quality) == pytest.approx(abs(roots[0].imag) / (2 * math.pi), rel=1e-12)


def test_damping_is_small_for_anything_that_rings() -> None:
    assert 1 - damped(1.0, 20.0) == pytest.approx(0.0003, abs=2e-5)  # reference notes, section 2
    with pytest.raises(RequestError, match=r"must be above 0\.5"):
        damped(66.3, 0.5)


# --- the list -------------------------------------------------------------------------------------


def by_name(strand: Strand, glide: float = 0.0) -> dict[str, float]:
    return {c.name: c.percent for c in corrections(strand, 66.3, glide=glide)}


def test_corrections_are_named_and_sized() -> None:
    made = by_name(BELT, glide=0.004)
    assert list(made) == [
        "bending stiffness",
        "ends",
        "air carried along",
        "stretch",
        "pluck amplitude",
    ]
    xi = tension(BELT, 66.3).xi
    assert made["bending stiffness"] == pytest.approx(-100 * (math.pi / xi) ** 2, rel=0.03)
    assert made["ends"] == pytest.approx(-100 * 2 * (2 / 3) / xi, rel=0.03)
    assert made["air carried along"] == pytest.approx(100 * 7.66e-5 / 0.0126, rel=0.03)
    assert made["stretch"] == pytest.approx(-100 * 37.4 / 29e3, rel=0.03)
    assert made["pluck amplitude"] == pytest.approx(-0.8, abs=0.01)


def test_only_corrections_that_were_made_are_listed() -> None:
    assert corrections(Strand(0.412, 0.0126), 66.3) == ()
    assert list(by_name(replace(BELT, air_kg_per_m=0.0, stretch_n=math.inf))) == [
        "bending stiffness",
        "ends",
    ]


def test_corrections_together_make_the_difference_from_the_string() -> None:
    made = math.prod(1 + p / 100 for p in by_name(BELT).values())
    string = tension(Strand(BELT.span_m, BELT.linear_mass_kg_per_m), 66.3).tension_n
    assert made == pytest.approx(tension(BELT, 66.3).tension_n / string, rel=2e-4)


# --- dimensions -----------------------------------------------------------------------------------


def test_plain_formulas_have_the_right_dimensions() -> None:
    """The formulas are plain arithmetic, so that pint can check their dimensions for nothing."""
    import pint

    unit: Any = pint.UnitRegistry()
    width, span = 9 * unit.millimeter, 412 * unit.millimeter
    air: Any = air_carried(width, 1.204 * unit.kilogram / unit.meter**3)
    assert air.check("[mass]/[length]")
    assert air.to("kg/m").magnitude == pytest.approx(7.66e-5, rel=2e-3)
    eps: Any = hardening(29e3 * unit.newton, 40 * unit.newton, 2 * unit.millimeter, span)
    assert eps.check("[]")
