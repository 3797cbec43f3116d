"""The catalogue against published tables and set points; each check names its source.

Set points E1 to E29 give mass, span and tension as printed; their frequencies are computed by the
ideal string law. They check figures, units and arithmetic, not the physics.
"""

from __future__ import annotations

import math

import pytest

from beltpitch.belts.catalogue import belt, own_belt, profile
from beltpitch.belts.mechanics import frequency, tension
from beltpitch.belts.strand import Strand
from beltpitch.uncertainty import Estimate

# GB/T 11362-2008 (adopts ISO 5295): profile, b0 mm, m kg/m, Ta N; the width exponent is 1.14
REFERENCE_BELTS = [
    ("MXL", 6.4, 0.007, 27),
    ("XXL", 6.4, 0.010, 31),
    ("XL", 9.5, 0.022, 50.17),
    ("L", 25.4, 0.095, 244.46),
    ("H", 76.2, 0.448, 2100.85),
    ("XH", 101.6, 1.484, 4048.9),
    ("XXH", 127, 2.473, 6398.03),
]


@pytest.mark.parametrize(("name", "b0_mm", "mass", "pull"), REFERENCE_BELTS)
def test_reference_belts_of_the_standard(name: str, b0_mm: float, mass: float, pull: float) -> None:
    found = belt(name, width_m=b0_mm / 1000)
    per_width = found.linear_mass_per_width
    assert per_width is not None
    kept = [per_width, *per_width.also]
    printed = next(f for f in kept if "GB/T 11362" in f.source)
    # Printed to a gram per metre, and the catalogue rounds to a hundredth of g/m per mm.
    assert printed.value * b0_mm / 1000 == pytest.approx(mass, abs=0.0005, rel=0.005)
    # What is used lies within one standard uncertainty of it.
    assert abs(found.linear_mass.value - mass) <= 1.05 * found.linear_mass.u
    assert found.working_tension_n is not None
    assert found.working_tension_n.value == pytest.approx(pull)


@pytest.mark.parametrize("share", [0.25, 0.5, 2.0])
@pytest.mark.parametrize(("name", "b0_mm", "mass", "pull"), REFERENCE_BELTS)
def test_working_tension_goes_with_the_standards_exponent(
    name: str, b0_mm: float, mass: float, pull: float, share: float
) -> None:
    # GB/T 11362-2008: Ta (b / b0)^1.14
    if b0_mm * share > 250:
        share = 1 / share
    found = belt(name, width_m=b0_mm * share / 1000).working_tension_n
    assert found is not None
    assert found.value == pytest.approx(pull * share**1.14)


# Elatech polyurethane belts catalogue, 2012, pp. 8, 14, 20, 26, 36; HTD 3M data page; AT20 other
# edition: width mm, kg/m, allowable N (type M), EA kN, break N. Masses to the decimals printed.
ELATECH: dict[str, list[tuple[float, str, float, float, float]]] = {
    "T5": [
        (10, "0.021", 360, 90, 1500),
        (16, "0.034", 570, 142.5, 2375),
        (25, "0.053", 900, 225, 3750),
        (32, "0.067", 1140, 285, 4750),
        (50, "0.105", 1800, 450, 7500),
        (75, "0.158", 2700, 675, 11250),
        (100, "0.210", 3600, 900, 15000),
    ],
    "AT5": [
        (10, "0.03", 560, 140, 2000),
        (16, "0.05", 1120, 280, 4000),
        (25, "0.09", 1750, 437.5, 6250),
        (32, "0.11", 2240, 560, 8000),
        (50, "0.17", 3500, 875, 12500),
        (75, "0.26", 5250, 1312.5, 18750),
        (100, "0.34", 7000, 1750, 25000),
    ],
    "ATL5": [
        (10, "0.04", 1100, 275, 4000),
        (16, "0.06", 1760, 440, 6400),
        (25, "0.10", 2530, 632.5, 9200),
        (32, "0.12", 3080, 770, 11200),
        (50, "0.19", 5060, 1265, 18400),
        (75, "0.29", 7590, 1897.5, 27600),
        (100, "0.38", 10120, 2530, 36800),
    ],
    "AT20": [
        (25, "0.24", 5280, 1320, 19250),
        (32, "0.31", 7200, 1800, 26250),
        (50, "0.48", 11520, 2880, 42000),
        (75, "0.73", 17280, 4320, 63000),
        (100, "0.97", 23520, 5880, 85750),
        (150, "1.45", 35520, 8880, 129500),
    ],
    "HTD 3M": [
        (10, "0.02", 320, 80, 1250),
        (15, "0.03", 510, 127.5, 2000),
        (25, "0.05", 900, 225, 3500),
    ],
    "HTD 5M": [
        (10, "0.05", 880, 220, 3200),
        (15, "0.07", 1320, 330, 4800),
        (25, "0.12", 2530, 632.5, 9200),
        (50, "0.24", 5060, 1265, 18400),
        (100, "0.48", 10120, 2530, 36800),
    ],
    "XL": [
        (6.35, "0.015", 180, 45, 750),
        (7.94, "0.019", 210, 52.5, 875),
        (9.53, "0.023", 270, 67.5, 1125),
        (12.7, "0.031", 360, 90, 1500),
        (19.1, "0.046", 570, 142.5, 2375),
        (25.4, "0.061", 750, 187.5, 3125),
        (38.1, "0.092", 1140, 285, 4750),
        (50.8, "0.122", 1500, 375, 6250),
    ],
}
ROWS = [(name, *row) for name, rows in ELATECH.items() for row in rows]


