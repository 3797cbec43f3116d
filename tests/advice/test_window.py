"""The window: three answers, which rule binds, and how a preload is judged by it."""

from __future__ import annotations

import pytest

from beltpitch.advice.bounds import Bound
from beltpitch.advice.duty import Motion, Pulley, linear_demand
from beltpitch.advice.limits import Limits, limits_of
from beltpitch.advice.window import Window, judge, target_window, windows
from beltpitch.belts.catalogue import belt
from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate

SEATING = Bound(20, "seating", "seating minimum", "table")
ALLOWED = Bound(200, "allowable", "allowable strand tension", "table")
LIMITS = Limits(seating=SEATING, allowable=ALLOWED, working_tension_n=60)
DEMAND = linear_demand("fixed", Motion(mass_kg=4, acceleration_m_per_s2=10))  # 40 N


def preload(value: float, u: float) -> Estimate:
    return Estimate.single(value, u, name="reading", key="reading")


def test_the_lower_end_is_the_larger_of_seating_and_duty() -> None:
    assert windows(LIMITS).bounds.low == SEATING
    low = windows(LIMITS, DEMAND).bounds.low
    assert low is not None
    assert (low.kind, low.newtons) == ("slack strand", 60)  # the pull, and the teeth's minimum
    assert "minimum for tooth engagement" in low.rule
    harder = linear_demand("fixed", Motion(mass_kg=12, acceleration_m_per_s2=10))
    assert windows(Limits(seating=SEATING), harder).bounds.low is not None
    rest = windows(Limits(seating=SEATING), harder).bounds.low
    assert rest is not None
    assert rest.newtons == pytest.approx(1.2 * 120)  # 20 % of the pull is more than the minimum
    assert "20% of it" in rest.rule


def test_the_upper_end_is_the_smallest_of_allowable_less_pull_shaft_and_own_limit() -> None:
    alone = windows(LIMITS).bounds.high
    assert alone == ALLOWED
    pulled = windows(LIMITS, DEMAND).bounds.high
    assert pulled is not None
    assert (pulled.kind, pulled.newtons) == ("allowable", 160)
    shaft = linear_demand(
        "fixed",
        Motion(mass_kg=4, acceleration_m_per_s2=10),
        pulley=Pulley(20, 0.005, permitted_radial_n=150),
    )
    bound = windows(LIMITS, shaft).bounds.high
    assert bound is not None
    assert bound.kind == "shaft"
    assert bound.newtons == pytest.approx(75)
    own = windows(LIMITS, shaft, own_limit_n=70).bounds.high
    assert own is not None
    assert (own.kind, own.newtons) == ("own limit", 70)


def test_working_tension_warns_of_life_and_never_ends_the_window() -> None:
    tight = Limits(seating=SEATING, allowable=ALLOWED, working_tension_n=30)
    found = windows(tight, DEMAND)
    assert found.verdict == windows(LIMITS, DEMAND).verdict
    assert any("carries for life" in w for w in found.warnings)


def test_every_word_has_its_own_stretch_of_newtons() -> None:
    router = windows(limits_of(belt("2GT 9 mm")))
    assert router.verdict is not None
    words = [judge(preload(n, 1), router.verdict).word for n in (1, 5, 20, 60, 95, 400)]
    assert words == ["slack", "slack", "within", "tight", "tight", "over"]
    assert router.verdict.bears_n == pytest.approx(594 / 3)  # a third of the breaking load


def test_where_only_one_end_is_known_only_that_side_is_named() -> None:
    low_only = windows(Limits(seating=SEATING)).verdict
    words = [judge(preload(n, 1), low_only).word for n in (5, 19.9, 20.1, 400)]
    assert words == ["slack", "slack", "cannot tell", "cannot tell"]


def test_a_target_gives_that_belt_a_full_window() -> None:
    own = windows(limits_of(belt("2GT 9 mm")), target=(60, 0.1))
    assert own.verdict is own.by_target
    words = [judge(preload(n, 0.5), own.verdict).word for n in (40, 60, 80)]
    assert words == ["slack", "within", "tight"]


def test_a_target_outside_the_rules_is_kept_and_said() -> None:
    found = windows(LIMITS, DEMAND, target=(30, 0.1))
    assert any("the target is below 60 N" in w for w in found.warnings)
    found = windows(LIMITS, DEMAND, target=(170, 0.1))
    assert any("the target is above 160 N" in w for w in found.warnings)


