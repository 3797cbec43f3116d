"""Readings: laws they must obey, whatever the belt."""

from __future__ import annotations

import math
import statistics
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch import parsing
from beltpitch.belts.mechanics import frequency
from beltpitch.belts.span import Span
from beltpitch.belts.strand import Strand
from beltpitch.errors import CannotTell, RequestError
from beltpitch.pitch.results import FrequencyRange, Partial, Pitch, PitchResult, PluckResult
from beltpitch.reading import (
    Reading,
    both_strands,
    expected_range,
    frequency_of,
    from_parks,
    from_travels,
    heard_reading,
    typed_reading,
)
from beltpitch.uncertainty import Estimate, difference

BELT = parsing.belt("2GT 9 mm", linear_mass="12.6 +/- 0.1 g/m")


def typed(*frequencies: str, span: str = "412 +/- 1 mm", key: str = "typed") -> Reading:
    return typed_reading(parsing.typed(frequencies), BELT, parsing.span(span, BELT), key=key)


def known(estimate: Estimate | None) -> Estimate:
    assert estimate is not None
    return estimate


def pitch(frequency_hz: float, b: float | None = None, glide: float = 0.0) -> Pitch:
    partials = tuple(Partial(n, n * frequency_hz, 0.01, 0.1 / n, 3.0 * n) for n in (1, 2, 3, 4))
    u = None if b is None else 0.05 * b
    return Pitch(frequency_hz, 0.02, b, u, partials, glide, 0.99, (0.0, 0.8))


def heard(*pitches: Pitch) -> PitchResult:
    return PitchResult(
        tuple(PluckResult(float(i), p, used=True, reason=None) for i, p in enumerate(pitches))
    )


# --- the frequency ------------------------------------------------------------------------------


def test_three_plucks_use_their_own_scatter_and_fewer_pool_it_with_the_usual() -> None:
    three = frequency_of([66.0, 66.3, 66.6], [0.0, 0.0, 0.0], "k")
    assert three.value == pytest.approx(66.3, abs=1e-3)
    assert three.u == pytest.approx(0.3 / math.sqrt(3), rel=0.01)
    assert three.dof == 2
    one = frequency_of([66.3], [0.0], "k")
    assert one.u == pytest.approx(0.003 * 66.3)
    assert one.dof == 4
    alike = frequency_of([66.3, 66.3], [0.0, 0.0], "k")
    assert alike.u == pytest.approx(0.003 * 66.3 * math.sqrt(4 / 5 / 2))
    assert alike.dof == 5
    apart = frequency_of([65.8, 66.8], [0.0, 0.0], "k")
    pooled = math.sqrt((4 * (0.003 * 66.3) ** 2 + 2 * 0.5**2) / 5)
    assert apart.u == pytest.approx(pooled / math.sqrt(2), rel=1e-3)


def test_two_plucks_hold_the_truth_as_often_as_said() -> None:
    """Hands whose scatter is as the prior says, from careful to rough."""
    chance, trials = np.random.default_rng(7), 2000
    scatter = 0.003 * np.sqrt(4 / chance.chisquare(4, trials))
    held = 0
    for one in scatter:
        values = 66.0 * (1 + one * chance.standard_normal(2))
        low, high = frequency_of(list(values), [0.0, 0.0], "k").interval()
        held += low <= 66.0 <= high
    assert 0.935 <= held / trials <= 0.965  # two standard deviations of a count of 95 %


def test_three_plucks_that_scatter_much_say_how_their_interval_was_made() -> None:
    def said(reading: Reading) -> bool:
        return any("JCGM 101" in words for words in reading.echoes)

    scattered = typed("66.3 Hz", "67.9 Hz", "65.1 Hz")
    assert known(scattered.tension).interval() == known(scattered.tension).propagated()
    assert said(scattered)
    assert not said(typed("66.3 Hz", "66.4 Hz", "66.35 Hz"))
    assert not said(typed(*["66.3 Hz", "67.9 Hz", "65.1 Hz"] * 2))


def test_a_faint_pluck_counts_less() -> None:
    clear = frequency_of([66.0, 66.0, 70.0], [0.01, 0.01, 4.0], "k")
    assert clear.value == pytest.approx(66.0, abs=0.02)


def test_agreeing_plucks_are_not_more_certain_than_their_fits() -> None:
    same = frequency_of([66.0, 66.0, 66.0], [0.3, 0.3, 0.3], "k")
    assert same.u == pytest.approx(0.3 / math.sqrt(3), rel=1e-6)


