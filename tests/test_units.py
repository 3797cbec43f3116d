"""Text <-> SI: what is read, what is refused, and that pint's own reader is never met."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch import units as q
from beltpitch.errors import QuantityError

KINDS = [value for value in vars(q).values() if isinstance(value, q.Kind)]

# Exact by definition: NIST SP 811 (2008), appendix B.8 (lbf and kgf rest on g_n = 9.80665 m/s^2).
EXACT = [
    ("1 in", q.LENGTH, 0.0254),
    ("1 ft", q.LENGTH, 0.3048),
    ("41.2 cm", q.LENGTH, 0.412),
    ("1 lb", q.MASS, 0.45359237),
    ("16 oz", q.MASS, 0.45359237),
    ("1 lbf", q.FORCE, 4.4482216152605),
    ("1 kgf", q.FORCE, 9.80665),
    ("2 kN", q.FORCE, 2000.0),
    ("8.4 g/m", q.LINEAR_MASS, 0.0084),
    ("1 lb/ft", q.LINEAR_MASS, 0.45359237 / 0.3048),
    ("1 g", q.ACCELERATION, 9.80665),
    ("1 g", q.MASS, 0.001),
    ("3000 mm/s^2", q.ACCELERATION, 3.0),
    ("1 oz in", q.TORQUE, 0.45359237 / 16 * 9.80665 * 0.0254),
    ("0.45 N m", q.TORQUE, 0.45),
    ("60 rpm", q.ROTATION, 1.0),
    ("3000 mm/min", q.SPEED, 0.05),
    ("55 N/mm", q.STIFFNESS, 55000.0),
    ("20 degC", q.TEMPERATURE, 293.15),
    ("68 degF", q.TEMPERATURE, 293.15),
    ("5 %", q.PERCENT, 0.05),
    ("-35 ppm", q.CLOCK, -35e-6),
    ("0.01 %", q.CLOCK, 1e-4),
    ("2 h", q.TIME, 7200.0),
    ("1.5 kW", q.POWER, 1500.0),
    ("90 °", q.ANGLE, 90.0),
    ('12"', q.LENGTH, 0.3048),
    ("12\u2033", q.LENGTH, 0.3048),
    ("12 inches", q.LENGTH, 0.3048),
    ("3/4 in", q.LENGTH, 0.01905),
    ('3/4"', q.LENGTH, 0.01905),
    ("11 13/16 in", q.LENGTH, 11.8125 * 0.0254),
    ("11-13/16 in", q.LENGTH, 11.8125 * 0.0254),
    ("412 millimetres", q.LENGTH, 0.412),
    ("110 hertz", q.FREQUENCY, 110.0),
    ("110Hz", q.FREQUENCY, 110.0),
    ("110 hz", q.FREQUENCY, 110.0),
    ("30 newtons", q.FORCE, 30.0),
    ("14 lb", q.FORCE, 14 * 4.4482216152605),
    ("14 lbs", q.FORCE, 14 * 4.4482216152605),
    ("3 kg", q.FORCE, 3 * 9.80665),
    ("2 pounds", q.MASS, 2 * 0.45359237),
    ("90 days", q.INTERVAL, 90 * 86400.0),
    ("1/4", q.TURN, 0.25),
    ("-1 1/4", q.TURN, -1.25),
    ("3 flats", q.TURN, 0.5),
    ("-90 deg", q.TURN, -0.25),
]


@pytest.mark.parametrize(("text", "kind", "si"), EXACT)
def test_units_have_their_defined_size(text: str, kind: q.Kind, si: float) -> None:
    assert q.parse(text, kind).value == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "u"),
    [
        ("412 +/- 1 mm", 1e-3 / math.sqrt(3)),
        ("412 ± 1 mm", 1e-3 / math.sqrt(3)),
        ("412 mm +/- 1 mm", 1e-3 / math.sqrt(3)),
        ("412+/-1", 1e-3 / math.sqrt(3)),
        ("412(1) mm", 1e-3),
        ("412.0(5) mm", 5e-4),
        ("41.2 cm +/- 1 mm", 1e-3 / math.sqrt(3)),
        ("41.2 cm +/- 1", 1e-2 / math.sqrt(3)),
        ("16 1/4 in +/- 1/16 in", 0.0254 / 16 / math.sqrt(3)),
        ("412 mm +/- 1 in", 0.0254 / math.sqrt(3)),
        ("400 mm +/- 1 %", 4e-3 / math.sqrt(3)),
        ("4.120(12)e2 mm", None),
    ],
)
def test_doubt_is_a_limit_after_plus_minus_and_standard_in_brackets(
    text: str, u: float | None
) -> None:
    if u is None:
        with pytest.raises(QuantityError):
            q.parse(text, q.LENGTH)
    else:
        assert q.parse(text, q.LENGTH).u == pytest.approx(u, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "half_digit"),
    [
        ("412 mm", 5e-4),
        ("412.0 mm", 5e-5),
        ("4.12e2 mm", 5e-4),
        ("11 13/16 in", 0.0254 / 32),
        ("3/4 in", 0.0254 / 8),
    ],
)
def test_half_of_the_last_digit_written(text: str, half_digit: float) -> None:
    read = q.parse(text, q.LENGTH)
    assert read.u is None
    assert read.half_digit == pytest.approx(half_digit, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "why"),
    [
        ("1,5 mm", q.LENGTH, "decimal point"),
        ("57,3 Hz", q.FREQUENCY, "decimal point"),
        ("0,31 m", q.LENGTH, "decimal point"),
        ("110,5", q.FREQUENCY, 'write a decimal point: "110.5"'),
        ("0,31 m", q.LENGTH, 'write a decimal point: "0.31 m"'),
        ("1,234 mm", q.LENGTH, r'point: "1\.234 mm" or, for a thousand, "1234 mm"'),
        ("110,111,109", q.FREQUENCY, 'where several may stand, "110, 111, 109"'),
        ("1,234,567 mm", q.LENGTH, '"1234567 mm"'),
        ("0, 31 m", q.LENGTH, "no length"),
        ("3 1/8", q.LENGTH, 'write "3 1/8 in"'),
        ("1/4", q.PERCENT, 'write "1/4 %"'),
        ("3 9/8 in", q.LENGTH, "no fraction"),
        ("3/0 in", q.LENGTH, "no fraction"),
        ("3/4/5 in", q.LENGTH, "no unit of length"),
        ("300", q.INTERVAL, 'no unit .units: min, h, d.: write for instance "300 d"'),
        ("-300 degC", q.TEMPERATURE, "below absolute zero"),
        ("-460 degF", q.TEMPERATURE, "below absolute zero"),
        ("412 mm +/- 1 Hz", q.LENGTH, "'Hz' is no unit of length"),
        ("5 ft 3 in", q.LENGTH, "no unit of length"),
        ("1.2.3 mm", q.LENGTH, "no length"),
        ("mm", q.LENGTH, "no length"),
        ("60 #", q.FREQUENCY, "no frequency"),
        ("310 Mm", q.LENGTH, "did you mean mm"),
        ("60 rpm", q.FREQUENCY, "units: Hz"),
        ("57.3 rad/s", q.FREQUENCY, "units: Hz"),
        ("60 oz", q.FORCE, "units: N, kN, lbf, kgf"),
        ("410 Hz", q.LENGTH, "no unit of length"),
        ("sixty", q.FREQUENCY, "66.3 Hz"),
        ("", q.LENGTH, "412 mm"),
        ("nan", q.LENGTH, "no length"),
        ("inf mm", q.LENGTH, "no length"),
        ("1e99 mm", q.LENGTH, "too large"),
        ("412 +/- -1 mm", q.LENGTH, "zero or more"),
        ("412(1) +/- 1 mm", q.LENGTH, "twice"),
        ("1_000 mm", q.LENGTH, "no length"),
        ("\u0664\u0661\u0662 mm", q.LENGTH, "no length"),
    ],
)
def test_refusals_say_what_was_wanted(text: str, kind: q.Kind, why: str) -> None:
    with pytest.raises(QuantityError, match=why) as caught:
        q.parse(text, kind, option="--x")
    assert "\n" not in caught.value.message
    assert text in caught.value.message or repr(text) in caught.value.message


@pytest.mark.parametrize("text", ["0 mm", "-3 mm", "-0.0"])
def test_positive_refuses_zero_and_below(text: str) -> None:
    with pytest.raises(QuantityError, match="greater than zero"):
        q.positive(text, q.LENGTH)


def test_a_bare_number_takes_the_documented_unit_and_is_echoed_with_it() -> None:
    assert q.parse("412", q.LENGTH).text == "412 mm"
    assert q.parse("66.3", q.FREQUENCY).text == "66.3 Hz"
    assert q.parse("8.4", q.LINEAR_MASS).text == "8.4 g/m"
    assert q.parse("30 +/- 2", q.FORCE).text == "30 +/- 2 N"
    assert q.parse("29.5 cm +/- 1 mm", q.LENGTH).text == "29.5 cm +/- 1 mm"
    assert q.parse('12"', q.LENGTH).text == "12 in"


def test_a_mass_where_a_force_is_meant_is_read_as_a_weight_and_said() -> None:
    read = q.parse("14 lb", q.FORCE)
    assert (read.text, read.assumed) == ("14 lbf", "14 lb as a weight, in lbf")
    assert q.parse("14 lbf", q.FORCE).assumed == ""
    assert q.parse("14 lb", q.MASS).assumed == ""


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("110", ("110",)),
        ("110, 111, 109", ("110", "111", "109")),
        ("110; 111", ("110", "111")),
        ("110 Hz,111 Hz", ("110 Hz", "111 Hz")),
        ("16, 25 cm", ("16 cm", "25 cm")),
        ("16 cm, 25", ("16 cm", "25 cm")),
        ("16, 25 +/- 0.1 cm", ("16 cm", "25 +/- 0.1 cm")),
        ("16 mm, 2.5 cm", ("16 mm", "2.5 cm")),
        ("160.0 +/- 0.2 mm, 250.0 +/- 0.2 mm", ("160.0 +/- 0.2 mm", "250.0 +/- 0.2 mm")),
        ("110,5", ("110,5",)),
        ("110,5, 111,5", ("110,5", "111,5")),
        ("110,111,109", ("110,111,109",)),
        ("", ("",)),
    ],
)
def test_several_values_stand_apart(text: str, values: tuple[str, ...]) -> None:
    assert q.several(text) == values


@given(st.lists(st.integers(1, 99999), min_size=1, max_size=6), st.sampled_from([", ", "; "]))
def test_several_values_are_read_each_as_it_stands(numbers: list[int], between: str) -> None:
    read = [q.parse(each, q.LENGTH).value for each in q.several(between.join(map(str, numbers)))]
    assert read == [pytest.approx(n / 1000) for n in numbers]


@given(
    st.sampled_from(KINDS), st.data(), st.integers(0, 99999), st.integers(0, 99999), st.text("0123")
)
def test_a_comma_between_digits_is_never_read(
    kind: q.Kind, data: st.DataObject, before: int, after: int, more: str
) -> None:
    unit = data.draw(st.sampled_from(["", *(u for u, _ in kind.units)]))
    text = f"{before},{after}{more} {unit}".strip()
    assert q.several(text) == (text,)
    with pytest.raises(QuantityError, match="a comma in a number is not read"):
        q.parse(text, kind)


@given(st.integers(0, 999), st.integers(1, 64), st.data(), st.sampled_from([" ", "-"]))
def test_a_fraction_is_its_sum(whole: int, below: int, data: st.DataObject, between: str) -> None:
    above = data.draw(st.integers(0, below - 1))
    read = q.parse(f"{whole}{between}{above}/{below} in", q.LENGTH)
    assert read.value == pytest.approx((whole + above / below) * 0.0254, rel=1e-12)
    assert read.half_digit == pytest.approx(0.0254 / below / 2)


@given(
    st.sampled_from(KINDS),
    st.data(),
    st.decimals(min_value="-99999", max_value="99999", places=3),
)
def test_every_unit_returns_to_the_number_written(
    kind: q.Kind, data: st.DataObject, number: object
) -> None:
    unit = data.draw(st.sampled_from([u for u, _ in kind.units]))
    if kind is q.TEMPERATURE:  # which does not go below absolute zero
        number = abs(float(str(number)))
    read = q.parse(f"{number} {unit}", kind)
    assert q.in_unit(read.value, unit, kind) == pytest.approx(float(str(number)), abs=1e-6)


@given(st.text(max_size=20), st.sampled_from(KINDS))
def test_any_text_is_read_or_refused_in_one_line(text: str, kind: q.Kind) -> None:
    refusal, read = "", None
    try:
        read = q.parse(text, kind)
    except QuantityError as error:
        refusal = error.message
    assert (read is None) == bool(refusal)
    assert "\n" not in refusal
    assert read is None or (math.isfinite(read.value) and (read.u is None or read.u >= 0))


@given(st.floats(0.001, 1e5), st.floats(1e-6, 1e3))
def test_rounded_keeps_the_value_within_a_tenth_of_its_doubt(value: float, u: float) -> None:
    assert abs(float(q.rounded(value, u)) - value) <= max(0.06 * u, 5.1e-7)
