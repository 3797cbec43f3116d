"""Tone <-> tension: round trips, exact sensitivities, refusals."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch.belts.mechanics import frequency, partials, tension
from beltpitch.belts.modes import mode, mode_ratio
from beltpitch.belts.roots import rising_root
from beltpitch.belts.strand import Result, Strand
from beltpitch.errors import CannotTell, RequestError
from beltpitch.uncertainty import Estimate, combine

# 2GT 9 mm over 412 mm, figures as in the design's example
BELT = Strand(0.412, 0.0126, 3e-4, 1 / 3, 1 / 3, 7.66e-5, 29e3)

holdings = st.one_of(st.sampled_from([0.0, 1 / 3, 1.0]), st.floats(0, 1))
strands = st.builds(
    Strand,
    span_m=st.floats(0.05, 3.0),
    linear_mass_kg_per_m=st.floats(1e-3, 3.0),
    stiffness_n_m2=st.one_of(st.just(0.0), st.floats(1e-6, 0.1)),
    hold_a=holdings,
    hold_b=holdings,
    air_kg_per_m=st.floats(0, 1e-3),
    stretch_n=st.one_of(st.just(math.inf), st.floats(5e3, 1e7)),
)


@given(strands, st.floats(1.0, 2000.0), st.integers(1, 8))
def test_tension_gives_back_what_made_the_tone(strand: Strand, pull: float, n: int) -> None:
    if strand.xi(pull) < 0.7:
        return
    found = tension(strand, frequency(strand, pull, n), n)
    assert found.tension_n == pytest.approx(pull, rel=1e-13 * found.log.frequency + 1e-12)
    assert found.value == found.tension_n
    assert found.xi == strand.xi(found.tension_n)


@given(strands, st.floats(1.0, 2000.0))
def test_a_tighter_strand_sounds_higher_and_holding_raises_it(strand: Strand, pull: float) -> None:
    assert frequency(strand, 1.01 * pull) > frequency(strand, pull)
    pinned = replace(strand, hold_a=0.0, hold_b=0.0)
    clamped = replace(strand, hold_a=1.0, hold_b=1.0)
    low, here, high = (frequency(s, pull) for s in (pinned, strand, clamped))
    assert low <= here * (1 + 1e-12)
    assert here <= high * (1 + 1e-12)


def by_name(strand: Strand, f: float, n: int, name: str, step: float) -> float:
    """Return ln T after one input was moved: ends by `step`, others by a factor exp(step)."""
    if name == "frequency":
        return math.log(tension(strand, f * math.exp(step), n).tension_n)
    field = {
        "span": "span_m",
        "linear_mass": "linear_mass_kg_per_m",
        "air": "air_kg_per_m",
        "stiffness": "stiffness_n_m2",
        "stretch": "stretch_n",
        "end_a": "hold_a",
        "end_b": "hold_b",
    }[name]
    old = getattr(strand, field)
    new = old + step if name.startswith("end") else old * math.exp(step)
    return math.log(tension(replace(strand, **{field: new}), f, n).tension_n)


@pytest.mark.parametrize("n", [1, 2, 5])
@pytest.mark.parametrize(
    "strand",
    [
        BELT,
        replace(BELT, stiffness_n_m2=0.02, hold_a=0.9, hold_b=0.05, stretch_n=900.0),
        replace(BELT, span_m=0.1, stiffness_n_m2=5e-3, hold_a=0.02, hold_b=0.5),
    ],
)
def test_sensitivities_are_the_derivatives(strand: Strand, n: int) -> None:
    f = frequency(strand, 37.0, n)
    found = tension(strand, f, n)
    step = 2e-5
    for field in fields(found.log):
        if field.name == "inharmonicity":
            continue
        up, down = (by_name(strand, f, n, field.name, s) for s in (step, -step))
        exact = getattr(found.log, field.name)
        assert exact == pytest.approx((up - down) / (2 * step), rel=2e-6, abs=2e-9), field.name


@pytest.mark.parametrize("xi", [0.5, 2.0, 20.0, 300.0, 1e6])
@pytest.mark.parametrize("n", [1, 2, 6])
@pytest.mark.parametrize(("s1", "s2"), [(0.01, 0.7), (1 / 3, 1 / 3), (0.99, 0.4)])
def test_derivatives_of_the_mode_ratio(xi: float, n: int, s1: float, s2: float) -> None:
    h = 1e-5

    def log(dx: float = 0.0, d1: float = 0.0, d2: float = 0.0) -> float:
        return math.log(mode(xi * math.exp(dx), n, s1 + d1, s2 + d2).value)

    found = mode(xi, n, s1, s2)
    assert found.by_xi == pytest.approx((log(h) - log(-h)) / (2 * h), abs=3e-9, rel=1e-6)
    assert found.by_end_a == pytest.approx((log(0, h) - log(0, -h)) / (2 * h), abs=3e-9, rel=1e-6)
    assert found.by_end_b == pytest.approx((log(0, 0, h) - log(0, 0, -h)) / (2 * h), abs=3e-9, rel=1e-6)  # fmt: skip  # noqa: E501


def test_one_sided_derivatives_at_pinned_and_clamped_ends() -> None:
    h = 1e-6
    free, held = mode(40.0, 1, 0.0, 0.0), mode(40.0, 1, 1.0, 1.0)
    a_little = math.log(mode(40.0, 1, h, 0.0).value / free.value) / h
    a_little_less = math.log(held.value / mode(40.0, 1, 1.0, 1 - h).value) / h
    assert free.by_end_a == pytest.approx(a_little, rel=1e-4)
    assert held.by_end_b == pytest.approx(a_little_less, rel=1e-4)


def test_a_string_has_the_sensitivities_of_the_string_law() -> None:
    log = tension(Strand(0.4, 0.0126), 66.0).log
    assert (log.frequency, log.span, log.linear_mass) == (2, 2, 1)
    assert (log.air, log.stiffness, log.stretch, log.end_a, log.end_b) == (0, 0, 0, 0, 0)


def test_sign_of_every_correction() -> None:
    string = tension(Strand(0.412, 0.0126), 66.3).tension_n
    assert tension(Strand(0.412, 0.0126, 3e-4), 66.3).tension_n < string
    assert tension(Strand(0.412, 0.0126, 3e-4, 1, 1), 66.3).tension_n < string * 0.98
    assert tension(Strand(0.412, 0.0126, air_kg_per_m=7.66e-5), 66.3).tension_n > string
    assert tension(Strand(0.412, 0.0126, stretch_n=29e3), 66.3).tension_n < string


def test_stretch_divides_by_one_plus_strain() -> None:
    # reference notes 5.2: the mass of the slack belt makes T too high by the strain
    soft = Strand(0.5, 0.01, stretch_n=2000.0)
    tone = 80.0
    slack = 4 * 0.01 * (0.5 * tone) ** 2
    found = tension(soft, tone).tension_n
    assert found == pytest.approx(slack / (1 + found / 2000.0), rel=1e-12)


def test_partials_are_the_modes() -> None:
    tones = partials(BELT, 37.0, 5)
    assert len(tones) == 5
    string = math.sqrt(37.0 / BELT.moving_mass(37.0)) / (2 * BELT.span_m)
    ratios = [mode(BELT.xi(37.0), n, 1 / 3, 1 / 3).value for n in range(1, 6)]
    assert tones == pytest.approx([n * string * r for n, r in enumerate(ratios, start=1)])
    stretched = [f / n for n, f in enumerate(tones, start=1)]
    assert stretched == sorted(stretched)


def test_terms_carry_each_input_to_the_budget() -> None:
    found = tension(BELT, 66.3)

    def given_u(value: float, name: str) -> Estimate:
        return Estimate.single(value, 0.01 * value, name=name, key=name)

    held = Estimate.single(1 / 3, 0.29, name="ends", key="belt:2GT/ends")
    budget = combine(
        found.tension_n,
        found.terms(
            frequency=given_u(66.3, "plucks"),
            span=given_u(0.412, "span"),
            linear_mass=given_u(0.0126, "linear mass"),
            air=given_u(7.66e-5, "air"),
            stiffness=given_u(3e-4, "stiffness"),
            stretch=given_u(29e3, "stretch"),
            ends=(held, held),
        ),
    )
    lines = {line.name: line.u for line in budget.budget()}
    t = found.tension_n
    assert lines["plucks"] == pytest.approx(0.01 * t * found.log.frequency)
    assert lines["span"] == pytest.approx(0.01 * t * found.log.span)
    assert lines["air"] == pytest.approx(0.01 * t * found.log.air)
    assert lines["stiffness"] == pytest.approx(-0.01 * t * found.log.stiffness)
    # both pulleys hold alike: their errors add, not in square
    assert lines["ends"] == pytest.approx(2 * 0.29 * t * abs(found.log.end_a))
    assert found.terms() == []


def test_an_input_of_nothing_has_no_term() -> None:
    found = tension(Strand(0.4, 0.0126), 66.0)
    nothing = Estimate(0.0)
    assert found.terms(air=nothing, stiffness=nothing) == []


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("span_m", 0.0, "span is 0 m; it must be greater than zero"),
        ("span_m", -0.4, "span is -0.4 m"),
        ("span_m", math.nan, "span is nan m"),
        ("span_m", math.inf, "span is inf m"),
        ("linear_mass_kg_per_m", 0.0, "linear mass is 0 kg/m"),
        ("stiffness_n_m2", -1e-4, "bending stiffness is -0.0001 N m"),
        ("air_kg_per_m", math.inf, "air carried along is inf"),
        ("stretch_n", 0.0, "axial stiffness is 0 N"),
        ("stretch_n", math.nan, "axial stiffness is nan N"),
        ("hold_a", 1.2, "holding of an end is 1.2"),
        ("hold_b", -0.1, "holding of an end is -0.1"),
    ],
)
def test_a_strand_that_cannot_be_is_refused(field: str, value: float, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        replace(BELT, **{field: value})


@pytest.mark.parametrize("bad", [0.0, -66.0, math.nan, math.inf])
def test_tones_and_tensions_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(RequestError, match="frequency is"):
        tension(BELT, bad)
    with pytest.raises(RequestError, match="tension is"):
        frequency(BELT, bad)


def test_a_tone_that_needs_no_tension_is_refused() -> None:
    bar = Strand(0.1, 0.0126, 5e-3, 1.0, 1.0)
    own = 22.373 / (2 * math.pi * 0.01) * math.sqrt(5e-3 / 0.0126)  # clamped bar, no tension
    for tone in (0.5 * own, 0.99 * own):
        with pytest.raises(CannotTell, match="no higher than this span would sound nearly without"):
            tension(bar, tone)
    assert tension(bar, 1.2 * own).tension_n > 0


def test_doubt_grows_without_limit_towards_no_tension() -> None:
    bar = Strand(0.1, 0.0126, 5e-3, 1.0, 1.0)
    slopes = [tension(bar, frequency(bar, t)).log.frequency for t in (500.0, 50.0, 5.0, 0.5)]
    assert slopes == sorted(slopes)
    assert slopes[0] < 4
    assert slopes[-1] > 80


@pytest.mark.parametrize("arguments", [(0.0, 1, 0, 0), (5.0, 0, 0, 0), (5.0, 1, -0.1, 0)])
def test_modes_that_cannot_be(arguments: tuple[float, int, float, float]) -> None:
    with pytest.raises(ValueError, match="no mode"):
        mode(*arguments)
    with pytest.raises(ValueError, match="no mode"):
        mode(math.nan, 1, 0, 0)


def test_stiff_and_soft_springs_close_on_clamp_and_pin() -> None:
    assert mode_ratio(30, 2, 1e9, 1e9) == pytest.approx(mode_ratio(30, 2, math.inf, math.inf))
    assert mode_ratio(30, 2, 1e-9, 1e-9) == pytest.approx(mode_ratio(30, 2))
    assert mode_ratio(30, 1, 0.2, 5) == pytest.approx(mode_ratio(30, 1, 5, 0.2), rel=1e-14)


def test_root_in_plain_code_survives_a_false_slope() -> None:
    # cube of a logarithm: slope 0 at the root, and once a slope that is simply wrong
    assert rising_root(lambda x: (math.log(x / 7) ** 3, 3 * math.log(x / 7) ** 2), 0.1, 1e4) == (
        pytest.approx(7, rel=1e-5)
    )
    assert rising_root(lambda x: (x - 7, -1.0), 0.1, 1e4) == pytest.approx(7, rel=1e-12)


def test_root_in_plain_code_ends_where_newton_crawls() -> None:
    def flat(x: float) -> tuple[float, float]:
        return math.log(x / 7) ** 31, 31 * math.log(x / 7) ** 30

    assert rising_root(flat, 0.1, 1e4) == pytest.approx(7, rel=0.05)


def test_result_remembers_what_it_was_found_from() -> None:
    found = tension(BELT, 132.9, 2)
    assert isinstance(found, Result)
    assert (found.strand, found.frequency_hz, found.mode_n) == (BELT, 132.9, 2)
    assert found.inharmonicity is None