def test_a_target_never_reaches_past_the_allowable() -> None:
    window = target_window(1700, 0.1, limits_of(belt("AT5 25")))
    assert window.high_n == 1750
    assert "allowable" in window.high_rule


@pytest.mark.parametrize(
    ("target", "within", "said"),
    [
        (200, 0.1, "not below the 200 N this belt may carry"),
        (450, 0.1, "allowable strand tension"),
        (-3, 0.1, "target is -3 N"),
        (30, 0.0, "leaves no range"),
        (30, 1.0, "leaves no range"),
    ],
)
def test_a_target_that_cannot_be_is_refused(target: float, within: float, said: str) -> None:
    with pytest.raises(RequestError, match=said):
        windows(LIMITS, target=(target, within))


def test_an_empty_range_says_so_and_gives_no_window() -> None:
    heavy = linear_demand("fixed", Motion(mass_kg=12, acceleration_m_per_s2=10))
    found = windows(LIMITS, heavy)
    assert found.bounds.empty
    assert found.verdict is None
    assert any(w.startswith("no preload serves: at least 144 N") for w in found.warnings)
    assert any("times as wide" in way for way in found.bounds.opens)
    assert judge(preload(100, 1), found.verdict).word == "cannot tell"


def test_an_own_limit_below_the_least_preload_is_what_must_give() -> None:
    found = windows(LIMITS, DEMAND, own_limit_n=30)
    assert found.bounds.opens == ("a limit of your own above 60 N",)


def test_seating_against_a_weak_shaft_is_opened_by_the_shaft_or_a_finer_belt() -> None:
    demand = linear_demand(
        "fixed",
        Motion(mass_kg=1, acceleration_m_per_s2=1),
        pulley=Pulley(20, 0.005, permitted_radial_n=30),
    )
    opens = windows(LIMITS, demand).bounds.opens
    assert opens[0].startswith("a motor that permits 42 N")  # two strands: the pull and the rest


def test_wide_seating_against_allowable_is_opened_by_the_named_width() -> None:
    demand = linear_demand("closed", Motion(process_force_n=30))
    tight = Limits(seating=Bound(20, "seating", "", ""), allowable=Bound(45, "allowable", "", ""))
    assert windows(tight, demand).bounds.opens[0].startswith("a belt 1.44 times as wide")
    wider = Limits(seating=Bound(29, "seating", "", ""), allowable=Bound(75, "allowable", "", ""))
    assert not windows(wider, demand).bounds.empty


def test_a_belt_of_which_nothing_is_known_has_no_window() -> None:
    assert windows(Limits()).verdict is None


def test_marks_stand_in_order_and_in_the_window() -> None:
    found = windows(limits_of(belt("3GT 9 mm")), DEMAND)
    forces = [m.newtons for m in found.marks]
    assert forces == sorted(forces)
    assert found.verdict is not None
    assert found.verdict.marks == found.marks
    assert {"working tension", "break"} <= {m.label for m in found.marks}


def test_a_joined_belt_may_carry_half() -> None:
    whole, joined = (limits_of(belt("AT5 25"), joined=j).allowable for j in (False, True))
    assert whole is not None
    assert joined is not None
    assert joined.newtons == pytest.approx(whole.newtons / 2)


@pytest.mark.parametrize(
    ("value", "u", "word"),
    [
        (20, 5, "within"),
        (10, 5, "cannot tell"),  # on the edge
        (11, 5, "within, 5 in 10"),
        (9, 5, "slack, 5 in 10"),
        (15, 5, "within, 8 in 10"),
        (3.5, 5, "slack"),
        (36.5, 5, "tight"),
        (20, 8, "within, 7 in 10"),
        (10, 0, "within"),
        (9.99, 0, "slack"),
    ],
)
def test_the_likeliest_word_stands_with_its_share_below_nine_tenths(
    value: float, u: float, word: str
) -> None:
    assert str(judge(preload(value, u), Window(10, 30, "", ""))) == word


def test_few_degrees_of_freedom_make_judging_harder() -> None:
    window = Window(10, 30, "", "")
    sure = Estimate.single(3, 5, name="a", key="a")
    few = Estimate.single(3, 5, name="a", key="a", dof=1)
    assert (str(judge(sure, window)), str(judge(few, window))) == ("slack", "slack, 8 in 10")


def test_an_empty_window_cannot_be_made() -> None:
    with pytest.raises(ValueError, match="is empty"):
        Window(10, 10, "", "")