@given(st.lists(st.floats(20, 600), min_size=1, max_size=8))
def test_the_mean_lies_among_the_plucks(values: list[float]) -> None:
    found = frequency_of(values, [0.01] * len(values), "k").value
    assert min(values) - 1e-9 <= found <= max(values) + 1e-9


# --- several tones -----------------------------------------------------------------------------


def test_two_typed_values_hold_what_they_scatter() -> None:
    low, high = known(typed("110", "112").frequency).interval()
    assert low < 110.1
    assert high > 111.9


def test_values_beyond_one_hand_are_groups_without_a_mean() -> None:
    reading = typed("130", "110", "130.4")
    assert (reading.frequency, reading.tension, reading.preload) == (None, None, None)
    assert [group.plucks for group in reading.groups] == [(1,), (0, 2)]
    alone = known(typed("110").tension).value
    assert known(reading.groups[0].tension).value == pytest.approx(alone)
    assert reading.plucks[1].tension_n == pytest.approx(alone)
    assert "110.0" in reading.warnings[0]
    assert "130.2" in reading.warnings[0]


@pytest.mark.parametrize(("other", "ratio"), [("132.6", "2:1"), ("198.9", "3:1"), ("99.5", "3:2")])
def test_an_overtone_among_typed_values_is_named(other: str, ratio: str) -> None:
    reading = typed("66.3", other)
    assert reading.tension is None
    assert f"near the ratio {ratio}" in reading.warnings[0]
    assert "fundamental" in reading.warnings[0]


def test_plucks_of_two_tones_give_no_mean_and_a_stray_is_no_group() -> None:
    two = heard_reading(heard(pitch(66.0), pitch(66.2), pitch(77.0), pitch(77.1)), "x")
    assert two.frequency is None
    assert len(two.groups) == 2
    one = heard_reading(heard(pitch(66.0), pitch(66.2), pitch(66.1)), "x")
    assert one.groups == ()


# --- the tension --------------------------------------------------------------------------------


def test_doubling_the_frequency_is_four_times_the_tension() -> None:
    one, two = typed("60"), typed("120")
    assert known(two.tension).value / known(one.tension).value == pytest.approx(4, rel=0.006)


def test_the_budget_adds_up_to_the_uncertainty() -> None:
    reading = typed("66.3")
    assert sum(line.share for line in reading.budget) == pytest.approx(1.0)
    assert math.sqrt(sum(line.u**2 for line in reading.budget)) == pytest.approx(
        known(reading.preload).u
    )
    wanted = {
        "linear mass",
        "span",
        "last contact",
        "ends",
        "stiffness",
        "amplitude",
        "air",
        "plucks",
        "typed frequency",
        "stretch",
        "strand difference",
    }
    assert wanted == {line.name for line in reading.budget}


def test_every_correction_is_named_with_its_size() -> None:
    made = {c.name: c.percent for c in typed("66.3").corrections}
    assert set(made) == {"bending stiffness", "ends", "air carried along", "stretch"}
    assert made["bending stiffness"] < 0 < made["air carried along"]


def test_heard_and_typed_agree_on_the_same_tone() -> None:
    spoken = heard_reading(heard(pitch(66.3)), "a.wav", BELT, parsing.span("412 +/- 1 mm", BELT))
    assert known(spoken.tension).value == pytest.approx(known(typed("66.3").tension).value)
    assert {line.name for line in spoken.budget} >= {"clock", "plucks"}


def test_heard_stiffness_replaces_the_catalogues_where_it_tells_more() -> None:
    span = parsing.span("412 +/- 1 mm", BELT)
    plain = heard_reading(heard(pitch(66.3)), "a.wav", BELT, span)
    stiff = heard_reading(heard(pitch(66.3, b=1e-3)), "a.wav", BELT, span)
    assert known(stiff.tension).value < known(plain.tension).value
    assert any("times the catalogue's" in w for w in stiff.warnings)
    bends = {c.name: c.percent for c in stiff.corrections}["bending stiffness"]
    assert bends == pytest.approx(-0.1, abs=0.02)  # 1/(1 + B) of a pinned string


def test_a_glide_that_was_followed_is_a_correction_and_a_line() -> None:
    span = parsing.span("412 +/- 1 mm", BELT)
    reading = heard_reading(heard(pitch(66.3, glide=0.02)), "a.wav", BELT, span)
    assert {c.name: c.percent for c in reading.corrections}["pluck amplitude"] == pytest.approx(
        -3.9, abs=0.1
    )
    assert {line.name: line.u for line in reading.budget}["amplitude"] > 0.1


