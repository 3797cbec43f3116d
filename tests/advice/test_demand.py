"""What a duty asks: parts of the pull, the ends of its range, and what opens an empty one."""

from __future__ import annotations

import math

import pytest

from beltpitch.advice.axis import Layout
from beltpitch.advice.bounds import Bound
from beltpitch.advice.duty import (
    Motion,
    Pulley,
    Rotation,
    duty_marks,
    duty_warnings,
    linear_demand,
    range_by_duty,
    rotary_demand,
)
from beltpitch.belts.drives import DRIVE_NAMES
from beltpitch.errors import RequestError

MOTION = Motion(mass_kg=4, acceleration_m_per_s2=5, process_force_n=12, friction_n=8)
PULLEY = Pulley(20, 0.005)
ALLOWED = Bound(200, "allowable", "allowable strand tension of this belt", "test")


def test_the_pull_is_the_sum_of_its_parts() -> None:
    demand = linear_demand("fixed", MOTION)
    assert dict(demand.parts) == {
        "acceleration": 20,
        "slope": 0,
        "process force": 12,
        "friction": 8,
    }
    assert demand.peripheral_n == 40
    assert demand.least_n == 40  # lengths unknown: the printed rule


def test_an_upright_axis_carries_its_weight() -> None:
    upright = linear_demand("fixed", Motion(mass_kg=4, slope_rad=math.pi / 2))
    assert upright.peripheral_n == pytest.approx(4 * 9.80665)
    tilted = linear_demand("fixed", Motion(mass_kg=4, slope_rad=-math.pi / 6))
    assert tilted.peripheral_n == pytest.approx(2 * 9.80665)


def test_two_belts_side_by_side_share_the_pull() -> None:
    pair = linear_demand(
        "looped",
        Motion(mass_kg=4, acceleration_m_per_s2=5, process_force_n=12, friction_n=8, belts=2),
    )
    assert pair.peripheral_n == 20
    assert pair.belts == 2


def test_known_lengths_ask_for_less_than_the_printed_rule_and_never_more() -> None:
    shares = [
        linear_demand("fixed", MOTION, layout=Layout(2.0, near, 0.4)).slack_share
        for near in (0.01, 0.2, 0.6, 0.8)
    ]
    assert shares == sorted(shares, reverse=True)
    assert all(0.5 <= s <= 1 for s in shares)


def test_the_other_axis_of_two_shared_belts_counts_half() -> None:
    same = linear_demand("crossed", Motion(mass_kg=1, acceleration_m_per_s2=10))
    light = linear_demand("crossed", Motion(mass_kg=1, acceleration_m_per_s2=10, cross_mass_kg=0.2))
    assert same.peripheral_n == pytest.approx(10)
    assert light.peripheral_n == pytest.approx(6)
    assert same.belts == 2


def test_shared_belts_halve_the_weight_of_the_one_axis_that_slopes() -> None:
    upright = linear_demand("crossed", Motion(mass_kg=4, slope_rad=math.pi / 2))
    assert upright.peripheral_n == pytest.approx(2 * 9.80665)


def test_a_drive_answers_to_its_other_names() -> None:
    assert linear_demand("stacked", MOTION) == linear_demand("Crossed", MOTION)


def test_without_a_duty_the_motor_is_the_duty() -> None:
    demand = linear_demand("fixed", Motion(), pulley=PULLEY, motor_torque_nm=1.0)
    assert demand.peripheral_n == pytest.approx(1.0 / PULLEY.radius_m)


