"""The string law against published numbers."""

from __future__ import annotations

import pytest

from beltpitch.belts.mechanics import partials, tension
from beltpitch.belts.strand import Strand

LBF = 4.4482216152605
INCH = 0.0254
LB = 0.45359237


def test_wire_of_thomson_vibrates_at_the_printed_frequencies() -> None:
    # Thomson, Vibration Theory and Applications, art. 8.2, p. 264; as verification problem VM53
    # (pymapdl vm53.dat, commit 5a47594): L 100 in, A 0.00306796 in2, density 0.00073 lb s2/in4,
    # F 500 lb; targets 74.708, 149.42, 224.12 Hz.
    mass = 0.00073 * 0.00306796 * LBF / INCH**2  # lbf s2/in2 -> kg/m
    wire = Strand(100 * INCH, mass)
    assert partials(wire, 500 * LBF, 3) == pytest.approx((74.708, 149.42, 224.12), abs=0.005)
    assert tension(wire, 224.12, 3).tension_n / LBF == pytest.approx(500, rel=5e-5)


# D'Addario string tension chart (tension_chart_13934.pdf, by way of zmoon/stringcalc
# data/daddario-tension.txt, commit 236d9da), scale 25.5 in, A4 = 440 Hz equal temperament.
# item, unit weight lb/in, frequency Hz, tension lb as printed
CHART = """
PL007 .00001085 391.995 11.2
PL010 .00002215 329.628 16.2
PL013 .00003744 246.942 15.4
PL017 .00006402 195.998 16.6
PL020 .00008861 195.998 22.9
NW024 .00010857 195.998 28.1
NW036 .00023964 146.832 34.8
NW042 .00032279 110.000 26.3
NW046 .00038216 82.407 17.5
NW056 .00057598 73.416 20.9
NW080 .00115011 55.000 23.4
CG030 .00016958 146.832 24.6
PL007 .00001085 293.665 6.3
PL010 .00002215 220.000 7.2
PL013 .00003744 391.995 38.7
PL017 .00006402 293.665 37.2
PL026 .00014975 123.471 15.4
NW024 .00010857 246.942 44.6
NW036 .00023964 97.999 15.5
NW046 .00038216 130.813 44.0
"""
CHART_G = 386.4  # in/s2, the maker's; true standard gravity is 386.0886


@pytest.mark.parametrize("row", CHART.strip().splitlines())
def test_string_makers_chart(row: str) -> None:
    item, weight, hz, printed = row.split()
    mass = float(weight) * LB / INCH * (386.0886 / CHART_G)  # the chart's g makes 0.08 % less
    string = Strand(25.5 * INCH, mass)
    found = tension(string, float(hz)).tension_n / LBF
    assert found == pytest.approx(float(printed), abs=0.05 + 0.001), item


def test_double_frequency_means_four_times_the_tension() -> None:
    belt = Strand(0.4, 0.012)
    assert tension(belt, 120.0).tension_n == pytest.approx(4 * tension(belt, 60.0).tension_n)
