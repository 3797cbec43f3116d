"""Names as printed or said: what is read, what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch.belts.catalogue import belt, profiles
from beltpitch.errors import BeltNotFound, QuantityError, RequestError

PRINTED = [
    # printed, name, length mm, teeth
    ("2GT 9 mm", "2GT 9 mm", None, None),
    ("2gt-9", "2GT 9 mm", None, None),
    ("2GT 9 mm belt", "2GT 9 mm", None, None),
    ("GT2 6mm", "2GT 6 mm", None, None),
    ("6 mm GT2 timing belt", "2GT 6 mm", None, None),
    ("GT2-200-6", "2GT 6 mm", 200, 100),
    ("HTD5M-15", "HTD 5M 15 mm", None, None),
    ("HTD 5M 15 mm", "HTD 5M 15 mm", None, None),
    ("5M-15", "HTD 5M 15 mm", None, None),
    ("450-5M-15", "HTD 5M 15 mm", 450, 90),
    ("210-3GT-6", "3GT 6 mm", 210, 70),
    ("315-EV3GT-12", "3GT 12 mm", 315, 105),
    ("340-5GT-20", "5GT 20 mm", 340, 68),
    ("AT5/25", "AT5 25 mm", None, None),
    ("16 AT5/450", "AT5 16 mm", 450, 90),
    ("T5-10", "T5 10 mm", None, None),
    ("t2.5 6mm", "T2.5 6 mm", None, None),
    ("XL 037", "XL 9.525 mm", None, None),
    ("XL037", "XL 9.525 mm", None, None),
    ('XL 3/8"', "XL 9.525 mm", None, None),
    ("XL 0.375 in", "XL 9.525 mm", None, None),
    ("110 XL 037", "XL 9.525 mm", 279.4, 55),
    ("279.4 XL 037", "XL 9.525 mm", 279.4, 55),
    ('3/8" XL', "XL 9.525 mm", None, None),
    ("XL 254 mm 9.5 mm", "XL 9.5 mm", 254, 50),
    ("240L050", "L 12.7 mm", 609.6, 64),
    ("L 187 mm", None, None, None),
    ("507 XH 200", "XH 50.8 mm", 1289.05, 58),
    ("MXL 6.4", "MXL 6.4 mm", None, None),
    ("H 100", "H 25.4 mm", None, None),
    ("150S5M500", "S5M 15 mm", 500, 100),
    ("100-S5M-15", "S5M 15 mm", 100, 20),
    ("UP5M 10 mm", "RPP 5M 10 mm", None, None),
    ("2GT\u20139\u00a0mm", "2GT 9 mm", None, None),
    ("2mm GT2, 6 mm", "2GT 6 mm", None, None),
    ("6 mm GT2, 2 mm pitch", "2GT 6 mm", None, None),
    ("GT2 6 mm x 852", "2GT 6 mm", 852, 426),
    ("GT2 6x852", "2GT 6 mm", 852, 426),
    ("GT2 6 mm \u00d7 852 mm", "2GT 6 mm", 852, 426),
    ("2 mm GT2 6 mm x 852 mm", "2GT 6 mm", 852, 426),
    ("10 mm T10 16 mm", "T10 16 mm", None, None),
    ("T10 16 mm x 450", "T10 16 mm", 450, 45),
    ("Acme GT2 6 mm", "2GT 6 mm", None, None),
    ("Acme Drive HTD 5M 15", "HTD 5M 15 mm", None, None),
    ("Acme XL 037", "XL 9.525 mm", None, None),
    ("\uff12\uff27\uff34 9 mm", "2GT 9 mm", None, None),
]


@pytest.mark.parametrize(("printed", "name", "length_mm", "teeth"), PRINTED)
def test_what_is_printed_is_read(
    printed: str, name: str | None, length_mm: float | None, teeth: int | None
) -> None:
    if name is None:
        with pytest.raises(RequestError, match="if 187 mm is its length"):
            belt(printed)
        return
    found = belt(printed)
    assert found.name == name
    assert found.teeth == teeth
    assert found.length_m == (None if length_mm is None else pytest.approx(length_mm / 1000))


def test_words_before_the_profile_and_a_pitch_beside_it_are_said() -> None:
    assert 'skipped "ACME"' in belt("Acme GT2 6 mm").notes
    assert "read 2 mm as the tooth pitch" in belt("2mm GT2, 6 mm").notes
    assert "read 2 mm as the tooth pitch" in belt("2mm GT2 6 x 852").notes
    assert "read 852 mm as the length of the belt" in belt("GT2 6 mm x 852").notes


@pytest.mark.parametrize("name", ["Acme 5M 15", "M XL 037", "XX H 200", "HTD T5 10", "Acme Bolt 9"])
def test_a_word_that_may_name_another_profile_is_not_skipped(name: str) -> None:
    with pytest.raises(BeltNotFound):
        belt(name)


@pytest.mark.parametrize("name", ["2GT 2 mm", "2 mm GT2", "2 mm GT2 200", "T10 10", "HTD 8M 8 mm"])
def test_a_width_that_is_the_tooth_pitch_is_asked_back(name: str) -> None:
    with pytest.raises(RequestError, match=r"is the tooth pitch of .*how wide is the belt\?"):
        belt(name)


def test_a_pitch_as_the_width_option_is_asked_back() -> None:
    with pytest.raises(RequestError, match="2 mm is the tooth pitch of 2GT"):
        belt("2GT", width_m=0.002)


def test_another_makers_name_is_said_to_be_read_so() -> None:
    assert 'read "GT2" as 2GT' in belt("GT2 6mm").notes
    assert any("RPP 5M and S5M share the pitch" in note for note in belt("5M-15").notes)
    assert not any("read" in note for note in belt("HTD5M-15").notes)


def test_length_code_and_width_code_are_said() -> None:
    notes = belt("110 XL 037").notes
    assert "read 110 as a length of 11 in" in notes
    assert "read 037 as a width of 9.525 mm" in notes


def test_length_that_is_no_whole_number_of_teeth_is_said_and_kept() -> None:
    found = belt("211-3GT-6")
    assert found.teeth is None
    assert found.length_m == pytest.approx(0.211)
    assert any("211 mm is no whole number of 3 mm teeth" in note for note in found.notes)


@pytest.mark.parametrize("comma", ["2GT 9,5 mm", "T2,5 6 mm", "XL 3,75"])
def test_decimal_comma_is_refused(comma: str) -> None:
    with pytest.raises(QuantityError, match="decimal comma"):
        belt(comma)


@pytest.mark.parametrize(
    ("typo", "nearest"),
    [
        ("2GR 9 mm", "2GT"),
        ("HTD 4M 9 mm", "HTD"),
        ("HDT 5M 15", "HTD 5M"),
        ("TA5 25", "AT5"),
        ("T205", "T20"),
        ("2GT 9 Hz", "2GT"),
    ],
)
def test_a_typo_gets_the_nearest_names_and_the_hint_to_weigh(typo: str, nearest: str) -> None:
    with pytest.raises(BeltNotFound, match=f"nearest: .*{nearest}.*weigh a piece"):
        belt(typo)


@pytest.mark.parametrize("nonsense", ["", "   ", "zzz", "9 mm", "-", "???", "belt"])
def test_nonsense_is_no_belt(nonsense: str) -> None:
    with pytest.raises(BeltNotFound, match="weigh a piece"):
        belt(nonsense)


def test_length_alone_is_no_width() -> None:
    with pytest.raises(RequestError, match=r'"110 XL" reads as 110 mm wide|has no width'):
        belt("110 XL")


def test_missing_width_names_the_usual_ones() -> None:
    with pytest.raises(RequestError, match=r"has no width.*usual are 4, 6, 9, 10, 12, 15 mm"):
        belt("2GT")


@pytest.mark.parametrize(
    ("given_width", "complaint"),
    [
        ("2GT 0 mm", "must lie between"),
        ("2GT-200", "if 200 mm is its length, give the width"),
        ("T5 900 mm", "if 900 mm is its length, give the width"),
        ("XL 0.375", "width of XL is 0.375 mm"),
        ("10-2GT-200-6", "three numbers"),
    ],
)
def test_impossible_widths_are_refused(given_width: str, complaint: str) -> None:
    with pytest.raises(RequestError, match=complaint):
        belt(given_width)


def test_width_given_twice_must_agree() -> None:
    assert belt("XL 037", width_m=0.00953).width_m == 0.00953
    with pytest.raises(RequestError, match="9 mm wide by its name, but 6 mm"):
        belt("2GT 9 mm", width_m=0.006)


def test_words_for_the_construction() -> None:
    assert belt("T5 10 mm aramid").construction == "polyurethane, aramid cord"
    assert belt("PU HTD 5M 15").construction == "polyurethane, steel cord"
    assert belt("2GT steel core 9 mm").construction == "rubber, steel cord"
    assert belt("2GT 9 mm", construction="Kevlar").construction == "rubber, aramid cord"
    with pytest.raises(RequestError, match=r"no figures for 2GT.*rubber, glass cord"):
        belt("2GT 9 mm", construction="polyurethane")
    with pytest.raises(RequestError, match='no construction "bamboo"'):
        belt("2GT 9 mm", construction="bamboo")


def test_the_choice_between_constructions_is_said() -> None:
    assert any("taken as rubber, glass cord; say so if" in n for n in belt("HTD 5M 15").notes)
    assert belt("HTD 5M 15", construction="polyurethane, steel cord").notes == ()


EVERY = [(p.name, p.pitch_m, round(w * 1000, 4)) for p in profiles() for w in p.widths_m]
SEPARATORS = st.sampled_from([" ", "-", "\u2013", "/", "_", "  ", "\u00a0"])


@given(st.sampled_from(EVERY), SEPARATORS, st.booleans(), st.sampled_from(["", "mm", " mm", "MM"]))
def test_profile_and_width_survive_any_spelling(
    what: tuple[str, float, float], separator: str, lower: bool, unit: str
) -> None:
    name, pitch_m, width_mm = what
    if name in INCH:
        unit = unit or "mm"  # three bare digits on an inch belt are a code of width
    printed = f"{name.replace(' ', '')}{separator}{width_mm:g}{unit}"
    found = belt(printed.lower() if lower else printed)
    assert (found.profile, found.pitch_m) == (name, pitch_m)
    assert found.width_m == pytest.approx(width_mm / 1000)
    assert belt(found.name).linear_mass == found.linear_mass


INCH = {p.name for p in profiles() if "inch" in p.title}
METRIC = [what for what in EVERY if what[0] not in INCH]


@given(st.sampled_from(METRIC), st.integers(120, 900), SEPARATORS, SEPARATORS)
def test_length_profile_width_round_trip(
    what: tuple[str, float, float], teeth: int, one: str, two: str
) -> None:
    name, pitch_m, width_mm = what
    length_mm = round(teeth * pitch_m * 1000, 3)
    if length_mm <= width_mm:
        return
    found = belt(f"{length_mm:g}{one}{name}{two}{width_mm:g}")
    assert (found.profile, found.teeth) == (name, teeth)
    assert found.width_m == pytest.approx(width_mm / 1000)


@given(st.text(max_size=30))
def test_any_text_is_a_belt_or_one_clear_line(text: str) -> None:
    try:
        said = belt(text).name
    except RequestError as refused:
        said = refused.message
    assert len(said.splitlines()) == 1
