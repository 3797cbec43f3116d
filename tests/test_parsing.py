"""What a person says, and the defaults it takes."""

from __future__ import annotations

import math

import pytest

from beltpitch import parsing
from beltpitch.belts.end_conditions import moved_contact
from beltpitch.errors import BeltNotFound, QuantityError, RequestError

BELT = parsing.belt("2GT 9 mm")


def test_span_default_is_one_millimetre_or_half_the_last_digit() -> None:
    fine, coarse = parsing.span("412.0", BELT), parsing.span("41 cm", BELT)
    own = {p.name: p.u for p in fine.length.parts}
    assert own["span"] == pytest.approx(1e-3 / math.sqrt(3))
    assert {p.name: p.u for p in coarse.length.parts}["span"] == pytest.approx(5e-3 / math.sqrt(3))


def test_last_contact_is_half_a_pitch_for_each_toothed_end() -> None:
    both = {p.name: p.u for p in parsing.span("412 mm", BELT).length.parts}
    one = {p.name: p.u for p in parsing.span("412 mm", BELT, ends="pulley,clamp").length.parts}
    none = {p.name for p in parsing.span("412 mm", BELT, ends="clamp").length.parts}
    assert both["last contact"] == pytest.approx(1e-3 / math.sqrt(3) * math.sqrt(2))
    assert one["last contact"] == pytest.approx(1e-3 / math.sqrt(3))
    assert "last contact" not in none


def test_defaults_are_echoed_and_given_doubts_are_not() -> None:
    assert parsing.echoes(span="412") == ("span 412 mm, taken as +/- 1 mm",)
    assert parsing.echoes(span="412 +/- 1 mm", linear_mass="12.6(1) g/m") == ()
    assert parsing.echoes(linear_mass="12.6") == ("linear mass 12.6 g/m, taken as +/- 3%",)
    assert parsing.typed(["66.3"]).echoes == ("frequency 66.3 Hz, taken as +/- 0.13 Hz",)


def test_a_single_text_is_one_pluck() -> None:
    assert parsing.typed("66.3 Hz") == parsing.typed(["66.3 Hz"])


def test_one_text_may_hold_several_plucks() -> None:
    assert parsing.typed("110, 111, 109").values_hz == (110.0, 111.0, 109.0)
    assert parsing.typed(["110 Hz; 111 Hz", "109"]).values_hz == (110.0, 111.0, 109.0)
    with pytest.raises(QuantityError, match=r'write a decimal point: "110\.5"'):
        parsing.typed("110,5")
    with pytest.raises(QuantityError, match='where several may stand, "110, 111, 109"'):
        parsing.typed("110,111,109")


def test_travels_share_their_unit() -> None:
    assert [t.value for t in parsing.travels("16, 25 cm")] == pytest.approx([0.16, 0.25])


def test_a_target_in_pounds_is_said_to_be_a_weight() -> None:
    assert parsing.echoes(target="8 lb") == ("target 8 lb as a weight, in lbf",)
    assert parsing.echoes(target="8 lbf") == ()


def test_a_span_in_inches_and_with_a_limit_of_its_own_unit() -> None:
    assert parsing.span('11 13/16"', BELT).length_m == pytest.approx(11.8125 * 0.0254)
    own = {p.name: p.u for p in parsing.span("29.5 cm +/- 1 mm", BELT).length.parts}
    assert own["span"] == pytest.approx(1e-3 / math.sqrt(3))
    assert parsing.span("412", BELT, ends="clamp pulley").ends == ("clamp", "pulley")


@pytest.mark.parametrize("typed", ["126 g/m", "1.26 g/m", "1.4 g/m", "12.6 kg/m", "40 g/m"])
def test_a_linear_mass_far_off_the_named_belts_is_a_slip(typed: str) -> None:
    with pytest.raises(RequestError, match=r"g/m is .* the catalogue has for 2GT 9 mm"):
        parsing.belt("2GT 9 mm", linear_mass=typed)
    parsing.belt(linear_mass=typed, width="9 mm")  # insisted on


@pytest.mark.parametrize("typed", ["5 g/m", "8.4 g/m", "19 g/m", "36 g/m"])
def test_a_linear_mass_that_a_maker_may_have_is_taken(typed: str) -> None:
    assert parsing.belt("2GT 9 mm", linear_mass=typed).linear_mass.value > 0


def test_typed_frequency_is_at_least_two_per_mille_doubtful() -> None:
    assert parsing.typed(["66.300"]).u_hz[0] == pytest.approx(0.002 * 66.3 / math.sqrt(3))
    assert parsing.typed(["66"]).u_hz[0] == pytest.approx(0.5 / math.sqrt(3))
    assert parsing.typed(["66.3 +/- 0.01"]).u_hz[0] == pytest.approx(0.01 / math.sqrt(3))


