"""``beltpitch report`` as a person types it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beltpitch.terminal.main import run_with

Capture = pytest.CaptureFixture[str]
FILE = """\
[machine]
name = "Northlight"
[belts.y]
belt = "2GT 9 mm"
span = "412 mm"
target = "40 N"
"""


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "router"
    folder.mkdir()
    (folder / "beltpitch.toml").write_text(FILE)
    monkeypatch.chdir(folder)
    return folder


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(list(arguments))
    out, err = capsys.readouterr()
    return code, out, err


def test_the_page_is_written_and_the_place_is_said(capsys: Capture, home: Path) -> None:
    run(capsys, "tension", "y", "--frequency", "70")
    code, out, err = run(capsys, "report")
    assert (code, out) == (0, "")
    assert "Northlight, 1 belts, in report.html" in err
    assert "2GT 9 mm" in (home / "report.html").read_text()


def test_json_names_the_file_and_holds_the_trends(capsys: Capture, home: Path) -> None:
    run(capsys, "tension", "y", "--frequency", "70")
    code, out, _ = run(capsys, "report", "--out", "x.html", "--json")
    assert code == 0
    record = json.loads(out)
    assert set(record) == {"schema", "report"}
    assert record["report"]["file"] == "x.html"
    assert record["report"]["belts"][0]["belt"] == "y"


def test_a_machine_of_the_book_alone(capsys: Capture, home: Path) -> None:
    run(capsys, "tension", "y", "--frequency", "70")
    (home / "beltpitch.toml").unlink()
    assert run(capsys, "report", "--out", "a.html")[0] == 0
    assert run(capsys, "report", "--of", "Northlight", "--out", "b.html")[0] == 0
    code, _, err = run(capsys, "report", "--of", "mill")
    assert code == 2
    assert 'no reading of a machine "mill"' in err


def test_a_wrong_place_is_one_line(capsys: Capture, home: Path) -> None:
    run(capsys, "tension", "y", "--frequency", "70")
    assert "is a folder" in run(capsys, "report", "--out", ".")[2]
    assert "cannot be written" in run(capsys, "report", "--out", "no/x.html")[2]
    (home / "beltpitch.toml").unlink()
    assert "nothing was kept" in run(capsys, "report", "--book", "none.sqlite")[2]
