"""Two parks, the two strands of a drive, and the hung strand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import eigh

from beltpitch.belts.corrections import hung_tension, swing_factor
from beltpitch.belts.mechanics import frequency, tension
from beltpitch.belts.parks import (
    limit_of_strands,
    one_strand,
    preload,
    preload_from_both_ways,
    two_parks,
)
from beltpitch.belts.strand import Strand
from beltpitch.errors import CannotTell, RequestError
from beltpitch.uncertainty import Estimate

MASS, PULL = 0.0126, 40.0


def strand(span: float, xi_at_40_cm: float, s1: float, s2: float) -> Strand:
    ei = PULL * (0.4 / xi_at_40_cm) ** 2
    return Strand(span, MASS, ei, s1, s2, 7.66e-5, 29e3)


@pytest.mark.parametrize("xi", [50.0, 80.0, 150.0, 400.0])
@pytest.mark.parametrize(("s1", "s2"), [(0, 0), (1 / 3, 1 / 3), (1 / 3, 1), (1, 0), (0.6, 0.6)])
def test_two_parks_need_no_span_and_no_ends(xi: float, s1: float, s2: float) -> None:
    far, near = strand(0.56, xi, s1, s2), strand(0.40, xi, s1, s2)
    nowhere = replace(far, span_m=9.9, hold_a=0.0, hold_b=0.0)  # neither is used
    found = two_parks(nowhere, 0.16, frequency(far, PULL), frequency(near, PULL))
    # 0.02 %, for the third order of stiff ends a little more at xi = 50
    assert found.tension_n == pytest.approx(PULL, rel=2e-4 if xi > 60 else 3.5e-4)
    # the ends shorten the string by sqrt(EI/T) times their holding
    shorter = (s1 + s2) * 0.4 / xi
    assert found.span_m == pytest.approx(0.56 - shorter, abs=0.03 * shorter + 1e-5)


def test_two_parks_of_a_string_are_exact() -> None:
    far, near = Strand(0.57, MASS), Strand(0.41, MASS)
    found = two_parks(far, 0.16, frequency(far, PULL), frequency(near, PULL))
    assert found.tension_n == pytest.approx(PULL, rel=1e-12)
    assert found.span_m == pytest.approx(0.57, rel=1e-12)
    assert (found.travel, found.linear_mass, found.stiffness) == (2, 1, 0)


def test_an_error_of_the_tape_drops_out_and_is_reported() -> None:
    far, near = strand(0.56, 150, 1 / 3, 1 / 3), strand(0.40, 150, 1 / 3, 1 / 3)
    tones = frequency(far, PULL), frequency(near, PULL)
    found = two_parks(far, 0.16, *tones)
    tape = Estimate.single(0.564, 0.0006, name="span", key="tape")  # 4 mm too long
    travel = Estimate.single(0.16, 0.0001, name="travel", key="travel")
    long, short = (
        Estimate.single(f, 0.0005 * f, name="plucks", key=key)
        for f, key in zip(tones, ("far", "near"), strict=True)
    )
    offset = found.offset(tape, travel=travel, long=long, short=short)
    ends = -2 / 3 * 0.4 / 150
    assert offset.value == pytest.approx(-0.004 + ends, abs=1e-4)
    wrong = tension(replace(far, span_m=0.564), tones[0]).tension_n
    assert abs(wrong / PULL - 1) > 0.01
    # the length needs no mass: its doubt is travel, tones and tape
    apart = tones[0] / (tones[1] - tones[0])
    expected = math.hypot(0.56 * 0.0001 / 0.16, math.sqrt(2) * 0.56 * apart * 0.0005, 0.0006)
    assert offset.u == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(("xi", "soft"), [(150.0, 29e3), (150.0, 600.0), (40.0, 29e3)])
def test_sensitivities_are_the_derivatives(xi: float, soft: float) -> None:
    far = replace(strand(0.56, xi, 0, 0), stretch_n=soft)
    near = replace(far, span_m=0.40)
    f1, f2, h = frequency(far, PULL), frequency(near, PULL), 1e-5
    found = two_parks(far, 0.16, f1, f2)

    def by(name: str, up: float) -> tuple[float, float]:
        field = {
            "linear_mass": "linear_mass_kg_per_m",
            "air": "air_kg_per_m",
            "stiffness": "stiffness_n_m2",
            "stretch": "stretch_n",
        }.get(name)
        factor = math.exp(up)
        moved = replace(far, **{field: getattr(far, field) * factor}) if field else far
        r = two_parks(
            moved,
            0.16 * (factor if name == "travel" else 1),
            f1 * (factor if name == "long" else 1),
            f2 * (factor if name == "short" else 1),
        )
        return math.log(r.tension_n), math.log(r.span_m)

    for name in ("travel", "long", "short", "linear_mass", "air", "stiffness", "stretch"):
        (t_up, l_up), (t_down, l_down) = by(name, h), by(name, -h)
        assert getattr(found, name) == pytest.approx((t_up - t_down) / (2 * h), abs=1e-7), name
        # of the length without what stiffness adds, which goes with 1/xi^2
        length = getattr(found, f"span_{name}", 0.0)
        within = 0.02 * (40 / xi) ** 2 * max(1, abs(length))
        assert length == pytest.approx((l_up - l_down) / (2 * h), abs=within)


def test_budget_of_two_parks() -> None:
    far, near = Strand(0.56, MASS), Strand(0.40, MASS)
    f1, f2 = frequency(far, PULL), frequency(near, PULL)
    found = two_parks(far, 0.16, f1, f2).estimate(
        travel=Estimate.single(0.16, 0.0001, name="travel", key="travel"),
        long=Estimate.single(f1, 0.0002 * f1, name="plucks", key="far"),
        short=Estimate.single(f2, 0.0002 * f2, name="plucks", key="near"),
        linear_mass=Estimate.single(MASS, 0.005 * MASS, name="linear mass", key="roll"),
        air=Estimate(0.0),
    )
    lines = {line.name: line.u / PULL for line in found.budget()}
    assert lines["linear mass"] == pytest.approx(0.005)
    assert lines["travel"] == pytest.approx(2 * 0.0001 / 0.16)
    both = 2 * 0.0002 * math.hypot(f1, f2) / (f2 - f1)
    assert lines["plucks"] == pytest.approx(both)


def test_parks_that_cannot_be() -> None:
    belt = Strand(0.5, MASS)
    for tones in ((80.0, 60.0), (70.0, 70.0)):
        with pytest.raises(CannotTell, match="the shorter must sound higher"):
            two_parks(belt, 0.16, *tones)
    with pytest.raises(RequestError, match="travel is 0 m"):
        two_parks(belt, 0.0, 60.0, 80.0)
    with pytest.raises(RequestError, match="frequency is nan"):
        two_parks(belt, 0.16, math.nan, 80.0)


# --- the two strands ------------------------------------------------------------------------------


def read(value: float, key: str) -> Estimate:
    own = Estimate.single(value, 0.3, name="plucks", key=key)
    return Estimate(value, (*own.parts, *Estimate.single(0, 1.0, name="m", key="roll").parts))


def lengths(first: float, second: float) -> tuple[Estimate, Estimate]:
    a = Estimate.single(first, 0.002, name="loop sides", key="one")
    return a, Estimate.single(second, 0.002, name="loop sides", key="two")


def test_one_strand_read_after_either_arrival_gives_the_mean() -> None:
    shared, apart = preload_from_both_ways(read(34.0, "a"), read(40.0, "b"))
    assert shared.value == 37.0
    assert apart.value == -6.0
    assert shared.u == pytest.approx(math.hypot(1.0, 0.3 / math.sqrt(2)))
    assert apart.u == pytest.approx(0.3 * math.sqrt(2))  # the roll's error drops out


def at_rest(loop: list[float], carriage: int, friction: float) -> list[float]:
    """Return the tensions of a loop's pieces of belt, springs of one EA, by a linear system.

    The pieces run from the motor's pulley over free idlers to the carriage and on to the pulley;
    a force `friction` holds the carriage behind piece `carriage`, the pulley's detent the rest.
    """
    ea, preload = 12_000.0, 30.0
    count = len(loop)
    matrix, right = np.zeros((count, count)), np.zeros(count)
    for row in range(count - 1):  # a free idler leaves the tension as it is
        matrix[row, row], matrix[row, row + 1] = 1.0, -1.0
        right[row] = friction if row == carriage else 0.0
    matrix[-1] = np.array(loop) / ea  # the whole stretch stays as it was
    right[-1] = preload * sum(loop) / ea
    return [float(t) for t in np.linalg.solve(matrix, right)]


@pytest.mark.parametrize("friction", [-5.0, 0.0, 8.0])
def test_preload_is_weighted_by_all_the_belt_at_each_tension(friction: float) -> None:
    loop = [0.3, 0.5, 0.09, 0.75]  # return strand, about an idler, to the carriage; other strand
    tensions = at_rest(loop, 2, friction)
    first, second = tensions[0], tensions[-1]
    sides = lengths(sum(loop[:3]), loop[3])
    shared, apart = preload(read(first, "a"), read(second, "b"), sides)
    assert shared.value == pytest.approx(30.0)
    assert apart.value == pytest.approx(friction)
    assert shared.u >= 1.0  # the roll's error is common to both strands and stays


def test_sides_that_are_not_known_cost_half_the_difference_at_most() -> None:
    shared, _ = preload(read(34.0, "a"), read(40.0, "b"))
    assert shared.value == 37.0
    lines = {line.name: line.u for line in shared.budget()}
    assert lines["loop sides"] == pytest.approx(3.0 / math.sqrt(3))
    worst, _ = preload(read(34.0, "a"), read(40.0, "b"), lengths(100.0, 0.01))
    assert abs(worst.value - shared.value) == pytest.approx(3.0, rel=0.001)


def test_one_strand_read_once_carries_the_unknown_difference() -> None:
    alone = one_strand(
        Estimate.single(37.0, 1.0, name="m", key="roll"), limit_of_strands(), key="s"
    )
    assert alone.value == 37.0
    assert alone.u == pytest.approx(math.hypot(1.0, 3 / math.sqrt(3)))


def test_the_smaller_of_what_holds_the_strands_unequal_is_their_limit() -> None:
    usual = limit_of_strands()
    assert (usual.value_n, usual.known) == (3.0, False)
    motor = limit_of_strands(detent_n_m=0.02, radius_m=0.005)
    assert (motor.value_n, motor.known) == (4.0, True)
    both = limit_of_strands(detent_n_m=0.02, radius_m=0.005, friction_n=1.5)
    assert both.value_n == 1.5
    assert "rails" in both.basis
    assert limit_of_strands(given_n=0.5, friction_n=1.5).value_n == 0.5
    with pytest.raises(RequestError, match="pulley radius is 0 m"):
        limit_of_strands(detent_n_m=0.02, radius_m=0.0)


# --- the hung strand ------------------------------------------------------------------------------


def hung_tone(length: float, mass: float, weight: float, *, swings: bool) -> float:
    """Return mode 1 of a hanging string in finite elements, tension rising with height."""
    g, count = 9.80665, 800
    h = length / count
    k, m = np.zeros((count + 1, count + 1)), np.zeros((count + 1, count + 1))
    for i in range(count):  # from the foot up
        pull = g * (weight + mass * h * (i + 0.5))
        k[i : i + 2, i : i + 2] += pull / h * np.array([[1, -1], [-1, 1]])
        m[i : i + 2, i : i + 2] += mass * h / 6 * np.array([[2, 1], [1, 2]])
    m[0, 0] += weight
    kept = slice(0, count) if swings else slice(1, count)
    squares = eigh(k[kept, kept], m[kept, kept], eigvals_only=True, subset_by_index=[0, 1])
    # a swinging weight has its own slow pendulum first
    return math.sqrt(squares[1 if swings else 0]) / (2 * math.pi)


@pytest.mark.parametrize(("mass", "weight"), [(0.0126, 1.0), (0.0126, 5.0), (0.06, 10.0)])
def test_hung_strand_against_finite_elements(mass: float, weight: float) -> None:
    length = 0.8
    heard = hung_tone(length, mass, weight, swings=True)
    fixed = heard * swing_factor(weight, mass * length)
    assert fixed == pytest.approx(hung_tone(length, mass, weight, swings=False), rel=1e-5)
    found = tension(Strand(length, mass), fixed).tension_n
    assert found == pytest.approx(hung_tension(weight, mass * length), rel=5e-5)
    assert heard > fixed


def test_swing_matters_for_light_weights_only() -> None:
    assert 1 - swing_factor(0.1, 0.01) == pytest.approx(0.1 / math.pi**2)
    assert 1 - swing_factor(10.0, 0.01) < 2e-4
    assert 1 - swing_factor(0.1, 0.01, 2) == pytest.approx(0.1 / (4 * math.pi**2))
    with pytest.raises(RequestError, match="weight is 0 kg"):
        swing_factor(0.0, 0.01)
    with pytest.raises(RequestError, match="weight is -1 kg"):
        hung_tension(-1.0)
    with pytest.raises(RequestError, match="mass of the hung belt"):
        hung_tension(1.0, -0.1)