@pytest.mark.parametrize(("name", "width_mm", "mass", "allowable", "ea_kn", "breaks"), ROWS)
def test_elatech_tables(
    name: str, width_mm: float, mass: str, allowable: float, ea_kn: float, breaks: float
) -> None:
    found = belt(name, width_m=width_mm / 1000, construction="polyurethane, steel cord")
    rounding = 0.5 * 10.0 ** -len(mass.split(".")[1])
    assert found.linear_mass.value == pytest.approx(float(mass), abs=rounding + found.linear_mass.u)
    assert found.allowable_n is not None
    assert found.ea_n is not None
    assert found.break_n is not None
    assert found.allowable_n.value == allowable
    assert found.ea_n.value == pytest.approx(1000 * ea_kn)
    assert found.break_n.value == pytest.approx(breaks, abs=found.break_n.u)
    # belt-data note 0.3: every type M table is the load at 0.4 percent strain
    assert found.allowable_n.value == pytest.approx(0.004 * found.ea_n.value)
    # and the joined belt, type V, has half of it
    assert found.allowable_joined_n is not None
    assert found.allowable_joined_n.value == pytest.approx(allowable / 2)


# Misumi catalogue, timing belt pages: g/m at 10 mm
@pytest.mark.parametrize(("name", "mass"), [("UP5M", 41.0), ("UP8M", 50.8), ("MTS8M", 45.0)])
def test_misumi_unit_masses(name: str, mass: float) -> None:
    found = belt(f"{name} 10 mm").linear_mass
    assert found.value * 1000 == pytest.approx(mass, abs=1000 * found.u)


# SDP/SI Technical Section D820, table 3: working tension, N at 25.4 mm; ultimate is 15 times that
SDPSI = [
    ("HTD 3M", 285, True),
    ("HTD 5M", 454, True),
    ("HTD 8M", 792, True),
    ("2GT", 111, True),
    ("3GT", 507, True),
    ("5GT", 712, False),  # here the printed breaking load of another maker is lower
    ("T2.5", 312, None),
    ("T5", 930, None),
    ("T10", 1800, None),
]


@pytest.mark.parametrize(("name", "pull", "fifteen"), SDPSI)
def test_handbook_working_tensions(name: str, pull: float, fifteen: bool | None) -> None:
    found = belt(name, width_m=0.0254)
    assert found.working_tension_n is not None
    assert found.working_tension_n.value == pytest.approx(pull, rel=0.005)
    if fifteen is not None:
        assert found.break_n is not None
        assert (found.break_n.value == pytest.approx(15 * pull, rel=0.01)) is fifteen
        assert found.break_n.value < 15.2 * pull


