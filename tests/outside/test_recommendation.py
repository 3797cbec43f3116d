"""The recommended ranges against published set points, minima and elongations.

Nothing here was fitted to the set points: the rules are those of
`beltpitch.advice.recommendation`, whose stretches were chosen from the handbook's minima, a machine
maker's manual and a belt maker's allowables. The count that is asserted is the one that was found.
"""

from __future__ import annotations

import pytest

from beltpitch.advice.recommendation import READ, Recommendation, recommended
from beltpitch.belts.catalogue import belt, profiles

# Set points in newtons, one strand. E1 to E11: Mitsubishi MELFA RV-FR, Robot Arm Setup and
# Maintenance, p. 5-135 table 5-8. E12 to E16: RH-3SQHR, BFP-A8840, p. 5-73. Both name the belt.
NAMED = {
    "E1": ("3GT 6 mm", 26, 32),
    "E2": ("3GT 6 mm", 26, 32),
    "E3": ("3GT 6 mm", 26, 32),
    "E4": ("3GT 4 mm", 18, 22),
    "E5": ("3GT 4 mm", 18, 22),
    "E6": ("3GT 12 mm", 79.7, 97.4),
    "E7": ("3GT 6 mm", 39.2, 47.9),
    "E8": ("3GT 4 mm", 27, 33),
    "E9": ("5GT 20 mm", 96, 118),
    "E10": ("3GT 9 mm", 59.4, 72.6),
    "E11": ("3GT 9 mm", 59.4, 72.6),
    "E12": ("5GT 20 mm", 123, 151),
    "E13": ("3GT 12 mm", 53, 65),
    "E14": ("3GT 9 mm", 40, 48),
    "E15": ("3GT 6 mm", 26, 32),
    "E16": ("3GT 12 mm", 53, 65),
}
# E17 to E24: Brooks PreciseFlex service manual, General Belt Tensioning. E25 to E28: Epson VT6L
# pp. 197, 208 and N6 p. 306. E29: a factory work sheet in an open data set (74 N +/- 10 %).
UNNAMED = {
    "E17": (3, 12, 135, 135),
    "E18": (5, 25, 425, 425),
    "E19": (3, 12, 68, 68),
    "E20": (3, 20, 289, 289),
    "E21": (3, 12, 68, 68),
    "E22": (5, 15, 182, 182),
    "E23": (3, 9, 60.5, 60.5),
    "E24": (3, 9, 147, 147),
    "E25": (3, 6, 23, 36),
    "E26": (3, 6, 23, 36),
    "E27": (3, 9, 34, 58),
    "E28": (3, 6, 18, 28),
    "E29": (3, 15, 66.6, 81.4),
}


def _range(name: str) -> Recommendation:
    found = recommended(belt(name))
    assert found is not None
    return found


def _inside(name: str, low: float, high: float) -> bool:
    found = _range(name)
    return found.low.newtons <= low and high <= found.high.newtons


def test_set_points_of_named_belts_lie_inside() -> None:
    inside = [key for key, point in NAMED.items() if _inside(*point)]
    print(f"{len(inside)} of {len(NAMED)} set points of named belts lie inside")
    assert len(inside) == len(NAMED)


@pytest.mark.parametrize(("names", "least"), [(("3GT", "5GT"), 13), (("HTD 3M", "HTD 5M"), 9)])
def test_set_points_of_unnamed_belts_counted_by_class(names: tuple[str, str], least: int) -> None:
    """Taken for HTD, four lie above: E17, E20, E24 of PreciseFlex, and E18 or E22 may follow."""
    profile = dict(zip((3, 5), names, strict=True))
    inside = [
        key
        for key, (pitch, width, low, high) in UNNAMED.items()
        if _inside(f"{profile[pitch]} {width} mm", low, high)
    ]
    print(f"{len(inside)} of {len(UNNAMED)} lie inside, taken for {' and '.join(names)}: {inside}")
    assert len(inside) >= least


def test_best_lies_within_a_factor_two_and_a_half_of_the_named_set_points() -> None:
    ratio = {
        key: (low + high) / 2 / _range(name).best.newtons
        for key, (name, low, high) in NAMED.items()
    }
    print({key: round(value, 2) for key, value in ratio.items()})
    assert all(0.38 < value < 2.5 for value in ratio.values())