def test_without_belt_or_span_the_reading_ends_at_the_frequency() -> None:
    reading = heard_reading(heard(pitch(66.3)), "a.wav")
    assert known(reading.frequency).value == pytest.approx(66.3)
    assert reading.tension is None
    assert any("--belt" in w and "--span" in w for w in reading.warnings)


def test_a_known_rate_error_is_a_named_correction_with_its_own_doubt() -> None:
    span = parsing.span("412 +/- 1 mm", BELT)
    plain = heard_reading(heard(pitch(66.0), pitch(66.1)), "a", BELT, span)
    error, _ = parsing.clock("+350(20) ppm")
    put_right = heard_reading(heard(pitch(66.0), pitch(66.1)), "a", BELT, span, rate_error=error)
    assert [c.name for c in plain.corrections] == [c.name for c in put_right.corrections[:-1]]
    last = put_right.corrections[-1]
    assert last.name == "clock"
    assert last.percent == pytest.approx(-0.07, rel=1e-3)
    assert put_right.frequency is not None
    assert put_right.frequency.value == known(plain.frequency).value  # heard at the right rate
    lines = {line.name: line.u for line in put_right.frequency.budget()}
    assert lines["clock"] == pytest.approx(20e-6 * put_right.frequency.value)
    lone = heard_reading(heard(pitch(66.0)), "a", rate_error=error)
    assert lone.corrections == ()  # there is no tension that it could have moved
    far = heard_reading(heard(pitch(91.0)), "b", BELT, span, rate_error=error)
    parks = from_parks(put_right, far, parsing.travel("113 +/- 0.2 mm"))
    assert [c.name for c in parks.corrections].count("clock") == 1


def test_a_refused_recording_keeps_its_plucks_and_its_reason() -> None:
    refused = PitchResult(
        (PluckResult(0.5, None, used=False, reason="one click"),), reason="one click"
    )
    reading = heard_reading(refused, "a.wav", BELT, parsing.span("412 mm", BELT))
    assert reading.frequency is None
    assert reading.tension is None
    assert reading.warnings[0] == "one click"
    assert reading.plucks[0].reason == "one click"


def test_unknown_stiffness_and_width_are_said() -> None:
    own = parsing.belt(linear_mass="12.6 g/m")
    reading = typed_reading(parsing.typed(["66.3"]), own, parsing.span("412 mm", own))
    assert any("bending stiffness" in w and "uncorrected" in w for w in reading.warnings)
    assert any("air" in w for w in reading.warnings)


def test_two_partials_do_not_overrule_the_catalogue_by_a_multiple() -> None:
    span = parsing.span("412 +/- 1 mm", BELT)
    far = pitch(66.3, b=0.02)
    two = replace(far, partials=(far.partials[0], far.partials[3]))
    plain = known(heard_reading(heard(pitch(66.3)), "a", BELT, span).tension)
    doubted = heard_reading(heard(two), "a", BELT, span)
    assert known(doubted.tension).value == pytest.approx(plain.value, rel=1e-3)
    assert not any("times the catalogue's" in w for w in doubted.warnings)
    assert any(
        "times the catalogue's" in w for w in heard_reading(heard(far), "a", BELT, span).warnings
    )


# --- strands and parks --------------------------------------------------------------------------


def test_both_strands_give_the_mean_and_the_difference_and_drop_the_limit() -> None:
    left, right = typed("66.3", key="1"), typed("64.9", key="2")
    a, b = both_strands(left, right, ("left", "right"))
    assert known(a.preload) == known(b.preload)
    mean = (known(left.tension).value + known(right.tension).value) / 2
    assert known(a.preload).value == pytest.approx(mean)
    assert known(a.strand_difference).value == pytest.approx(-known(b.strand_difference).value)
    assert known(a.strand_difference).value > 0
    assert "strand difference" not in {line.name for line in a.budget}
    assert known(a.preload).u < known(left.preload).u


def test_what_strands_share_does_not_doubt_their_difference() -> None:
    left, right = typed("66.3", key="1"), typed("66.3", key="2")
    apart = difference(known(left.tension), known(right.tension))
    assert apart.value == pytest.approx(0.0, abs=1e-9)
    names = {p.name for p in apart.parts if abs(p.u) > 1e-9}
    assert names == {"plucks", "typed frequency", "amplitude"}


