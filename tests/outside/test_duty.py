"""Duties against springs solved on their own, a worked example, and published formulas.

The two-spring model is solved here by minimising energy (strands pull, never push) and by a
linear system with the geometry written out; nothing of the code under test is used for it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from beltpitch.advice.axis import (
    Layout,
    Load,
    along_travel,
    lost_motion,
    resonance,
    scale_error,
    slackens_at,
    stiffness,
    stretch,
    thermal_change,
)
from beltpitch.advice.duty import Motion, Pulley, Rotation, linear_demand, rotary_demand
from beltpitch.belts.catalogue import belt


def strands_under(
    force: float, preload: float, ea: float, first: float, second: float
) -> tuple[float, float, float]:
    """Return (displacement, tension of the pulled strand, of the other) by least energy."""

    def energy(x: float) -> float:
        pulled = max(0.0, preload + ea * x / first)
        other = max(0.0, preload - ea * x / second)
        return pulled**2 * first / (2 * ea) + other**2 * second / (2 * ea) - force * x

    reach = 4 * (force + preload) * (first + second) / ea
    found = minimize_scalar(energy, bounds=(-reach, reach), options={"xatol": reach * 1e-12})
    x = float(found.x)
    return x, max(0.0, preload + ea * x / first), max(0.0, preload - ea * x / second)


@pytest.mark.parametrize("first", [0.1, 0.3, 0.7, 1.1])
@pytest.mark.parametrize("force", [10.0, 45.0, 150.0])
def test_stretch_and_slackening_against_least_energy(first: float, force: float) -> None:
    ea, preload, loop = 19.4e3, 20.0, 1.4
    long, short = max(first, loop - first), min(first, loop - first)
    x, _, other = strands_under(force, preload, ea, long, short)
    assert stretch(force, preload, ea, (first, loop - first)) == pytest.approx(x, rel=2e-4)
    assert (other < 1e-6) == (force > slackens_at(preload, long, short))


@pytest.mark.parametrize(("near", "travel"), [(0.1, 1.0), (0.3, 0.4), (0.65, 0.1)])
def test_least_preload_keeps_every_strand_taut_and_no_more(near: float, travel: float) -> None:
    layout, pull, ea = Layout(1.4, near, travel), 60.0, 19.4e3
    demand = linear_demand("fixed", Motion(process_force_n=pull), layout=layout)

    def slackest(preload: float) -> float:
        places = np.linspace(near, near + travel, 7)
        pairs = [(a, 1.4 - a) for a in places] + [(1.4 - a, a) for a in places]
        return min(strands_under(pull, preload, ea, a, b)[2] for a, b in pairs)

    assert slackest(1.01 * demand.least_n) > 0
    assert slackest(0.99 * demand.least_n) == 0


@pytest.mark.parametrize("preload", [30.0, 100.0])
def test_tight_strand_never_passes_preload_plus_pull(preload: float) -> None:
    # what F_V + F_U <= F_allow (Elatech 2012, p. 54) stands on
    for first in np.linspace(0.05, 1.35, 9):
        tight = strands_under(60.0, preload, 19.4e3, first, 1.4 - first)[1]
        assert tight <= preload + 60.0 + 1e-6


def test_two_belts_sharing_both_axes_against_the_linear_system() -> None:
    """Crossed belts: strands' lengths are +-(x + y) and +-(x - y), written out and solved."""
    ea = 19.4e3
    a1, a2, b1, b2 = 0.5, 1.9, 1.4, 1.0
    directions = np.array([[1, 1], [-1, -1], [1, -1], [-1, 1]], float)
    springs = np.diag([ea / a1, ea / a2, ea / b1, ea / b2])
    both = directions.T @ springs @ directions
    along_x = 1 / np.linalg.inv(both)[0, 0]
    one_place = stiffness(ea, (a1, a2)), stiffness(ea, (b1, b2))
    # where the belts stand unlike, the carriage runs off along y and gives more
    assert along_x == pytest.approx(4 / (1 / one_place[0] + 1 / one_place[1]))
    alike = directions.T @ np.diag([ea / a1, ea / a2, ea / a1, ea / a2]) @ directions
    assert 1 / np.linalg.inv(alike)[0, 0] == pytest.approx(stiffness(ea, (a1, a2), belts=2))
    # pull on each belt: the difference of its two strands, for a force along both axes at once
    force = np.array([30.0, 20.0])
    tensions = springs @ directions @ np.linalg.solve(both, force)
    pulls = [abs(tensions[0] - tensions[1]), abs(tensions[2] - tensions[3])]
    assert pulls == pytest.approx([(30 + 20) / 2, (30 - 20) / 2])
    demand = linear_demand("crossed", Motion(mass_kg=3, acceleration_m_per_s2=10, cross_mass_kg=2))
    assert demand.peripheral_n == pytest.approx(max(pulls))


def test_rotary_drive_against_two_equal_strands() -> None:
    # both strands between held shafts, the torque turns one pulley: tight + F/2, slack - F/2
    pulley = Pulley(20, 0.005)
    demand = rotary_demand(Rotation(torque_nm=0.8), pulley)
    _, tight, slack = strands_under(demand.peripheral_n, demand.least_n, 2e4, 0.3, 0.3)
    assert slack == pytest.approx(0, abs=1e-4)
    assert tight == pytest.approx(demand.peripheral_n, rel=1e-4)


