"""CSV and JSON out and in: round trips, no formula, and what is refused."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from beltpitch.errors import RequestError
from beltpitch.store.csv_log import (
    COLUMNS,
    csv_of,
    escaped,
    json_of,
    keep_all,
    sittings_from,
    unescaped,
)
from beltpitch.store.log import History, one_line
from tests.store.workshop import sitting

HEAD = "taken,belt,preload_n"


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[History]:
    with History(tmp_path / "book.sqlite") as history:
        yield history


def table(tmp_path: Path, *lines: str) -> Path:
    path = tmp_path / "in.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "'", "=cmd|' /C calc'!A0"])
def test_no_cell_of_text_begins_a_formula(kept: History, start: str) -> None:
    words = f"{start}1+1"
    kept.keep(sitting(belt=f"x{start}", note=words, seen=words, machine=words))
    rows = list(
        csv.reader(io.StringIO(csv_of(kept.lines()).lstrip("\N{ZERO WIDTH NO-BREAK SPACE}")))
    )
    assert tuple(rows[0]) == COLUMNS
    for name, cell in zip(COLUMNS, rows[1], strict=True):
        if cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
            pytest.fail(f"{name} is {cell!r}")


@given(st.text(max_size=30))
def test_the_apostrophe_is_taken_away_again(text: str) -> None:
    assert unescaped(escaped(text)) == text
    assert not escaped(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_the_file_is_one_a_spreadsheet_knows_as_utf8(kept: History) -> None:
    kept.keep(sitting(note='Riemen gepr\N{LATIN SMALL LETTER U WITH DIAERESIS}ft, "neu"'))
    raw = csv_of(kept.lines()).encode()
    assert raw.startswith(b"\xef\xbb\xbf")
    assert b"\r\n" in raw


def test_what_is_exported_is_imported_the_same_into_another_book(
    kept: History, tmp_path: Path
) -> None:
    kept.keep(sitting(note="=1+1", seen="frayed, edge", temperature_c=-4.0, event="new belt"))
    kept.keep(sitting(69.0, day=3, strand="left"))
    path = tmp_path / "out.csv"
    path.write_text(csv_of(kept.lines()), encoding="utf-8", newline="")
    with History(tmp_path / "other.sqlite") as other:
        assert keep_all(other, sittings_from(path)) == (2, 0)
        assert keep_all(other, sittings_from(path)) == (0, 2)
        for was, now in zip(kept.lines(), other.lines(), strict=True):
            assert replace(was, id=0, digest=None) == replace(now, id=0, digest=None)
        assert keep_all(kept, sittings_from(path)) == (0, 2)
        assert other.entries()[0].estimates.preload is not None


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    note=st.text(max_size=40),
    belt=st.text(max_size=20).filter(lambda t: bool(one_line(t))),
    hertz=st.floats(30, 120),
)
def test_any_entry_survives_the_csv(tmp_path: Path, note: str, belt: str, hertz: float) -> None:
    for old in tmp_path.glob("*"):
        old.unlink()
    path = tmp_path / "x.csv"
    with History(tmp_path / "a.sqlite") as a, History(tmp_path / "b.sqlite") as b:
        a.keep(sitting(hertz, note=note, belt=belt))
        path.write_text(csv_of(a.lines()), encoding="utf-8", newline="")
        keep_all(b, sittings_from(path))
        was, now = a.lines()[0], b.lines()[0]
        assert (now.belt, now.note or "") == (was.belt, was.note or "")
        assert (now.preload_n, now.taken) == (was.preload_n, was.taken)
        assert now.preload_u_n == pytest.approx(was.preload_u_n)


def test_json_holds_an_entry_whole(kept: History) -> None:
    number = kept.keep(sitting()).id
    record = json.loads(json.dumps(json_of(kept.entry(number)), allow_nan=False))
    assert record["id"] == number
    assert record["record"]["reading"]["belt"] == "2GT 9 mm"
    assert record["record"]["estimates"]["preload"]["parts"]
    assert record["taken"].endswith("Z")


def test_a_row_without_a_doubt_takes_the_usual_one(tmp_path: Path) -> None:
    (row,) = sittings_from(table(tmp_path, HEAD, "2026-03-01,y-left,40"))
    preload = row.verdict.reading.preload
    assert preload is not None
    assert preload.u == pytest.approx(2.0)
    assert row.taken.tzinfo is not None


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (("taken,belt", "x"), "the column preload_n is missing"),
        ((f"{HEAD},nota", "x"), 'no column "nota" is known; did you mean note'),
        (("taken;belt;preload_n", "x"), "separated by semicolons"),
        ((HEAD, "2026-03-01,y"), "line 2: more or fewer cells"),
        ((HEAD, "2026-03-01,y,40,7"), "line 2: more or fewer cells"),
        ((HEAD, "yesterday,y,40"), "line 2: taken 'yesterday' is no date"),
        ((HEAD, "1926-03-01,y,40"), "line 2: taken '1926-03-01': 1926-03-01 must be a slip"),
        ((HEAD, "2926-03-01,y,40"), "line 2: taken '2926-03-01': 2926-03-01 must be a slip"),
        ((HEAD, "2026-03-01,y,40 N"), "line 2: preload_n '40 N' is no number"),
        ((HEAD, "2026-03-01,y,nan"), "is no number of at least 0"),
        ((HEAD, "2026-03-01,y,-4"), "is no number of at least 0"),
        ((HEAD, "2026-03-01,y,1_0"), "is no number of at least 0"),
        ((HEAD, "2026-03-01,y,0"), "no preload_n above zero"),
        ((HEAD, "2026-03-01,,40"), "line 2: no belt"),
        ((f"{HEAD},event", "2026-03-01,y,40,hit"), 'event "hit" is none of'),
        ((f"{HEAD},verdict", "2026-03-01,y,40,fine"), 'verdict "fine" is none of'),
        ((HEAD, '2026-03-01,"y,40'), "not CSV"),
    ],
)
def test_a_wrong_table_is_refused_with_its_line(
    tmp_path: Path, lines: tuple[str, ...], said: str
) -> None:
    with pytest.raises(RequestError, match=said.replace("(", r"\(")):
        sittings_from(table(tmp_path, *lines))


def test_a_file_that_is_no_table_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "in.csv"
    with pytest.raises(RequestError, match="cannot be read"):
        sittings_from(path)
    path.write_bytes(b"\xff\xfe\0x")
    with pytest.raises(RequestError, match="UTF-8"):
        sittings_from(path)
    path.write_bytes(b"")
    with pytest.raises(RequestError, match="taken and belt and preload_n is missing"):
        sittings_from(path)