@pytest.mark.parametrize(
    ("drive", "motion", "torque", "said"),
    [
        ("fixed", Motion(), None, "nothing says how hard this axis pulls"),
        ("fixed", MOTION, 1.0, "only with its pulley"),
        ("rotary", MOTION, None, "has no moving mass"),
        ("chain", MOTION, None, "no drive is called 'chain'; choose one of: looped"),
        ("fixed", MOTION, -1.0, "torque is -1 N m"),
    ],
)
def test_a_duty_that_says_nothing_is_refused(
    drive: str, motion: Motion, torque: float | None, said: str
) -> None:
    with pytest.raises(RequestError, match=said):
        linear_demand(drive, motion, motor_torque_nm=torque)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("mass_kg", -1.0),
        ("acceleration_m_per_s2", -1.0),
        ("process_force_n", math.inf),
        ("friction_n", math.nan),
        ("belts", 0),
        ("cross_mass_kg", 0.0),
        ("slope_rad", 2.0),
    ],
)
def test_a_motion_that_cannot_be_is_refused(field: str, value: float) -> None:
    with pytest.raises(RequestError):
        Motion(**{field: value})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("pulley", "said"),
    [
        ({"teeth": 0, "pitch_m": 0.005}, "number of pulley teeth is 0"),
        ({"teeth": 20, "pitch_m": 0.0}, "tooth spacing is 0 m"),
        ({"teeth": 20, "pitch_m": 0.005, "wrap_rad": 7.0}, "wrap angle of 401.1 deg is none"),
        ({"teeth": 20, "pitch_m": 0.005, "permitted_radial_n": -5}, "radial load is -5 N"),
        ({"teeth": 20, "pitch_m": 0.005, "in_mesh": 0}, "teeth in mesh is 0"),
    ],
)
def test_a_pulley_that_cannot_be_is_refused(pulley: dict[str, float], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        Pulley(**pulley)  # type: ignore[arg-type]


def test_the_shaft_ends_the_range_where_the_motor_is_weaker_than_the_belt() -> None:
    weak = Pulley(20, 0.005, permitted_radial_n=100)
    found = range_by_duty(linear_demand("fixed", MOTION, pulley=weak), ALLOWED)
    assert found.high is not None
    assert found.high.kind == "shaft"
    assert found.high.newtons == pytest.approx(50)
    assert not found.empty
    narrow = Pulley(20, 0.005, wrap_rad=math.pi / 2, permitted_radial_n=100)
    wider = range_by_duty(linear_demand("fixed", MOTION, pulley=narrow), None)
    assert wider.high is not None
    assert wider.high.newtons == pytest.approx(100 / math.sqrt(2))


def test_an_empty_range_names_what_opens_it_and_that_does_open_it() -> None:
    heavy = Motion(mass_kg=20, acceleration_m_per_s2=7, friction_n=10)
    found = range_by_duty(linear_demand("fixed", heavy), ALLOWED)
    assert found.empty
    assert found.opens == (
        "a belt 1.65 times as wide, or a stronger profile or cord",
        "less acceleration: below 4.05 m/s^2",
    )
    for a, empty in ((4.06, True), (4.03, False)):
        calmer = Motion(mass_kg=20, acceleration_m_per_s2=a, friction_n=10)
        assert range_by_duty(linear_demand("fixed", calmer), ALLOWED).empty is empty
    for times, empty in ((1.64, True), (1.66, False)):
        wider = Bound(200 * times, "allowable", "", "")
        assert range_by_duty(linear_demand("fixed", heavy), wider).empty is empty


def test_a_range_closed_by_the_shaft_asks_for_another_shaft() -> None:
    weak = Pulley(20, 0.005, permitted_radial_n=60)
    found = range_by_duty(linear_demand("fixed", MOTION, pulley=weak), None)
    assert found.empty
    assert found.opens[0].startswith("a motor that permits 96 N of radial load")
    assert found.opens[1] == "less acceleration: below 1.25 m/s^2"


def test_process_force_alone_cannot_be_helped_by_less_acceleration() -> None:
    cut = Motion(mass_kg=1, acceleration_m_per_s2=1, process_force_n=150)
    found = range_by_duty(linear_demand("fixed", cut), ALLOWED)
    assert "less acceleration alone does not open it" in found.opens[1]


def test_a_rotary_drive_by_torque_and_by_power_agree() -> None:
    turns = 10.0
    by_torque = rotary_demand(Rotation(torque_nm=0.8), PULLEY)
    by_power = rotary_demand(Rotation(power_w=0.8 * 2 * math.pi * turns, turns_per_s=turns), PULLEY)
    assert by_torque.peripheral_n == pytest.approx(by_power.peripheral_n)
    shocked = rotary_demand(Rotation(torque_nm=0.8, service_factor=2), PULLEY)
    assert shocked.least_n == pytest.approx(2 * by_torque.least_n)


def test_a_fast_belt_spends_tension_on_its_bend() -> None:
    slow, fast = (
        rotary_demand(
            Rotation(torque_nm=0.8, turns_per_s=n, linear_mass_kg_per_m=0.05), PULLEY
        ).running_n
        for n in (10, 20)
    )
    assert slow == pytest.approx(0.05 * (10 * 20 * 0.005) ** 2)
    assert fast == pytest.approx(4 * slow)


@pytest.mark.parametrize(
    "given", [{}, {"power_w": 50.0}, {"turns_per_s": 10.0}], ids=["nothing", "power", "speed"]
)
def test_a_rotary_drive_without_torque_or_power_and_speed_is_refused(
    given: dict[str, float],
) -> None:
    with pytest.raises(RequestError, match="needs its torque, or its power and speed"):
        Rotation(**given)


def test_warnings_name_life_mesh_motor_and_shaft() -> None:
    few = Pulley(10, 0.005, in_mesh=4, permitted_radial_n=90)
    demand = linear_demand("fixed", MOTION, pulley=few, motor_torque_nm=0.2)
    said = " / ".join(duty_warnings(demand, working_tension_n=60))
    assert "only 4 teeth are in mesh: the belt carries 60% of its rating" in said
    assert "above the 36 N this belt carries for life" in said
    assert "it would stall or lose steps" in said
    assert "above the permitted 90 N" in said
    calm = linear_demand("fixed", MOTION, pulley=PULLEY, motor_torque_nm=2)
    assert duty_warnings(calm, working_tension_n=60) == ()


def test_marks_of_a_duty_never_end_it() -> None:
    labels = {
        drive: [m.label for m in duty_marks(linear_demand(drive, MOTION))]
        for drive in DRIVE_NAMES
        if drive != "rotary"
    }
    assert labels["fixed"] == ["printed rule: preload equal to the pull"]
    assert labels["closed"] == []
    turning = duty_marks(rotary_demand(Rotation(torque_nm=0.8), PULLEY))
    pull = 0.8 / PULLEY.radius_m
    assert [m.newtons for m in turning] == pytest.approx([0.6 * pull, 0.8 * pull])