def test_shaft_force_of_the_standard() -> None:
    # GB/T 11362-2008: F_Q = 1000 P_d / v, P_d in kW, v in m/s: two strands of the least preload
    pulley, power, turns = Pulley(24, 0.00508), 400.0, 25.0
    speed = turns * 24 * 0.00508
    demand = rotary_demand(Rotation(power_w=power, turns_per_s=turns, service_factor=1.5), pulley)
    shaft = demand.least_n * pulley.shaft_per_strand
    assert shaft == pytest.approx(1000 * (1.5 * power / 1000) / speed)


def test_torque_and_power_to_pull() -> None:
    # Technical Timing formulae sheet 2017: F_U = 2 M / d = P / v, d = z p / pi
    pulley = Pulley(32, 0.008)
    assert rotary_demand(Rotation(torque_nm=5.0), pulley).peripheral_n == pytest.approx(
        2 * 5.0 / (32 * 0.008 / math.pi)
    )


@pytest.mark.parametrize(("mesh", "factor"), [(8, 1.0), (6, 1.0), (5, 0.8), (4, 0.6)])
def test_few_teeth_in_mesh(mesh: int, factor: float) -> None:
    # SDP/SI D820: 20 % less for each tooth below six; GB/T 11362: 1.0, 0.8, 0.6 for 6, 5, 4
    assert Pulley(60, 0.005, in_mesh=mesh).mesh_factor == pytest.approx(factor)


def test_teeth_in_mesh_of_the_standard() -> None:
    small, large, pitch, centre = 18, 40, 0.005, 0.12
    wrap = math.pi - 2 * math.asin((large - small) * pitch / (2 * math.pi * centre))
    standard = math.floor(small / 2 - pitch * small * (large - small) / (2 * math.pi**2 * centre))
    assert Pulley(small, pitch, wrap_rad=wrap).mesh == standard


# Worked example of the project's physics note, section 9: EA 19.4 kN, 0.4 kg, 1.4 m, T0 20 N
@pytest.mark.parametrize(
    ("first", "k", "f", "um", "slack"),
    [(0.7, 55, 59, 180, 40), (0.3, 82, 72, 121, 93), (0.1, 209, 115, 48, 280)],
)
def test_worked_axis(first: float, k: float, f: float, um: float, slack: float) -> None:
    strands = (first, 1.4 - first)
    stiff = stiffness(19.4e3, strands)
    assert stiff / 1e3 == pytest.approx(k, abs=0.6)
    assert resonance(stiff, 0.4) == pytest.approx(f, abs=0.6)
    assert stretch(10, 20, 19.4e3, strands) * 1e6 == pytest.approx(um, abs=0.6)
    assert slackens_at(20, *strands) == pytest.approx(slack, abs=0.6)


def test_worked_scale_error() -> None:
    # same note: 10 N on 19.4 kN is 0.05 %, half a millimetre in a metre
    assert scale_error(10, 19.4e3) == pytest.approx(0.0005, abs=0.00002)


def test_scale_error_against_counted_teeth() -> None:
    # a belt of 500 teeth cut slack and stretched: a tooth of the pulley moves one stretched pitch
    teeth, pitch, ea, tension = 500, 0.002, 19.4e3, 10.0
    stretched = teeth * pitch * (1 + tension / ea)
    assert stretched / teeth / pitch - 1 == pytest.approx(scale_error(tension, ea))


def test_lost_motion_against_a_sliding_carriage() -> None:
    # push past the friction one way, then the other: the carriage rests 2 F_f / k apart
    ea, friction = 19.4e3, 4.0
    there = strands_under(friction, 50, ea, 0.5, 0.9)[0]
    back = strands_under(-friction, 50, ea, 0.5, 0.9)[0]
    assert lost_motion(friction, stiffness(ea, (0.5, 0.9))) == pytest.approx(there - back, rel=1e-4)


@pytest.mark.parametrize(
    ("name", "newtons"), [("AT5 25 mm", 48), ("2GT 9 mm", 5)], ids=["steel", "glass"]
)
def test_ten_kelvin_in_an_aluminium_frame(name: str, newtons: float) -> None:
    # belt-data section 5, from textbook expansions: 10 K moves AT5-25 by about 48 N, 9 mm 2GT 5 N
    made = belt(name)
    assert made.ea_n is not None
    assert made.cord_expansion_per_k is not None
    change = thermal_change(made.ea_n.value, made.cord_expansion_per_k.value, "aluminium", 10)
    assert change == pytest.approx(newtons, rel=0.05)


def test_a_warm_clamped_belt_against_compatible_lengths() -> None:
    # free lengths of frame and cord after warming; what is missing is stretched into the belt
    length, ea, rise = 1.4, 19.4e3, 15.0
    frame, cord = length * (1 + 23e-6 * rise), length * (1 + 5e-6 * rise)
    assert thermal_change(ea, 5e-6, "aluminium", rise) == pytest.approx(
        ea * (frame - cord) / length
    )


def test_along_travel_finds_the_least_stiff_place() -> None:
    points = along_travel(Layout(1.4, 0.1, 1.2), 19.4e3, 20, Load(10, 2, 0.4), places=13)
    softest = min(points, key=lambda p: p.stiffness_n_per_m)
    # physics note: minimum 4 EA / L_tot at L1 = L2
    assert softest.stiffness_n_per_m == pytest.approx(4 * 19.4e3 / 1.4)
    assert softest.position_m == pytest.approx(0.6)