def test_own_linear_mass_replaces_the_catalogues_but_keeps_the_belt() -> None:
    belt = parsing.belt("2GT 9 mm", linear_mass="12.9 +/- 0.1 g/m")
    assert belt.pitch_m == BELT.pitch_m
    assert belt.linear_mass.value == pytest.approx(0.0129)
    assert belt.linear_mass.u == pytest.approx(1e-4 / math.sqrt(3))
    assert parsing.belt("2GT", linear_mass="12.9", width="9").linear_mass.u == pytest.approx(
        0.03 * 0.0129 / math.sqrt(3)
    )


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("0 mm", "greater than zero"),
        ("-4 mm", "greater than zero"),
        ("412 Hz", "no unit of length"),
        ("412 m", "check the unit"),
        ("1 mm", "check the unit"),
        ("30 +/- 80 mm", "doubt"),
        ("41,2 cm", "decimal point"),
    ],
)
def test_impossible_spans_are_refused(text: str, why: str) -> None:
    with pytest.raises(RequestError, match=why):
        parsing.span(text, BELT)


@pytest.mark.parametrize(
    ("text", "why"),
    [("0", "greater than zero"), ("1e9", "no belt sounds"), ("sixty", "no frequency"), ("", "no")],
)
def test_impossible_frequencies_are_refused(text: str, why: str) -> None:
    with pytest.raises(RequestError, match=why):
        parsing.typed([text])


def test_no_frequency_and_no_belt_say_what_to_give() -> None:
    with pytest.raises(RequestError, match="--frequency"):
        parsing.typed([])
    with pytest.raises(RequestError, match="--belt"):
        parsing.belt(None)
    with pytest.raises(RequestError, match="greater than zero"):
        parsing.belt(linear_mass="0")
    with pytest.raises(RequestError, match="check the unit"):
        parsing.belt(linear_mass="126 kg/m", width="9 mm")
    with pytest.raises(BeltNotFound, match="2GT"):
        parsing.belt("2GTT 9 mm")
    with pytest.raises(QuantityError, match="units"):
        parsing.belt("2GT", width="9 Hz")


def test_range_must_rise_and_lie_where_belts_sound() -> None:
    assert parsing.frequency_range(None, None) is None
    made = parsing.frequency_range("40 Hz", None)
    assert made is not None
    assert (made.low_hz, made.high_hz) == (40.0, 700.0)
    with pytest.raises(RequestError, match="must rise"):
        parsing.frequency_range("120", "40")
    with pytest.raises(RequestError, match="15 and"):
        parsing.frequency_range("40", "9000")


def test_a_rate_error_is_a_share_with_its_doubt() -> None:
    found, words = parsing.clock("+35 ppm")
    assert found.value == pytest.approx(35e-6)
    assert words == "+35 ppm, taken as +/- 5 ppm"
    assert found.u == pytest.approx(5e-6 / math.sqrt(3))
    found, words = parsing.clock("-12.4(2) ppm")
    assert found.value == pytest.approx(-12.4e-6)
    assert found.u == pytest.approx(0.2e-6)
    assert words == "-12.4(2) ppm"
    assert parsing.clock("0.01 +/- 0.001 %")[0].value == pytest.approx(1e-4)


@pytest.mark.parametrize("text", ["1 %", "35 Hz", "fast", "+1,5 ppm"])
def test_impossible_rate_errors_are_refused(text: str) -> None:
    with pytest.raises(RequestError, match="--clock"):
        parsing.clock(text)


def test_a_travel_that_is_no_whole_number_of_teeth_is_named() -> None:
    made = parsing.belt("2GT 9 mm")
    assert parsing.odd_teeth(parsing.travels("160.0 +/- 0.2 mm"), made) == ()
    assert parsing.odd_teeth(parsing.travels("160.1 +/- 0.2 mm"), made) == ()
    (said,) = parsing.odd_teeth(parsing.travels("160.0 +/- 0.2 mm, 251.0 +/- 0.2 mm"), made)
    assert "251 mm is 125.5 teeth" in said
    assert "u 0.8%" in said  # 2 sqrt(1 mm x 1 mm)/251 mm
    assert "move by 250 or 252 mm" in said
    loose = parsing.belt(linear_mass="12.6 g/m", width="9 mm")  # of unknown teeth
    assert parsing.odd_teeth(parsing.travels("161 mm"), loose) == ()


def test_the_doubt_of_odd_teeth_is_that_of_a_tooth_anywhere() -> None:
    pitch, odd = 2.0, 0.5  # mm
    places = [(i + 0.5) / 1000 * pitch for i in range(1000)]
    shifts = [(place + odd) % pitch - place for place in places]
    assert sum(shifts) / 1000 == pytest.approx(0.0, abs=1e-9)
    scatter = math.sqrt(sum(x * x for x in shifts) / 1000)
    part = moved_contact(parsing.travel("100.5 +/- 0.1 mm"), 0.002, key="k")
    assert part is not None
    assert part.u == pytest.approx(scatter / 1000, rel=1e-3)
    (said,) = parsing.odd_teeth(parsing.travels("100.5 +/- 0.1 mm"), parsing.belt("2GT 9 mm"))
    assert f"u {2 * scatter / 100.5:.1%} of the" in said