def test_seating_minimum_of_the_handbook() -> None:
    # SDP/SI D820 table 9: 2.1 lbf for 2 mm GT, 6 mm wide
    found = belt("GT2 6 mm").seating_n
    assert found is not None
    assert found.value == pytest.approx(2.1 * 4.4482216, abs=0.05)


def test_users_stretch_tests_lie_within_the_axial_stiffness() -> None:
    # Router users' forum, thread 18480 post 22: 38 lbf on 500 mm: 2.9, 1.5 and 1.3 mm
    force = 38 * 4.4482216152605
    for construction, width_mm, stretch_mm in (
        ("glass", 9, 2.9),
        ("steel", 9, 1.5),
        ("steel", 10, 1.3),
    ):
        found = belt("2GT", width_m=width_mm / 1000, construction=construction).ea_n
        assert found is not None
        assert force * 500 / stretch_mm == pytest.approx(found.value, abs=1.2 * found.u)


def test_deflection_rule_tells_the_same_stiffness_as_the_stretch_test() -> None:
    # A deflection of t/64 lengthens a span t by t/2048 (Pythagoras), so the stretch constant Y of
    # the makers' force-deflection rule is EA/2048: 13.7 N for 2 mm GT, 9 mm (from memory).
    lengthening = 2 * math.hypot(0.5, 1 / 64) - 1
    assert lengthening == pytest.approx(1 / 2048, rel=1e-3)
    found = belt("2GT 9 mm").ea_n
    assert found is not None
    assert 13.7 / lengthening == pytest.approx(found.value, abs=found.u)


# Mitsubishi Electric MELFA RV-FR setup manual p. 5-135 table 5-8 (E1 to E11) and RH-3SQHR
# BFP-A8840 p. 5-73 (E12 to E16): belt, span mm, tension min and max N; then the ideal string's Hz.
NAMED = [
    ("E1", "210-3GT-6", 61, 26, 32, 341.3, 378.6),
    ("E2", "324-3GT-6", 88, 26, 32, 236.6, 262.4),
    ("E3", "303-3GT-6", 103, 26, 32, 202.1, 224.2),
    ("E4", "186-3GT-4", 52, 18, 22, 407.9, 451.0),
    ("E5", "336-3GT-4", 131, 18, 22, 161.9, 179.0),
    ("E6", "315-EV3GT-12", 85.5, 79.7, 97.4, 301.4, 333.2),
    ("E7", "369-EV3GT-6", 118.4, 39.2, 47.9, 215.9, 238.6),
    ("E8", "393-EV3GT-4", 149.8, 27.0, 33.0, 173.4, 191.7),
    ("E9", "405-EV5GT-20", 107.5, 96, 118, 161.1, 178.6),
    ("E10", "501-3GT-9", 178.5, 59.4, 72.6, 143.9, 159.1),
    ("E11", "495-EV3GT-9", 181.0, 59.4, 72.6, 141.9, 156.9),
    ("E12", "340-5GT-20", 84, 123, 151, 233.4, 258.6),
    ("E13", "363-3GT-12", 103, 53, 65, 204.0, 226.0),
    ("E14", "297-3GT-9", 77, 40, 48, 273.8, 299.9),
    ("E15", "345-3GT-6", 69, 26, 32, 301.7, 334.7),
    ("E16", "312-3GT-12", 82, 53, 65, 256.3, 283.8),
]


@pytest.mark.parametrize(("mark", "printed", "span_mm", "low", "high", "f_low", "f_high"), NAMED)
def test_set_points_of_robots_with_named_belts(
    mark: str,
    printed: str,
    span_mm: float,
    low: float,
    high: float,
    f_low: float,
    f_high: float,
) -> None:
    found = belt(printed)
    assert found.teeth is not None  # every printed length is a whole number of teeth
    string = Strand(span_mm / 1000, found.linear_mass.value)
    assert frequency(string, low) == pytest.approx(f_low, abs=0.06)
    assert frequency(string, high) == pytest.approx(f_high, abs=0.06)
    assert tension(string, f_low).tension_n == pytest.approx(low, rel=1e-3)
    # The tension is among the belt's own marks, to the tenth of N/mm that those are rounded to.
    assert found.width_m is not None
    slack = 0.06 * found.width_m * 1000
    assert any(p.low_n - slack <= low and high <= p.high_n + slack for p in found.set_points)


