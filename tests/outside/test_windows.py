"""Windows against published rules and set points; each check names its source."""

from __future__ import annotations

import pytest

from beltpitch.advice.duty import Motion, linear_demand, range_by_duty
from beltpitch.advice.limits import limits_of
from beltpitch.advice.window import judge, windows
from beltpitch.belts.catalogue import belt
from beltpitch.uncertainty import Estimate

# Elatech polyurethane belts catalogue 2012, p. 54: clamped open belts F_V >= F_U, and
# F_V + F_U <= F_allow. Its tables (pp. 8, 14, 18, 26, 36; HTD 3M data page) give F_allow of
# type M; a drive used to the full then has F_V = F_U = F_allow / 2. Half the printed loads:
FULLY_USED = [
    ("T5 10 mm", 180),
    ("T5 16 mm", 285),
    ("AT5 10 mm", 280),
    ("AT5 16 mm", 560),
    ("AT5 25 mm", 875),
    ("HTD 3M 15 mm", 255),
    ("HTD 5M 15 mm", 660),
    ("XL 037", 135),
    ("AT20 25 mm", 2640),  # two editions print 5500 and 5280 N: the catalogue takes the lower
]


@pytest.mark.parametrize(("name", "half"), FULLY_USED)
def test_linear_axis_rule_closes_at_half_the_allowable(name: str, half: float) -> None:
    allowable = limits_of(belt(name, construction="polyurethane, steel cord")).allowable
    for pull, empty in ((0.99 * half, False), (1.01 * half, True)):
        demand = linear_demand("fixed", Motion(process_force_n=pull))
        found = range_by_duty(demand, allowable)
        assert found.low is not None
        assert found.high is not None
        assert (demand.least_n > found.high.newtons) is empty
        assert demand.least_n == pytest.approx(pull)  # F_V >= F_U
        assert found.low.newtons == pytest.approx(1.2 * pull)  # our rest of 20 % on top
        assert found.high.newtons + pull == pytest.approx(2 * half)  # F_V + F_U <= F_allow


def test_conveying_belt_needs_half_the_pull() -> None:
    # Elatech 2012, p. 54: 0.5 F_U for joined conveying belts
    demand = linear_demand("closed", Motion(process_force_n=100))
    assert demand.least_n == 50


# Set points as printed: belt, N min, N max. Mitsubishi MELFA RV-FR p. 5-135 table 5-8 (E1 to E11)
# and RH-3SQHR BFP-A8840 p. 5-73 (E12 to E16) name their belts.
NAMED = [
    ("3GT 6 mm", 26, 32),
    ("3GT 4 mm", 18, 22),
    ("3GT 12 mm", 79.7, 97.4),
    ("3GT 6 mm", 39.2, 47.9),
    ("3GT 4 mm", 27.0, 33.0),
    ("5GT 20 mm", 96, 118),
    ("3GT 9 mm", 59.4, 72.6),
    ("5GT 20 mm", 123, 151),
    ("3GT 12 mm", 53, 65),
    ("3GT 9 mm", 40, 48),
]


@pytest.mark.parametrize(("name", "low", "high"), NAMED)
def test_set_points_of_named_belts_lie_inside_their_windows(
    name: str, low: float, high: float
) -> None:
    limits = limits_of(belt(name))
    found = windows(limits)
    assert found.verdict is not None
    assert found.verdict.low_n is not None
    assert found.verdict.low_n < low
    assert found.verdict.high_n is not None
    assert high < found.verdict.high_n
    assert limits.working_tension_n is not None
    assert high < limits.working_tension_n
    assert high < max(m.newtons for m in found.marks if m.label == "break")


# Belts that are not named: pitch class and width, N min and max. Brooks PreciseFlex service
# manual (E17 to E24), Epson VT6L pp. 197, 208 and N6 p. 306 (E25 to E28).
CLASSES = {3: ("3GT", "HTD 3M"), 5: ("5GT", "HTD 5M")}
UNNAMED = [
    (3, 12, 135, 135),
    (5, 25, 425, 425),
    (3, 12, 68, 68),
    (3, 20, 289, 289),
    (5, 15, 182, 182),
    (3, 9, 60.5, 60.5),
    (3, 9, 147, 147),
    (3, 6, 23, 36),
    (3, 9, 34, 58),
    (3, 6, 18, 28),
]


@pytest.mark.parametrize(("pitch", "width", "low", "high"), UNNAMED)
def test_set_points_of_unnamed_belts_lie_inside_the_windows_of_their_class(
    pitch: int, width: int, low: float, high: float
) -> None:
    for name in CLASSES[pitch]:
        found = windows(limits_of(belt(f"{name} {width} mm"))).verdict
        assert found is not None
        assert found.low_n is not None
        assert found.low_n < low
        assert high < min(m.newtons for m in found.marks if m.label == "break")


def test_the_router_set_point_is_above_the_handbooks_working_tension() -> None:
    """The exception, explained.

    Router users set 80 to 95 N on 2GT, so that the motor cannot slacken a strand (forum thread
    24712; 9 mm is assumed, the only width printed there is 15 mm). SDP/SI D265 p. T-15 table 3
    gives an allowable working tension of 111 N at 25.4 mm, to be derated for narrower belts: 34 N
    at 9 mm by the standard's width exponent. By the handbook the router is tight; both are shown.
    """
    found = windows(limits_of(belt("2GT 9 mm")))
    working = next(m for m in found.marks if m.label == "working tension")
    assert working.newtons == pytest.approx(111 * (9 / 25.4) ** 1.14, rel=0.005)
    routers = [m.newtons for m in found.marks if "router" in m.label]
    assert routers == pytest.approx([80, 95], rel=0.02)
    assert working.newtons < min(routers)
    preload = Estimate.single(88, 3, name="reading", key="reading")
    assert str(judge(preload, found.verdict)) == "tight"


# GB/T 11362-2008 (adopts ISO 5295): Ta at b0, other widths (b / b0)^1.14
@pytest.mark.parametrize(
    ("name", "b0", "pull"),
    [("MXL", 6.4, 27), ("XL", 9.5, 50.17), ("L", 25.4, 244.46), ("H", 76.2, 2100.85)],
)
@pytest.mark.parametrize("width", [8.0, 19.0, 38.1])
def test_the_standards_working_tension_is_a_mark_with_its_own_exponent(
    name: str, b0: float, pull: float, width: float
) -> None:
    limits = limits_of(belt(name, width_m=width / 1000))
    marks = [m for m in limits.marks if m.label == "working tension" and "GB/T 11362" in m.source]
    assert [m.newtons for m in marks] == pytest.approx([pull * (width / b0) ** 1.14])
    assert limits.allowable is None or limits.allowable.newtons != marks[0].newtons


def test_seating_of_the_handbooks_two_millimetre_belt() -> None:
    # SDP/SI D820 table 9, quoted: 2 mm GT, 6 mm: 2.1 lbf; from memory 2.0 lbf
    seating = limits_of(belt("2GT 6 mm")).seating
    assert seating is not None
    assert 2.0 * 4.448 * 0.99 <= seating.newtons <= 2.1 * 4.4483
