"""Belt geometry against an independent construction and against published formulas and tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from beltpitch.belts.span import from_length, from_pulleys, open_length, outside, plain, toothed
from beltpitch.uncertainty import Estimate


def hull_length(c: float, r1: float, r2: float) -> float:
    """Length of a string stretched round two circles: Cauchy's formula, integral of the width.

    The support function of the hull is the larger of those of the circles; no tangent is used.
    """
    turn = math.acos((r1 - r2) / c)  # where both circles are touched
    piece = quad(lambda a: max(r1, c * math.cos(a) + r2), 0, math.pi, points=[turn], epsabs=1e-13)
    return float(2 * piece[0])


def tangent_by_search(c: float, r1: float, r2: float) -> float:
    """Length of the common tangent: the support points where both circles touch one line."""
    touch = brentq(lambda a: c * math.cos(a) + r2 - r1, 1e-9, math.pi - 1e-9, xtol=1e-15)
    normal = np.array([math.cos(touch), math.sin(touch)])
    return float(np.linalg.norm(np.array([c, 0.0]) + r2 * normal - r1 * normal))


radius = st.floats(0.002, 0.2)
gap = st.floats(0.001, 2.0)


@given(radius, radius, gap)
def test_belt_length_and_strand_against_the_stretched_string(
    r1: float, r2: float, apart: float
) -> None:
    c = r1 + r2 + apart
    loop = from_pulleys(Estimate(c), plain(2 * r1), plain(2 * r2))
    assert loop.belt_length.value == pytest.approx(hull_length(c, r1, r2), rel=1e-9)
    assert loop.span.length_m == pytest.approx(tangent_by_search(c, r1, r2), rel=1e-9)
    # Wraps and strands close the loop.
    arcs = r1 * loop.wrap_a_rad + r2 * loop.wrap_b_rad
    assert arcs + 2 * loop.span.length_m == pytest.approx(loop.belt_length.value, rel=1e-12)
    assert loop.wrap_a_rad + loop.wrap_b_rad == pytest.approx(2 * math.pi)


@given(radius, radius, gap)
def test_centre_distance_from_length_against_scipys_root(
    r1: float, r2: float, apart: float
) -> None:
    wanted = hull_length(r1 + r2 + apart, r1, r2)
    loop = from_length(Estimate(wanted), plain(2 * r1), plain(2 * r2))
    root = brentq(lambda c: open_length(c, 2 * r1, 2 * r2) - wanted, r1 + r2, wanted)
    assert loop.centre.value == pytest.approx(root, rel=1e-9)
    assert loop.centre.value == pytest.approx(r1 + r2 + apart, rel=1e-8)


def test_length_of_equal_pulleys() -> None:
    # Technical Timing formulae sheet (2017): L = 2 C + z p
    loop = from_pulleys(Estimate(0.4), toothed(20, 0.002), toothed(20, 0.002))
    assert loop.belt_length.value == pytest.approx(2 * 0.4 + 20 * 0.002)
    assert loop.span.length_m == pytest.approx(0.4)


@pytest.mark.parametrize(("z1", "z2", "c_mm"), [(16, 32, 120), (20, 60, 200), (18, 72, 160)])
def test_usual_approximations_hold_where_they_are_meant_to(z1: int, z2: int, c_mm: float) -> None:
    loop = from_pulleys(Estimate(c_mm / 1000), toothed(z1, 0.003), toothed(z2, 0.003))
    small, big = loop.a.diameter_m, loop.b.diameter_m
    # Gates drive selection procedure: 2 C + 1.57 (D + d) + (D - d)^2 / 4 C
    gates = 2 * c_mm / 1000 + 1.57 * (big + small) + (big - small) ** 2 / (4 * c_mm / 1000)
    assert loop.belt_length.value == pytest.approx(gates, rel=1e-3)
    # GB/T 11362-2008: wrap 180 - 57.3 (D - d)/C degrees; teeth floor(z/2 - z (D - d)/(2 pi C))
    wrap = 180 - 57.3 * (big - small) / (c_mm / 1000)
    assert math.degrees(loop.wrap_a_rad) == pytest.approx(wrap, abs=0.5)
    teeth = math.floor(z1 / 2 - z1 * (big - small) / (2 * math.pi * c_mm / 1000))
    assert loop.mesh_a == teeth
    # SDP/SI catalogue D790: t = sqrt(C^2 - ((D - d)/2)^2)
    sdpsi = math.sqrt((c_mm / 1000) ** 2 - ((big - small) / 2) ** 2)
    assert loop.span.length_m == pytest.approx(sdpsi)


def test_pitch_diameter_of_a_printed_pulley() -> None:
    # Elatech HTD 3M pulley table: 10 teeth, pitch diameter 9.55 mm, outside 8.79 mm
    from_teeth = toothed(10, 0.003)
    assert from_teeth.diameter_m * 1000 == pytest.approx(9.55, abs=0.005)
    from_outside = outside(0.00879, 0.000381)
    assert from_outside.diameter_m * 1000 == pytest.approx(9.55, abs=0.005)


def test_uncertainty_of_strand_and_length_against_differences() -> None:
    # Numerical derivatives of the independent constructions above.
    c, d1, d2 = 0.21, 0.03, 0.07
    u_c, u_1, u_2 = 1e-3, 2e-4, 3e-4

    def swing(f: str, which: int, u: float) -> float:
        values = []
        for sign in (1, -1):
            x = [c, d1 / 2, d2 / 2]
            x[which] += sign * u / (1 if which == 0 else 2)
            values.append(hull_length(*x) if f == "L" else tangent_by_search(*x))
        return (values[0] - values[1]) / 2

    loop = from_pulleys(
        Estimate.single(c, u_c, name="centre distance", key="tape"),
        plain(d1, u_1, key="calliper 1"),
        plain(d2, u_2, key="calliper 2"),
    )
    for f, got in (("L", loop.belt_length), ("t", loop.span.length)):
        whole = math.hypot(swing(f, 0, u_c), swing(f, 1, u_1), swing(f, 2, u_2))
        assert got.u == pytest.approx(whole, rel=1e-4)


def test_uncertainty_of_the_inverse_against_differences() -> None:
    length, d1, d2 = 0.6, 0.03, 0.07
    u_l, u_2 = 1e-3, 3e-4
    loop = from_length(
        Estimate.single(length, u_l, name="belt length", key="maker"),
        plain(d1),
        plain(d2, u_2, key="calliper"),
    )

    def strand(big_l: float, big_d: float) -> tuple[float, float]:
        c = brentq(lambda x: hull_length(x, d1 / 2, big_d / 2) - big_l, 0.06, big_l, xtol=1e-14)
        return c, tangent_by_search(c, d1 / 2, big_d / 2)

    by_l = np.subtract(strand(length + u_l, d2), strand(length - u_l, d2)) / 2
    by_d = np.subtract(strand(length, d2 + u_2), strand(length, d2 - u_2)) / 2
    wanted = np.hypot(by_l, by_d)
    assert (loop.centre.u, loop.span.length.u) == pytest.approx(tuple(wanted), rel=1e-4)
