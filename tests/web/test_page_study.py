"""The trials of a belt on the page: the words of the study, its pictures, and what is wrong."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from beltpitch.store.machine_file import load
from tests.web.conftest import Windows
from tests.web.workbench import Server, served

MACHINE = """\
[machine]
name = "Heron"

[belts.y-left]
belt = "AT5 25 mm"
span = "412 +/- 1 mm"
target = "80 N"
loop = "2400 mm"
axis = "y"
study = "trials.csv"

[belts.y-right]
belt = "AT5 25 mm"
span = "412 +/- 1 mm"
target = "80 N"
loop = "2400 mm"
axis = "y"
study = "gone.csv"

[duty.y]
drive = "fixed"
mass = "8 kg"
acceleration = "3 m/s^2"
friction = "12 N"
force = "20 N"
near = "150 mm"
travel = "900 mm"
teeth = 20
radial = "250 N"
"""
LEVELS_N = (55, 70, 85, 100, 115, 85, 55, 115, 70, 100, 85, 85)
HEAD = "trial,aim,tension,reading,size error [um],leave out,note"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    rows = [
        f"{i},{n},{n} +/- 0.5 N,,{12 + 0.01 * (n - 88) ** 2 + 0.3 * (-1) ** i:.2f},,"
        for i, n in enumerate(LEVELS_N, 1)
    ]
    (tmp_path / "beltpitch.toml").write_text(MACHINE, encoding="utf-8")
    (tmp_path / "trials.csv").write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    with served(tmp_path, load(tmp_path / "beltpitch.toml")) as running:
        yield running


def test_what_the_trials_have_shown_is_told_and_drawn(server: Server) -> None:
    assert json.loads(server.ask("GET", "/shop")[2])["studies"] == ["y-left", "y-right"]
    status, _, body = server.ask("GET", "/study?of=y-left")
    record = json.loads(body)
    assert status == 200, record
    assert record["words"][0][0] == "size error"
    assert "best" in record["words"][0][1]
    assert len(record["pictures"]) == 1
    assert "12 trials" in record["pictures"][0]
    status, headers, picture = server.ask("GET", "/study.svg?of=y-left&index=0")
    assert (status, headers["content-type"]) == (200, "image/svg+xml")
    assert b"<svg" in picture


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/study?of=z", "the machine file names no study of z"),
        ("/study?of=y-right", "gone.csv"),
        ("/study.svg?of=y-left&index=7", "the study has 1 results"),
        ("/study.svg?of=y-left&index=-1", "the study has 1 results"),
    ],
)
def test_what_is_not_there_is_a_sentence(server: Server, path: str, words: str) -> None:
    status, _, body = server.ask("GET", path)
    assert 400 <= status < 500
    assert words in json.loads(body)["error"]


def test_the_trials_are_seen_in_a_browser(server: Server, windows: Windows) -> None:
    page = windows.open(f"http://{server.own}/")
    page.get_by_role("button", name="Trials of y-left").click()
    expect(page.locator("#study-h")).to_have_text("Trials of y-left")
    expect(page.locator("#study-words")).to_contain_text("size error")
    picture = page.locator("#study-pictures img")
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") > 0
    assert "12 trials" in (picture.get_attribute("alt") or "")
