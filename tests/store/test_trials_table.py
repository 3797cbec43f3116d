"""The table of trials: out, filled in, and back; every mistake told by its line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch.errors import BeltpitchError, RequestError
from beltpitch.study.design import planned
from beltpitch.study.trials import Field, Measure, Trials
from beltpitch.study.trials_table import (
    filled_in,
    head_of,
    measure_from,
    planned_sheet,
    sheet_from,
    trials_from,
    write,
)
from beltpitch.uncertainty import Estimate

ERROR = Measure("size error", "um", "target", 0.0)
STEPS = Measure("skipped steps")
GOOD = """# study of y
# range 20 to 60 N
trial,aim [N],tension [N],reading,size error [um],skipped steps,leave out,note
1,20.0,20.4 +/- 0.4 N,,12.5,0,,
2,40.0,40.1 +/- 0.4 N,,-3.5 um,-,yes,=cut on the left
3,60.0,,41,7,2,,
4,60.0,,,,,,
"""


def no_book(number: int) -> Estimate:
    return Estimate.single(60.3, 1.2, name="linear mass", key="roll:x")


def read(tmp_path: Path, text: str) -> Trials:
    path = tmp_path / "trials.csv"
    path.write_text(text, encoding="utf-8")
    return trials_from(sheet_from(path), "y", no_book)


def test_a_filled_table_is_read(tmp_path: Path) -> None:
    path = tmp_path / "trials.csv"
    path.write_text(GOOD, encoding="utf-8")
    sheet = sheet_from(path)
    assert sheet.range_n == pytest.approx((20, 60))
    made = trials_from(sheet, "y", no_book)
    assert [t.number for t in made.trials] == [1, 2, 3]
    first, second, third = made.trials
    assert first.tension.value == pytest.approx(20.4)
    assert first.tension.u == pytest.approx(0.4 / 3**0.5)
    assert second.results == (-3.5, None)
    assert second.left_out
    assert second.note == "=cut on the left"
    assert third.tension.parts[0].key == "roll:x"
    assert made.measures == (Measure("size error", "um"), STEPS)
    assert [t.number for t in made.of(0)] == [1, 3]


def test_a_line_without_an_aim_was_not_planned_where_others_have_one(tmp_path: Path) -> None:
    made = read(tmp_path, GOOD + "5,,44.1 +/- 0.4 N,,9.5,0,,\n")
    assert [t.planned for t in made.trials] == [True, True, True, False]
    bare = "trial,aim [N],tension [N],steps\n1,,20,4\n2,,30,2\n"
    assert [t.planned for t in read(tmp_path, bare).trials] == [True, True]


def test_a_typed_tension_without_a_doubt_takes_one_that_all_share(tmp_path: Path) -> None:
    path = tmp_path / "trials.csv"
    path.write_text(GOOD.replace(" +/- 0.4 N", ""), encoding="utf-8")
    first, second, _ = trials_from(sheet_from(path), "y", no_book).trials
    keys = {p.key for p in first.tension.parts} & {p.key for p in second.tension.parts}
    assert keys == {"typed:all"}
    assert first.tension.u == pytest.approx(0.05 * 20.4 / 3**0.5, rel=0.01)


def test_a_plan_is_written_filled_in_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "trials.csv"
    plan = planned(Field(20, 60), 6, seed=1)
    write(planned_sheet(path, "y", plan, (ERROR, STEPS), (20, 60)), new=True)
    with pytest.raises(RequestError, match="is there already"):
        write(planned_sheet(path, "y", plan, (ERROR,), (20, 60)), new=True)
    sheet = sheet_from(path)
    values = {"tension": "21 +/- 1 N", "size error": "-2", "skipped steps": "0", "note": "-x"}
    write(filled_in(sheet, 2, values))
    again = sheet_from(path)
    assert again.comments == ("# study of y", "# range 20.00 to 60.00 N")
    made = trials_from(again, "y", no_book)
    assert made.measures == (ERROR, STEPS)
    assert [(t.number, t.results, t.note) for t in made.trials] == [(2, (-2.0, 0.0), "-x")]
    with pytest.raises(RequestError, match='has no column "roundness"; it has'):
        filled_in(sheet, 2, {"roundness": "1"})


def test_two_belts_have_two_columns(tmp_path: Path) -> None:
    path = tmp_path / "trials.csv"
    plan = planned(Field(20, 60), 6, seed=1)
    write(planned_sheet(path, "y", plan, (ERROR,), (20, 60), ("y-left", "y-right")), new=True)
    sheet = filled_in(
        sheet_from(path),
        1,
        {"tension y-left": "30 N", "tension y-right": "32 N", "size error": "4"},
    )
    (trial,) = trials_from(sheet, "y", no_book).trials
    assert [round(t.value, 3) for t in trial.tensions] == [30, 32]
    assert trial.unequal == pytest.approx(2 / 31)
    half = filled_in(sheet_from(path), 1, {"tension y-left": "30 N", "size error": "4"})
    with pytest.raises(RequestError, match="the tension of one belt is missing"):
        trials_from(half, "y", no_book)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("12.5,0", ",0", 'line 4: "size error" is empty; write its value, or -'),
        ("12.5,0", "0.0125 mm,0", "line 4: .*this column is in um"),
        ("12.5,0", "12.5,0 steps", "line 4: .*this column has no unit"),
        ("12.5,0", '"12,5",0', "line 4: .*a comma in a number is not read"),
        ("12.5,0", "good,0", "line 4: .*is no number"),
        ("20.4 +/- 0.4 N", "20.4 mm", "line 4: tension .*'mm' is no unit of force"),
        ("20.4 +/- 0.4 N", "", "line 4: no tension: write it, or the number of its reading"),
        ("20.4 +/- 0.4 N,", "20.4 N,41", "line 4: a tension and a reading"),
        ("3,60.0", "2,60.0", "line 6: trial 2 is there twice"),
        ("3,60.0", "three,60.0", "line 6: trial 'three' is no number"),
        (",41,", ",41+x,", "line 6: trial 'x' is no number|line 6: .*'x'"),
        ("yes", "maybe", "\"leave out\" is 'maybe'; write yes, or nothing"),
        ("-3.5 um,-,yes,=cut on the left", "-3.5", "line 5: 5 cells, the first line has 8"),
        ("size error [um],skipped steps", "note,note", 'the column "note" twice'),
        ("trial,", "number,", 'no column "trial"'),
        (GOOD, "", "is empty"),
        (GOOD, "trial;tension;size error\n1;20;3\n", "separated by semicolons"),
        (GOOD, "trial,tension [N]\n1,20 N\n", "has no column of results"),
        (GOOD, "trial,tension [N],e [um]\n1,,\n", "has no trial filled in yet"),
        (GOOD, "trial,tension [N],e [um] target zero\n1,20 N,3\n", "cannot|is no number"),
    ],
)
def test_each_mistake_is_one_line(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in GOOD
    with pytest.raises(RequestError, match=words) as caught:
        read(tmp_path, GOOD.replace(old, new))
    assert "\n" not in caught.value.message


@pytest.mark.parametrize(
    "measure", [ERROR, STEPS, Measure("stiffness", "N/mm", "larger"), Measure("surface", "um")]
)
def test_a_head_says_all_of_a_measure(measure: Measure) -> None:
    assert measure_from(head_of(measure)) == measure


@given(text=st.text(max_size=200))
def test_any_text_is_read_or_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = tmp_path_factory.mktemp("any") / "trials.csv"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    said = ""
    try:
        trials_from(sheet_from(path), "y", no_book)
    except BeltpitchError as error:
        said = error.message
    assert "\n" not in said
