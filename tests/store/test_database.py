"""The book as a file: killed writers, two writers, a full disk, versions, other people's files."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from beltpitch.errors import CannotTell, RequestError
from beltpitch.store import database
from beltpitch.store.log import Filter, History
from tests.store.workshop import sitting

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
BOOKS = HERE.parent / "data" / "books"
KILLS = 200


def child(script: str, *arguments: object) -> subprocess.Popen[str]:
    command = [sys.executable, str(HERE / script), *map(str, arguments)]
    return subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def finished(process: subprocess.Popen[str]) -> str:
    out, err = process.communicate(timeout=600)
    assert process.returncode == 0, err
    return out


# --- what is reported as kept stays kept ---------------------------------------------------------


def test_killed_at_random_moments_nothing_reported_is_lost_and_no_book_is_damaged(
    tmp_path: Path,
) -> None:
    told = json.loads(finished(child("kill_nursery.py", tmp_path, KILLS, 20260301)))
    assert told["kills"] == KILLS
    assert told["kept"] > KILLS  # the writers were really at work
    assert told["logs"] > KILLS / 4  # and most were killed with an open log


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    each = 40
    writers = [child("writer_child.py", path, each, name) for name in ("a", "b")]
    numbers = [int(n) for writer in writers for n in finished(writer).split()]
    assert len(set(numbers)) == 2 * each
    with History(path) as history:
        assert history.integrity() == "ok"
        assert {line.id for line in history.lines(most=None)} == set(numbers)
        for name in ("a", "b"):
            assert history.count(Filter(belt=name)) == each


@pytest.mark.parametrize("limit", [150_000, 400_000, 1_000_000])
def test_a_full_disk_is_said_and_what_was_kept_stays(tmp_path: Path, limit: int) -> None:
    path = tmp_path / "book.sqlite"
    *numbers, last = finished(child("full_disk_child.py", path, limit)).splitlines()
    assert last.startswith("said: ")
    assert "disk" in last
    assert "nothing was changed" in last
    with History(path) as history:
        assert history.integrity() == "ok"
        assert [str(line.id) for line in history.lines(most=None)] == numbers[::-1]


def test_a_book_that_may_not_grow_says_so_and_takes_readings_again_when_it_may(
    tmp_path: Path,
) -> None:
    with History(tmp_path / "book.sqlite") as history:
        first = history.keep(sitting())
        pages = history._link.execute("PRAGMA page_count").fetchone()[0]
        history._link.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(CannotTell, match="no room"):
            history.keep(replace(sitting(), flac=bytes(100_000)))
        assert [line.id for line in history.lines()] == [first.id]
        history._link.execute(f"PRAGMA max_page_count = {pages + 100}")
        assert history.keep(replace(sitting(), flac=bytes(100_000))).id > first.id
        assert history.integrity() == "ok"


def test_a_reading_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    with History(tmp_path / "book.sqlite") as history:
        history._link.execute("DROP TABLE sound")  # the last step of keeping will fail
        with pytest.raises(CannotTell, match="no such table"):
            history.keep(replace(sitting(), flac=b"fLaC"))
        assert history.count() == 0
        assert history._link.execute("SELECT count(*) FROM revision").fetchone()[0] == 0


# --- versions ------------------------------------------------------------------------------------


def test_there_is_a_kept_book_of_every_version() -> None:
    kept = {path.name for path in BOOKS.glob("*.sqlite")}
    assert kept == {f"version-{v}.sqlite" for v in range(1, database.BOOK_VERSION + 1)}


def test_a_book_of_version_1_is_still_read(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    shutil.copy(BOOKS / "version-1.sqlite", path)
    with History(path, create=False) as history:
        lines = history.lines()
        assert [line.id for line in lines][-2:] == [2, 1]
        first = history.entry(1)
        assert first.line.revision == 2
        assert first.line.note == "first \N{LATIN SMALL LETTER E WITH ACUTE}"
        assert first.line.seen == "frayed edge"
        assert history.entry(1, 1).estimates.frequency is not None
        second = history.entry(2)
        assert (second.line.event, second.line.temperature_c) == ("tensioned", 19.5)
        assert history.sound(2) == b"fLaC"
        preload = second.estimates.preload
        assert preload is not None
        assert preload.value == pytest.approx(41.4, abs=1.0)
        assert {p.name for p in preload.parts} >= {"linear mass", "span", "typed frequency"}
        assert second.window is not None
        assert second.window.target_n == 40.0


def test_an_older_book_is_brought_up_to_date_in_one_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.sqlite"
    with History(path) as history:
        history.keep(sitting())
    later = (
        *database.MIGRATIONS,
        ("ALTER TABLE entry ADD COLUMN shop TEXT", "UPDATE entry SET shop='x'"),
    )
    monkeypatch.setattr(database, "MIGRATIONS", later)
    monkeypatch.setattr(database, "BOOK_VERSION", len(later))
    with History(path) as history:
        assert history._link.execute("SELECT shop FROM entry").fetchone() == ("x",)
        assert history._link.execute("PRAGMA user_version").fetchone() == (len(later),)
        assert len(history.lines()) == 1


def test_a_migration_that_fails_leaves_the_book_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.sqlite"
    with History(path) as history:
        history.keep(sitting())
    with monkeypatch.context() as patch:
        broken = (
            *database.MIGRATIONS,
            ("ALTER TABLE entry ADD COLUMN shop TEXT", "UPDATE nowhere SET a = 1"),
        )
        patch.setattr(database, "MIGRATIONS", broken)
        patch.setattr(database, "BOOK_VERSION", len(broken))
        with pytest.raises(CannotTell, match="nothing was changed"):
            History(path)
    with History(path) as history:
        assert len(history.lines()) == 1
        names = [row[1] for row in history._link.execute("PRAGMA table_info(entry)")]
        assert "shop" not in names


def test_a_newer_book_is_refused_kindly_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    History(path).close()
    with closing(sqlite3.connect(path)) as link:
        link.execute("PRAGMA user_version = 99")
    before = path.read_bytes()
    with pytest.raises(RequestError, match=r"newer beltpitch \(book version 99.*update beltpitch"):
        History(path)
    assert path.read_bytes() == before


# --- other files ---------------------------------------------------------------------------------


def test_the_database_of_another_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as link:
        link.execute("CREATE TABLE theirs (a)")
    before = path.read_bytes()
    with pytest.raises(RequestError, match="another program"):
        History(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "content", [b"not a database at all " * 100, b"SQLite format 3\0" + b"x" * 500]
)
def test_a_file_that_is_no_database_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "book.sqlite"
    path.write_bytes(content)
    with pytest.raises(RequestError, match="not a book of beltpitch"):
        History(path)
    assert path.read_bytes() == content


def test_a_folder_and_a_book_that_is_not_there_are_refused(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="is a folder"):
        History(tmp_path)
    with pytest.raises(RequestError, match="nothing was kept there yet"):
        History(tmp_path / "none.sqlite", create=False)
    assert not (tmp_path / "none.sqlite").exists()


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(CannotTell, match="cannot be made"):
        History(tmp_path / "file" / "book.sqlite")


def test_a_book_that_another_program_holds_is_waited_for_and_then_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.sqlite"
    History(path).close()
    monkeypatch.setattr(database, "WAIT_S", 0.05)
    with closing(sqlite3.connect(path, isolation_level=None)) as link:
        link.execute("BEGIN EXCLUSIVE")
        with History(path) as history, pytest.raises(CannotTell, match="has held the book"):
            history.keep(sitting())
        link.execute("ROLLBACK")
    with History(path) as history:
        assert history.keep(sitting()).id == 1


def test_the_users_own_book_lies_in_the_data_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert database.default_path().is_relative_to(tmp_path)
    assert database.default_path().name == "book.sqlite"
