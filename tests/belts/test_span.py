"""The free span: from a tape, from pulleys, and what should be said about it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch.belts.catalogue import belt
from beltpitch.belts.span import (
    MAINS_MARGIN_HZ,
    BeltPulley,
    Caution,
    cautions,
    from_length,
    from_pulleys,
    from_tape,
    mains,
    outside,
    plain,
    short,
    toothed,
    weak,
)
from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, difference, rectangular

BAD_LENGTHS = [0.0, -0.4, math.nan, math.inf, 412.0]


def test_tape_and_last_contact_are_two_lines_of_the_budget() -> None:
    span = from_tape(0.412, rectangular(1e-3), pitch_m=0.002)
    lines = {line.name: line for line in span.length.budget()}
    assert span.length_m == 0.412
    assert lines["span"].u == pytest.approx(1e-3 / math.sqrt(3))
    assert lines["span"].keys == ("tape",)
    # half a tooth either way at each of two pulleys: 1 mm / sqrt 3, twice
    assert lines["last contact"].u == pytest.approx(math.sqrt(2) * 1e-3 / math.sqrt(3))


@pytest.mark.parametrize(
    ("ends", "pulleys"),
    [(("pulley", "pulley"), 2), (("pulley", "clamp"), 1), (("clamp", "idler"), 0)],
)
def test_only_toothed_pulleys_have_a_last_tooth(ends: tuple[str, str], pulleys: int) -> None:
    span = from_tape(0.412, 0.0, ends=ends, pitch_m=0.005)
    assert span.length.u == pytest.approx(math.sqrt(pulleys) * rectangular(0.0025))


def test_several_pulley_positions_make_the_last_contact_surer() -> None:
    one = from_tape(0.412, 0.0, pitch_m=0.005)
    four = from_tape(0.412, 0.0, pitch_m=0.005, positions=4)
    assert four.length.u == pytest.approx(one.length.u / 2)


def test_without_a_pitch_there_is_only_the_tape() -> None:
    assert [p.name for p in from_tape(0.412, 1e-3).length.parts] == ["span"]
    assert from_tape(0.412, 0.0).length.parts == ()


def test_two_spans_share_the_tape_but_not_the_last_contact() -> None:
    left = from_tape(0.412, 1e-3, pitch_m=0.002, contact_key="contact:left")
    right = from_tape(0.410, 1e-3, pitch_m=0.002, contact_key="contact:right")
    apart = difference(left.length, right.length)
    assert apart.u == pytest.approx(math.sqrt(4) * rectangular(1e-3))


@pytest.mark.parametrize("bad", BAD_LENGTHS)
def test_impossible_lengths_are_refused(bad: float) -> None:
    with pytest.raises(RequestError, match=r"span is .* mm, must be above 0"):
        from_tape(bad, 0.0)
    with pytest.raises(RequestError, match="centre distance is"):
        from_pulleys(_at(bad), toothed(20, 0.002), toothed(20, 0.002))
    with pytest.raises(RequestError, match="belt length is"):
        from_length(_at(bad), toothed(20, 0.002), toothed(20, 0.002))
    with pytest.raises(RequestError, match="pulley diameter is"):
        plain(bad)
    with pytest.raises(RequestError, match="pulley diameter is"):
        outside(bad, 0.000254)
    with pytest.raises(RequestError, match="tooth spacing is"):
        toothed(20, bad)


def _at(value: float) -> Estimate:
    """An estimate past its own check, as a careless caller might hand it in."""
    made = Estimate(1.0)
    object.__setattr__(made, "value", value)
    return made


def test_other_nonsense_is_refused() -> None:
    with pytest.raises(RequestError, match="doubt must be smaller than the span"):
        from_tape(0.01, 0.02)
    with pytest.raises(RequestError, match="doubt must be smaller than the span"):
        from_tape(0.01, -0.001)
    with pytest.raises(RequestError, match='end "screw" is not one of pulley'):
        from_tape(0.4, 1e-3, ends=("pulley", "screw"))
    with pytest.raises(RequestError, match="positions are 0"):
        from_tape(0.4, 1e-3, pitch_m=0.002, positions=0)
    with pytest.raises(RequestError, match="pulley with 0 teeth"):
        toothed(0, 0.002)
    with pytest.raises(RequestError, match="below zero"):
        outside(0.01, -0.001)


def test_pulleys_that_overlap_are_refused() -> None:
    with pytest.raises(RequestError, match=r"would overlap; it must be above 12\.7 mm"):
        from_pulleys(Estimate(0.012), toothed(20, 0.002), toothed(20, 0.002))


def test_pulleys_of_two_pitches_are_refused() -> None:
    with pytest.raises(RequestError, match="no belt fits both"):
        from_pulleys(Estimate(0.2), toothed(20, 0.002), toothed(20, 0.003))


def test_belt_too_short_for_its_pulleys_is_refused() -> None:
    with pytest.raises(RequestError, match="too short for pulleys of"):
        from_length(Estimate(0.060), toothed(20, 0.002), toothed(20, 0.002))


def test_equal_pulleys_have_the_centre_distance_as_span() -> None:
    centre = Estimate.single(0.400, 5e-4, name="centre distance", key="tape")
    loop = from_pulleys(centre, toothed(20, 0.002), toothed(20, 0.002))
    assert loop.span.length_m == pytest.approx(0.400)
    assert loop.wrap_a_rad == loop.wrap_b_rad == pytest.approx(math.pi)
    assert (loop.mesh_a, loop.mesh_b) == (10, 10)
    assert not loop.few_teeth
    lines = {line.name: line.u for line in loop.span.length.budget()}
    assert lines["span"] == pytest.approx(5e-4)
    assert lines["last contact"] == pytest.approx(math.sqrt(2) * rectangular(1e-3))
    assert loop.belt_length.u == pytest.approx(1e-3)  # 2 C


def test_few_teeth_in_mesh_are_noticed() -> None:
    loop = from_pulleys(Estimate(0.05), toothed(12, 0.002), toothed(60, 0.002))
    assert loop.mesh_a is not None
    assert loop.mesh_a < 6
    assert loop.few_teeth


def test_a_flat_idler_has_no_teeth_and_no_last_contact() -> None:
    loop = from_pulleys(Estimate(0.3), toothed(20, 0.002), plain(0.013))
    assert loop.span.ends == ("pulley", "idler")
    assert loop.mesh_b is None
    assert loop.span.length.u == pytest.approx(rectangular(1e-3))


def test_order_of_the_pulleys_does_not_matter() -> None:
    a, b = toothed(16, 0.003), toothed(48, 0.003)
    one, two = from_pulleys(Estimate(0.2), a, b), from_pulleys(Estimate(0.2), b, a)
    assert one.span.length == two.span.length
    assert one.belt_length.value == pytest.approx(two.belt_length.value)
    assert one.wrap_a_rad == pytest.approx(two.wrap_b_rad)
    assert one.mesh_a == two.mesh_b


def test_a_printed_loop_on_its_pulleys() -> None:
    # 210-3GT-6 has 70 teeth; on 20 and 20 teeth its centre distance is 25 pitches.
    found = belt("210-3GT-6")
    assert found.length_m is not None
    assert found.pitch_m is not None
    pulley = toothed(20, found.pitch_m)
    loop = from_length(Estimate(found.length_m), pulley, pulley)
    assert loop.centre.value == pytest.approx(0.075)
    assert loop.span.length_m == pytest.approx(0.075)


@given(st.integers(10, 80), st.integers(10, 80), st.floats(0.001, 2.0))
def test_length_and_centre_distance_are_each_others_inverse(z1: int, z2: int, gap: float) -> None:
    a, b = toothed(z1, 0.005), toothed(z2, 0.005)
    c = (a.diameter_m + b.diameter_m) / 2 + gap
    forward = from_pulleys(Estimate.single(c, 1e-4, name="c", key="tape"), a, b)
    back = from_length(forward.belt_length, a, b)
    assert back.centre.value == pytest.approx(c, rel=1e-9)
    assert back.centre.u == pytest.approx(1e-4)
    assert back.span.length.u == pytest.approx(forward.span.length.u)


def test_mesh_counts_whole_teeth() -> None:
    assert toothed(20, 0.002).mesh(math.pi) == 10
    assert toothed(21, 0.002).mesh(math.pi) == 10
    # 22 pi / 2 pi is a hair below 11 in floating point
    assert toothed(22, 0.002).mesh(math.pi) == 11
    assert BeltPulley(Estimate(0.02)).mesh(math.pi) is None


# --- advice -------------------------------------------------------------------------------------


def only(found: Caution | None) -> Caution:
    assert found is not None
    return found


def test_a_short_span_says_how_long_it_should_be() -> None:
    least = belt("HTD 5M 15").min_span_m
    assert least is not None
    assert short(0.12, least_m=least.value, width_m=0.015) is None
    said = only(short(0.08, least_m=least.value, width_m=0.015))
    assert said.moves_m == pytest.approx((0.02,))
    assert "20 teeth are 100 mm" in said.words
    assert said.known == "from memory"


def test_a_span_of_less_than_four_widths_is_said() -> None:
    said = only(short(0.09, least_m=0.06, width_m=0.025))
    assert said.what == "narrow"
    assert said.moves_m == pytest.approx((0.01,))


def test_a_low_tone_says_how_far_to_move() -> None:
    assert weak(100.0, 0.4) is None
    said = only(weak(80.0, 0.5))
    assert said.what == "weak"
    assert said.moves_m == pytest.approx((-0.1,))  # 0.4 m sounds at 100 Hz
    assert "make the span 100 mm shorter, to 400 mm" in said.words
    assert only(weak(40.0, 1.0)).what == "very weak"


def test_a_low_tone_does_not_drive_the_span_below_the_shortest() -> None:
    said = only(weak(20.0, 0.5, least_m=0.3))
    assert said.moves_m == pytest.approx((-0.2,))
    held = only(weak(20.0, 0.25, least_m=0.3))
    assert held.moves_m == ()
    assert "hold the microphone close" in held.words


@pytest.mark.parametrize("hertz", [50.0, 59.0, 61.9, 101.0, 118.5, 150, 180, 240.0, 302.0])
def test_a_tone_on_a_mains_line_says_two_ways_off_it(hertz: float) -> None:
    said = only(mains(hertz, 0.4))
    assert len(said.moves_m) == 2
    for move in said.moves_m:
        moved = hertz * 0.4 / (0.4 + move)  # f goes as one over the span
        line = min((50, 60, 100, 120, 150, 180, 240, 300), key=lambda x: abs(x - hertz))
        assert abs(moved - line) == pytest.approx(2 * MAINS_MARGIN_HZ)
    shorter, longer = said.moves_m
    assert shorter < longer


@pytest.mark.parametrize("hertz", [35.0, 66.3, 75.0, 110.0, 135.0, 270.0])
def test_a_tone_between_the_lines_is_left_alone(hertz: float) -> None:
    assert mains(hertz, 0.4) is None


def test_only_the_mains_of_the_place_count() -> None:
    assert mains(120.0, 0.4, mains_hz=(50.0,)) is None
    assert mains(120.0, 0.4, mains_hz=(60.0,)) is not None


def test_all_cautions_of_one_span() -> None:
    said = cautions(0.03, frequency_hz=60.0, least_m=0.04, width_m=0.009)
    assert [c.what for c in said] == ["short", "weak", "mains"]
    assert cautions(0.412, frequency_hz=135.0, least_m=0.04, width_m=0.009) == ()
    assert cautions(0.412) == ()