def test_two_parks_need_no_span_and_agree_with_the_tape() -> None:
    span = parsing.span("412 +/- 1 mm", BELT)
    from beltpitch.belts.strand_tension import aim

    long = aim(36.0, BELT, span).frequency.value
    near = Span(Estimate(span.length_m - 0.160), span.ends, "tape")
    short = aim(36.0, BELT, near).frequency.value
    travel = parsing.travel("160.0 +/- 0.2 mm")
    readings = [
        typed_reading(parsing.typed([f"{f:.4f} +/- 0.01"]), BELT, key=f"{f}") for f in (long, short)
    ]
    found = from_parks(readings[1], readings[0], travel)
    assert known(found.tension).value == pytest.approx(36.0, rel=2e-3)
    names = {line.name for line in found.budget}
    assert "travel" in names
    assert "span" not in names
    assert "ends" not in names


def test_plucks_of_both_parks_tell_one_tension_whatever_span_the_tape_said() -> None:
    long, short = (
        typed(f"{f} Hz", f"{f + 0.2} Hz", span="412 mm", key=f"{f}") for f in (66.0, 108.0)
    )
    found = from_parks(long, short, parsing.travel("160.0 +/- 0.2 mm"))
    told = [p.tension_n for p in found.plucks]
    assert told == pytest.approx([known(found.tension).value] * 4, rel=0.01)


def test_a_travel_of_odd_teeth_is_said_and_widens_the_interval() -> None:
    long, short = (typed(f"{f} Hz", span="412 mm", key=f"{f}") for f in (66.0, 108.0))
    whole, odd = (
        from_parks(long, short, parsing.travel(f"{mm} +/- 0.2 mm")) for mm in ("160.0", "161.0")
    )
    assert "odd teeth" not in {line.name for line in whole.budget}
    (line,) = [line for line in odd.budget if line.name == "odd teeth"]
    assert line.u / known(odd.tension).value == pytest.approx(2 * 1.0 / 161.0, rel=0.01)
    assert any("80.5 teeth" in words for words in odd.warnings)
    assert not any("teeth" in words for words in whole.warnings)
    often = from_travels(
        [long, typed("84 Hz", span="412 mm", key="84"), short],
        parsing.travels("89.0 +/- 0.2 mm, 160.0 +/- 0.2 mm"),
    )
    assert any("44.5 teeth" in words for words in often.warnings)
    assert "odd teeth" in {line.name for line in often.budget}


def test_the_scatter_of_one_hand_is_pooled_over_the_parks() -> None:
    travel = parsing.travel("160.0 +/- 0.2 mm")
    apart = [0.5, -0.4, 0.3, -0.2, -0.2]  # percent, of five plucks
    long, short = (
        typed(*[f"{f * (1 + d * size / 100):.4f} Hz" for d in apart], span="412 mm", key=f"{f}")
        for f, size in ((66.0, 0.2), (108.0, 1.0))
    )
    found = known(from_parks(long, short, travel).tension)
    (line,) = [line for line in found.budget() if line.name == "plucks"]
    assert line.dof == 8  # 4 of each park, known once: not 4, and not more than 8
    weights = [2 * f / (108.0 - 66.0) for f in (108.0, 66.0)]  # of the longer span, of the shorter
    scatter = statistics.stdev(apart) / 100 * math.sqrt((0.2**2 + 1.0**2) / 2)
    expected = math.hypot(*weights) * scatter / math.sqrt(5)
    assert line.u / found.value == pytest.approx(expected, rel=0.01)


def test_a_park_of_one_pluck_takes_the_scatter_of_the_other() -> None:
    travel = parsing.travel("160.0 +/- 0.2 mm")
    wild = typed("64.8 Hz", "66.0 Hz", "67.2 Hz", span="412 mm", key="wild")
    one = typed("108.0 Hz", span="412 mm", key="one")
    found = known(from_parks(wild, one, travel).tension)
    (line,) = [line for line in found.budget() if line.name == "plucks"]
    alone = 2 * 66.0 / 42.0 * 1.2 / 66.0  # what 1.8 % of scatter in one pluck does
    assert line.u / found.value > alone
    assert line.dof == 2
    calm = known(from_parks(typed("66 Hz", key="a", span="412 mm"), one, travel).tension)
    (line,) = [line for line in calm.budget() if line.name == "plucks"]
    assert line.dof == 4  # both borrow the same


PARKED = Strand(0.62, 12.6e-3, 3e-3, 1 / 3, 1 / 3, 7.66e-5, 29e3)
PULL = 40.0
MOVED = (0.0, 0.160, 0.250, 0.370, 0.440)


