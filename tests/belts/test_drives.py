"""The drives by name: every record is complete and its drawing fits a terminal."""

from __future__ import annotations

import pytest

from beltpitch.belts.drives import DRAWING_COLUMNS, DRIVES, OTHER_NAMES, Drive, drive
from beltpitch.belts.end_conditions import KINDS
from beltpitch.errors import RequestError

EACH = pytest.mark.parametrize("one", DRIVES, ids=[d.name for d in DRIVES])


@EACH
def test_drawing_is_plain_and_fits(one: Drive) -> None:
    assert one.drawing.isascii()
    assert all(len(line) <= DRAWING_COLUMNS for line in one.drawing.splitlines())
    assert not any(line != line.rstrip() for line in one.drawing.splitlines())


@EACH
def test_drawing_marks_the_plucked_strand_and_both_ends_of_the_tape(one: Drive) -> None:
    assert one.drawing.count("~") >= 4
    assert "pluck" in one.drawing
    # T marks a tape end; no other capital T stands in a drawing.
    assert one.drawing.count("T") == 2


@EACH
def test_ends_are_kinds_the_mechanics_knows(one: Drive) -> None:
    assert set(one.ends) <= set(KINDS)
    assert any(kind in " ".join(one.tape) for kind in one.ends)


@EACH
def test_every_question_is_answered(one: Drive) -> None:
    for text in (one.title, one.pluck, *one.tape, one.park, one.uncover, *one.cautions):
        assert len(text.split()) > 3
    assert len(set(one.strands)) == 2
    assert one.doubling in (1, 2)


def test_the_four_drives_of_the_trade() -> None:
    assert [d.name for d in DRIVES] == ["looped", "fixed", "crossed", "rotary"]
    assert drive("looped").ends == ("clamp", "idler")
    assert "both belts must match" in drive("crossed").cautions[0]


@pytest.mark.parametrize(("other", "name"), OTHER_NAMES.items())
def test_other_names_lead_to_a_drive(other: str, name: str) -> None:
    assert drive(other.upper()).name == name


def test_unknown_drive_lists_the_known_ones() -> None:
    with pytest.raises(RequestError, match="choose from looped, fixed, crossed, rotary; did you"):
        drive("rotory")
    with pytest.raises(RequestError, match='no drive "xyz": choose from'):
        drive("xyz")
