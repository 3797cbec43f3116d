"""The axis as two springs: limits, scaling, and what is refused."""

from __future__ import annotations

import pytest

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
from beltpitch.errors import RequestError

LAYOUT = Layout(loop_m=2.4, near_m=0.15, travel_m=0.9)


def test_strands_add_up_to_the_loop_everywhere() -> None:
    for position in (0.0, 0.3, 0.9):
        assert sum(LAYOUT.strands(position)) == pytest.approx(2.4)


def test_slack_share_is_that_of_the_longest_strand() -> None:
    assert LAYOUT.slack_share() == pytest.approx(2.25 / 2.4)
    middle = Layout(2.0, 1.0, 0.0)
    assert middle.slack_share() == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("loop", "near", "travel", "said"),
    [
        (2.0, 1.2, 0.9, "do not fit a loop of 2000 mm"),
        (0.0, 0.1, 0.1, "belt loop is 0 m; it must be greater than zero"),
        (2.0, -0.1, 0.1, "shortest strand is -0.1 m"),
        (2.0, 0.1, -0.1, "travel is -0.1 m; it must be zero or more"),
        (float("nan"), 0.1, 0.1, "belt loop is nan"),
    ],
)
def test_a_layout_that_cannot_be_is_refused(
    loop: float, near: float, travel: float, said: str
) -> None:
    with pytest.raises(RequestError, match=said):
        Layout(loop, near, travel)


def test_stiffness_is_least_where_both_strands_are_alike() -> None:
    points = along_travel(Layout(2.0, 0.1, 1.8), 2e4, 50, Load(10), places=19)
    ks = [p.stiffness_n_per_m for p in points]
    assert min(ks) == pytest.approx(4 * 2e4 / 2.0)
    assert ks.index(min(ks)) == 9
    assert ks == pytest.approx(ks[::-1])


def test_stretch_is_continuous_where_a_strand_goes_slack_and_softer_beyond() -> None:
    strands, preload, ea = (0.4, 1.1), 30.0, 2e4
    edge = slackens_at(preload, 1.1, 0.4)
    below, above = (stretch(edge * x, preload, ea, strands) for x in (1 - 1e-9, 1 + 1e-9))
    assert below == pytest.approx(above)
    soft = (stretch(edge + 1, preload, ea, strands) - above) / 1
    assert soft == pytest.approx(1.1 / ea, rel=1e-5)
    assert soft > 1 / stiffness(ea, strands)


def test_two_belts_halve_the_stretch_and_raise_the_resonance_by_root_two() -> None:
    one, two = (along_travel(LAYOUT, 2e4, 80, Load(60, 10, 3), belts=b)[0] for b in (1, 2))
    assert two.stretch_m == pytest.approx(one.stretch_m / 2)
    assert two.lost_motion_m == pytest.approx(lost_motion(10, 2 * one.stiffness_n_per_m))
    assert one.resonance_hz is not None
    assert two.resonance_hz == pytest.approx(one.resonance_hz * 2**0.5)
    assert two.slackens_at_n == pytest.approx(2 * one.slackens_at_n)


def test_what_is_not_known_of_a_load_stays_unknown() -> None:
    point = along_travel(LAYOUT, 2e4, 80, Load(60))[2]
    assert point.lost_motion_m is None
    assert point.resonance_hz is None


def test_resonance_goes_with_the_root_of_stiffness() -> None:
    assert resonance(4e5, 2.0) == pytest.approx(2 * resonance(1e5, 2.0))


def test_scale_error_and_warmth_are_proportional() -> None:
    assert scale_error(20, 2e4) == pytest.approx(2 * scale_error(10, 2e4))
    assert thermal_change(2e4, 12e-6, "aluminium", 5) > 0
    assert thermal_change(2e4, 12e-6, "aluminium", -5) < 0
    assert thermal_change(2e4, 12e-6, "steel", 30) == pytest.approx(0)


def test_an_unknown_frame_is_refused_with_the_known_ones() -> None:
    with pytest.raises(RequestError, match="frame of 'wood'; choose one of aluminium, steel"):
        thermal_change(2e4, 12e-6, "wood", 5)


@pytest.mark.parametrize(
    ("force", "friction", "mass", "said"),
    [(-1, None, None, "force"), (1, -1, None, "friction"), (1, 1, 0, "mass is 0 kg")],
)
def test_a_load_that_cannot_be_is_refused(
    force: float, friction: float | None, mass: float | None, said: str
) -> None:
    with pytest.raises(RequestError, match=said):
        Load(force, friction, mass)


def test_a_belt_without_stiffness_or_preload_is_refused() -> None:
    with pytest.raises(RequestError, match="stiffness EA is 0 N"):
        along_travel(LAYOUT, 0, 80, Load(60))
    with pytest.raises(RequestError, match="preload is -1 N"):
        along_travel(LAYOUT, 2e4, -1, Load(60))