def parked(tape: str, pull: tuple[float, ...] = (PULL,) * 5) -> list[Reading]:
    tones = [
        frequency(replace(PARKED, span_m=PARKED.span_m - moved), n)
        for moved, n in zip(MOVED, pull, strict=True)
    ]
    return [
        typed(*[f"{f:.4f}({max(1, round(0.2 * f))}) Hz"] * 5, span=tape, key=f"{i}")
        for i, f in enumerate(tones)
    ]


def test_several_parks_tell_tension_and_stiffness_whatever_the_tape_says() -> None:
    travels = parsing.travels("160.00(5) mm, 250.00(5) mm, 370.00(5) mm, 440.00(5) mm")
    assert len({part.key for each in travels for part in each.parts}) == len(MOVED) - 1
    own = parsing.belt(linear_mass="12.60(6) g/m", width="9 mm")  # of unknown stiffness
    for tape, offset in (("620 +/- 3 mm", 0.0), ("610 +/- 15 mm", 10.0)):
        found = from_travels([replace(r, belt=own) for r in parked(tape)], travels)
        assert known(found.tension).value == pytest.approx(PULL, rel=0.01)
        told, off = found.warnings[0], found.warnings[1]
        assert float(told.split("of ")[1].split(" ")[0]) == pytest.approx(3000, rel=0.05)
        assert float(off.split("over ")[1].split(" ")[0]) == pytest.approx(offset, abs=0.5)
        assert len(found.plucks) == 25
        assert all(p.tension_n == pytest.approx(PULL, rel=0.02) for p in found.plucks)


def test_parks_whose_tension_was_not_the_same_are_named() -> None:
    travels = parsing.travels("160.00(5) mm, 250.00(5) mm, 370.00(5) mm, 440.00(5) mm")
    found = from_travels(parked("620 mm", (40.0, 43.0, 39.0, 42.0, 40.0)), travels)
    assert any("parks contradict each other" in w for w in found.warnings)


def test_one_travel_is_two_parks_and_the_counts_must_agree() -> None:
    a, b, *_ = parked("620 mm")
    one = parsing.travels("160.00(5) mm")
    assert from_travels([a, b], one) == from_parks(a, b, one[0])
    with pytest.raises(RequestError, match="2 parks need 1 travels from the first; got 2"):
        from_travels([a, b], parsing.travels("160 mm, 250 mm"))
    with pytest.raises(RequestError, match="every park needs a travel of its own"):
        parsing.travels("160 mm, 160 mm")
    with pytest.raises(RequestError, match="a comma in a number"):
        parsing.travels("160,5 mm, 250 mm")


def test_parks_without_a_belt_or_a_tone_are_refused() -> None:
    with pytest.raises(RequestError, match="linear mass"):
        from_parks(Reading("a"), Reading("b"), parsing.travel("160 mm"))
    with pytest.raises(CannotTell, match="read that park again"):
        from_parks(Reading("a", belt=BELT), Reading("b", belt=BELT), parsing.travel("160 mm"))


# --- where the tone must lie --------------------------------------------------------------------


def test_the_range_is_what_belt_and_span_can_carry() -> None:
    span = parsing.span("412 mm", BELT)
    free = expected_range(BELT, span, None)
    assert 15 <= free.low_hz < 66 < free.high_hz <= 700
    assert "can carry" in free.why
    asked = expected_range(BELT, span, FrequencyRange(40, 120, why="given"))
    assert (asked.low_hz, asked.high_hz) == (40, 120)


def test_a_range_the_belt_cannot_carry_is_refused() -> None:
    with pytest.raises(RequestError, match="check belt and span"):
        expected_range(BELT, parsing.span("412 mm", BELT), FrequencyRange(650, 700))


def test_a_reading_prints_as_two_plain_lines() -> None:
    found = typed("66.3 Hz")
    tension, preload = known(found.tension), known(found.preload)
    first, second = str(found).split("\n")
    assert first.startswith(f"typed: strand {tension.value:.2f} N (95%: ")
    assert first.endswith("66.30 Hz (u 0.21 Hz)")
    low, high = (float(n) for n in second.split("95%: ")[1].rstrip(" N)").split(" to "))
    assert (low, high) == pytest.approx(preload.interval(0.95), abs=0.05)
    spanless = typed_reading(parsing.typed(["66.3 Hz"]), BELT)
    assert (
        str(spanless)
        == "typed: 66.30 Hz (u 0.21 Hz); no tension without belt and span: give --span"
    )
    assert str(Reading("a.wav", warnings=("too faint",))) == "a.wav: no frequency; too faint"