# SDP/SI Handbook of Timing Belts, table 9 (2.1 lbf for 2 mm GT, 6 mm was read; the other rows are
# from memory of the same table): width in mm, minimum in N.
MINIMA: dict[str, dict[float, float]] = {
    "2GT": {4: 5.78, 6: 9.3, 9: 13.3, 12: 17.8},
    "3GT": {6: 9.79, 9: 14.7, 12: 19.6, 15: 24.5},
    "5GT": {9: 37.4, 15: 62.7, 20: 83.2, 25: 104},
    "HTD 3M": {6: 11.1, 9: 19.1, 15: 34.7},
    "HTD 5M": {9: 28.0, 15: 53.4, 25: 94.7},
    "MXL": {3.175: 4.45, 4.7625: 7.56, 6.35: 10.2},
    "XL": {6.35: 14.2, 9.525: 22.7},
}


@pytest.mark.parametrize(
    ("name", "width", "newtons"), [(p, b, n) for p, rows in MINIMA.items() for b, n in rows.items()]
)
def test_low_is_the_handbooks_minimum_row_by_row(name: str, width: float, newtons: float) -> None:
    found = recommended(belt(name, width_m=width / 1000))
    assert found is not None
    assert found.low.newtons == pytest.approx(newtons, rel=0.005)


# SDP/SI catalogue D265, p. T-15 table 3, allowable working tension, lbf for 1 inch of width.
WORKING = {
    "2GT": 25,
    "3GT": 114,
    "5GT": 160,
    "HTD 3M": 64,
    "HTD 5M": 102,
    "HTD 8M": 178,
}


@pytest.mark.parametrize(("name", "pounds"), WORKING.items())
def test_high_is_the_handbooks_working_tension_at_one_inch_and_less_below(
    name: str, pounds: float
) -> None:
    inch = recommended(belt(name, width_m=0.0254))
    half = recommended(belt(name, width_m=0.0127))
    assert inch is not None
    assert half is not None
    assert inch.high.newtons == pytest.approx(pounds * 4.44822, rel=0.005)
    # derated under an inch, "the outer cords are no complete loops": the standard's exponent
    assert half.high.newtons == pytest.approx(inch.high.newtons * 0.5**1.14, rel=1e-6)


# Elatech 2012, pp. 8, 14, 20, 26, 36, 18: allowable of type M and stiffness EA of one row each, N.
PRINTED = [
    ("T5 25 mm", 900, 225e3),
    ("AT5 25 mm", 1750, 437.5e3),
    ("ATL5 25 mm", 2530, 632.5e3),
    ("XL 25.4 mm", 750, 187.5e3),
    ("HTD 5M 25 mm", 2530, 632.5e3),
    ("AT20 50 mm", 11520, 2.88e6),
]


@pytest.mark.parametrize(("name", "allowable", "ea"), PRINTED)
def test_the_share_of_the_allowable_is_the_stretch_of_the_general_rule(
    name: str, allowable: float, ea: float
) -> None:
    """The maker's allowable is 0.4 % stretch, so a quarter of it is the 1 mm in a metre of a
    machine maker's manual (item 0.0.641.21, p. 8), and half of it 0.2 %."""
    found = recommended(belt(name, construction="polyurethane, steel cord"))
    assert found is not None
    assert allowable / ea == pytest.approx(0.004, rel=0.005)
    assert found.best.newtons == pytest.approx(0.001 * ea, rel=0.005)
    assert found.high.newtons == pytest.approx(allowable / 2, rel=0.005)


def test_the_handbooks_urethane_rows_are_the_makers_allowable() -> None:
    """T5 of the handbook, 209 lbf an inch, against Elatech's 900 N at 25 mm."""
    maker = belt("T5 25 mm", construction="polyurethane, steel cord").allowable_n
    assert maker is not None
    assert pytest.approx(maker.value / 25, rel=0.02) == 209 * 4.44822 / 25.4


def test_every_belt_of_the_catalogue_has_a_range() -> None:
    count = 0
    for profile in profiles():
        for made in profile.constructions:
            for width_m in profile.widths_m:
                one = belt(profile.name, width_m=width_m, construction=made.name)
                found = recommended(one)
                assert found is not None, one.name
                assert found.low.newtons <= found.best.newtons <= found.high.newtons
                if one.break_n is not None:  # far from what tears it
                    assert found.high.newtons < 0.2 * one.break_n.value
                count += 1
    print(f"{count} belts, each with low, best and high")
    assert count >= 231


def test_published_is_said_only_of_figures_that_were_read() -> None:
    for profile in profiles():
        for made in profile.constructions:
            one = belt(profile.name, width_m=profile.widths_m[0], construction=made.name)
            found = recommended(one)
            assert found is not None
            if found.basis == "published":
                assert one.seating_n is not None
                assert one.seating_n.known in READ
                assert one.working_tension_n is not None
                assert one.working_tension_n.known in READ