# Brooks PreciseFlex service manual, General Belt Tensioning (E17 to E24); Epson VT6L pp. 197, 208
# and N6 p. 306 (E25 to E28); a factory work sheet (E29): g/m per mm, width mm, span mm, N, Hz.
UNNAMED = [
    ("E17", 2.8, 12, 75, 135, 422.6),
    ("E18", 4.1, 25, 113, 425, 284.9),
    ("E19", 2.8, 12, 76, 68, 296.0),
    ("E20", 2.8, 20, 441, 289, 81.4),
    ("E21", 2.8, 12, 83, 68, 271.0),
    ("E22", 4.1, 15, 152, 182, 178.9),
    ("E23", 2.8, 9, 257, 60.5, 95.3),
    ("E24", 2.8, 9, 267, 147, 143.0),
    ("E25", 2.5, 6, 45, 23, 435.1),
    ("E25", 2.5, 6, 45, 36, 544.3),
    ("E26", 2.5, 6, 184, 23, 106.4),
    ("E27", 2.5, 9, 169, 58, 150.2),
    ("E28", 2.5, 6, 142, 28, 152.1),
    ("E29", 2.5, 15, 226, 66.6, 93.2),
    ("E29", 2.5, 15, 226, 81.4, 103.1),
]


@pytest.mark.parametrize(("mark", "per_mm", "width_mm", "span_mm", "force", "hertz"), UNNAMED)
def test_set_points_of_robots_with_belts_of_ones_own(
    mark: str, per_mm: float, width_mm: float, span_mm: float, force: float, hertz: float
) -> None:
    mine = own_belt(Estimate(per_mm * width_mm / 1000), width_mm / 1000)
    string = Strand(span_mm / 1000, mine.linear_mass.value)
    assert frequency(string, force) == pytest.approx(hertz, abs=0.06)
    # The catalogue's belt of that class allows for this maker's mass.
    pitch_class = profile("5GT" if per_mm > 4 else "3GT").default.linear_mass.printed
    assert abs(per_mm - pitch_class.value) <= 2 * pitch_class.u


def test_one_belt_on_three_spans_has_one_tension() -> None:
    # Factory work sheets (ManageProcess21, page 266), F2 to F4: 0.69 g/m per mm, 4.5 mm wide
    mine = own_belt(Estimate(0.69 * 4.5 / 1000), 0.0045)
    pairs = [(104.2, 378), (82.4, 478), (67.7, 582)]
    found = [
        tension(Strand(span / 1000, mine.linear_mass.value), hertz).tension_n
        for span, hertz in pairs
    ]
    assert found == pytest.approx([19.27, 19.27, 19.28], abs=0.01)
    products = [span * hertz for span, hertz in pairs]
    assert max(products) / min(products) - 1 < 0.0005


def test_router_users_pair_implies_a_heavier_belt_than_two_millimetre_pitch() -> None:
    # Router users' forum, thread 24712 page 3, F5: 15 mm belt, 500 mm, 89 N, 58 Hz. The pitch is
    # not printed, and the mass it implies is why it is kept as a remark only.
    implied = 89 / (2 * 0.5 * 58) ** 2
    assert implied * 1000 == pytest.approx(26.5, abs=0.05)
    assert implied > belt("2GT 15 mm").linear_mass.value + 2 * belt("2GT 15 mm").linear_mass.u
    kept = profile("2GT").default.linear_mass.printed.also
    assert any(f.value == pytest.approx(implied / 0.015, abs=0.005) for f in kept)


def test_linear_axis_window_of_a_joined_or_fully_used_belt() -> None:
    # Elatech p. 54: F_V >= F_U and F_V + F_U <= allowable, so never above half of it when the
    # drive is fully used; belt-data note 3a lists the halves.
    for printed, half in [
        ("T5-10", 180),
        ("T5-16", 285),
        ("AT5-10", 280),
        ("AT5-16", 560),
        ("AT5-25", 875),
        ("HTD 3M-15 PU", 255),
        ("HTD 5M-15 PU", 660),
        ("XL-037 PU", 135),
    ]:
        found = belt(printed).allowable_n
        assert found is not None
        assert found.value / 2 == pytest.approx(half)
