"""Twist, edgewise mode and the range a strand can carry."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.linalg import eigh

from beltpitch.belts.mechanics import carried_range, frequency
from beltpitch.belts.strand import Strand

BELT = Strand(0.412, 0.0126, 3e-4, 1 / 3, 1 / 3, 7.66e-5, 29e3)
USUAL_TWIST = (1.005, 1.06)  # where GJ is not known: commonly 1 to 5 % above mode 1, and a margin


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Where a line that is not the fundamental is to be expected, and what it is."""

    name: str
    low_hz: float
    high_hz: float


def twist(
    frequency_hz: float, tension_n: float, width_m: float, torsion_n_m2: float | None = None
) -> Neighbour:
    """Return where a flat strand twists: ``f1 sqrt(1 + 12 GJ/(T b^2))``.

    Tension restores a twisted strip with ``T b^2/12``, its section with GJ; its inertia is
    ``m b^2/12``. Where GJ is not known the usual range is given.
    """
    if torsion_n_m2 is None:
        low, high = USUAL_TWIST
        return Neighbour("twist", low * frequency_hz, high * frequency_hz)
    line = frequency_hz * math.sqrt(1 + 12 * torsion_n_m2 / (tension_n * width_m**2))
    return Neighbour("twist", line, line)


def edgewise(strand: Strand, tension_n: float, width_m: float) -> Neighbour:
    """Return where the strand moves in the plane of its width.

    Between a string without air (cords that slide in soft rubber) and a clamped beam with cords
    that hold together, ``EI = EA b^2/12``. Often below twice the fundamental.
    """
    string = replace(strand, stiffness_n_m2=0.0, air_kg_per_m=0.0)
    low = frequency(string, tension_n)
    if math.isinf(strand.stretch_n):
        return Neighbour("edgewise", low, 2 * low)
    plate = strand.stretch_n * width_m**2 / 12
    stiff = replace(string, stiffness_n_m2=plate, hold_a=1.0, hold_b=1.0)
    return Neighbour("edgewise", low, frequency(stiff, tension_n))


@pytest.mark.parametrize("torsion", [0.0, 2e-6, 2e-5])
def test_twist_against_a_ribbon_of_strings(torsion: float) -> None:
    """Parallel strings across the width, each with its share of tension and mass.

    Their cross-section stays straight (rigid); GJ resists its turning from place to place.
    """
    length, mass, pull, width, fibres, points = 0.4, 0.0126, 40.0, 0.009, 60, 120
    h = length / points
    inner = points - 1
    second = (2 * np.eye(inner) - np.eye(inner, k=1) - np.eye(inner, k=-1)) / h
    across = (np.arange(fibres) + 0.5) / fibres * width - width / 2
    k, m = torsion * second, np.zeros((inner, inner))
    for offset in across:  # this fibre moves by the angle times its offset
        k = k + offset**2 * pull / fibres * second
        m = m + offset**2 * mass / fibres * h * np.eye(inner)
    square = eigh(k, m, eigvals_only=True, subset_by_index=[0, 0])[0]
    first = math.sqrt(pull / mass) / (2 * length)
    found = twist(first, pull, width, torsion)
    assert found.low_hz == found.high_hz
    assert math.sqrt(square) / (2 * math.pi) == pytest.approx(found.low_hz, rel=5e-4)


def test_twist_without_a_figure_is_a_range_above_the_fundamental() -> None:
    found = twist(66.3, 37.4, 0.009)
    assert 66.3 < found.low_hz < 66.3 * 1.01
    assert 66.3 * 1.05 <= found.high_hz < 66.3 * 1.1
    assert twist(66.3, 37.4, 0.009, 5e-6).high_hz > twist(66.3, 37.4, 0.025, 5e-6).high_hz


def test_edgewise_mode_lies_above_and_often_below_the_octave() -> None:
    found = edgewise(BELT, 37.4, 0.009)
    first = frequency(BELT, 37.4)
    assert first < found.high_hz < 2 * first
    assert found.low_hz == pytest.approx(math.sqrt(37.4 / 0.0126) / 0.824, rel=1e-3)  # no air
    unknown = edgewise(replace(BELT, stretch_n=math.inf), 37.4, 0.009)
    assert unknown.high_hz == 2 * unknown.low_hz


def test_range_reaches_from_slack_to_breaking() -> None:
    low, high = carried_range(BELT, 850.0)
    assert low < frequency(BELT, 2.0) < frequency(BELT, 850.0) < high
    assert high == pytest.approx(1.1 * frequency(BELT, 850.0))
    assert carried_range(BELT, 850.0, slack_n=10.0)[0] == pytest.approx(0.9 * frequency(BELT, 10.0))
