"""``beltpitch machine`` and a belt's name in place of the long options, as a person types them."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from beltpitch.store.machine_file import load
from beltpitch.terminal.main import run_with

ROOT = Path(__file__).resolve().parents[2]
Capture = pytest.CaptureFixture[str]
BELTS = [
    "--add-belt", "y-left; 2GT 9 mm; 412 +/- 1 mm; ends=clamp,idler; target=40 N; within=25%",
    "--add-belt", "y-right; 2GT 9 mm; 410 +/- 1 mm; ends=clamp,idler",
    "--add-pair", "y; y-left; y-right",
]  # fmt: skip


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in an empty folder, with the book of nobody else."""
    folder = tmp_path / "router"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(list(arguments))
    out, err = capsys.readouterr()
    return code, out, err


def run_json(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    record: dict[str, Any] = json.loads(out)
    assert record["schema"] == 1
    assert len(record) == 2
    return record


# --- machine new, add, check, show ---------------------------------------------------------------


def test_new_without_questions_writes_a_file_that_is_right(capsys: Capture, home: Path) -> None:
    code, _, err = run(capsys, "machine", "new", "--name", "Northlight", *BELTS)
    assert code == 0, err
    machine = load(home / "beltpitch.toml")
    assert machine.name == "Northlight"
    assert list(machine.belts) == ["y-left", "y-right"]
    assert machine.pair("y").belts == ("y-left", "y-right")
    assert run(capsys, "machine", "check") == (0, "beltpitch.toml: no mistake found\n", "")
    code, _, err = run(capsys, "machine", "new", *BELTS)
    assert code == 2
    assert "is there already" in err


@pytest.mark.parametrize(
    ("belt", "said"),
    [
        ("y-left; 2GTX 9 mm; 412 mm", 'no belt "2GTX 9 mm"'),
        ("y-left; 2GT 9 mm; 412 Hz", "is no unit of length"),
        ("y-left; 2GT 9 mm; 412 mm; spam=3", 'no key "spam"'),
        ("; ; ; ;", 'write "name; belt; span"'),
        ("-y; 2GT 9 mm; 412 mm", "begins with -"),
        ("a; b; c; d", 'write "name; belt; span"'),
    ],
)
def test_new_refuses_in_one_line_and_leaves_no_file(
    capsys: Capture, home: Path, belt: str, said: str
) -> None:
    code, out, err = run(capsys, "machine", "new", "--add-belt", belt)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    assert list(home.iterdir()) == []


def test_new_asks_on_a_terminal_only(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    code, _, err = run(capsys, "machine", "new")
    assert code == 2
    assert "nobody is there to ask: give --add-belt" in err


def answered(home: Path, answers: list[str], *arguments: str) -> str:
    """Run the command on a pseudo-terminal, answer its questions, return what was shown."""
    main, child = pty.openpty()
    code = "from beltpitch.terminal.main import run; run()"
    process = subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stdin=child, stdout=child, stderr=child, cwd=home,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    os.close(child)
    shown = ""
    for answer in answers:
        shown += until_asked(main)
        os.write(main, f"{answer}\n".encode())
    while process.poll() is None:
        time.sleep(0.02)
    shown += os.read(main, 65536).decode()
    os.close(main)
    return shown


def until_asked(terminal: int) -> str:
    shown = ""
    while not shown.endswith(": "):
        shown += os.read(terminal, 4096).decode()
    return shown


def test_new_asks_one_thing_at_a_time_and_asks_again_what_it_cannot_read(home: Path) -> None:
    shown = answered(
        home,
        [
            "", "60 d",
            "y-left", "2GTX", "2GT 9 mm", "clamp,idler", "412 +/- 1 mm", "X = 100", "40 N",
            "y-right", "2GT 9 mm", "", "410 Hz", "410 mm", "", "",
            "", "y-left y-right", "",
        ],
        "machine", "new",
    )  # fmt: skip
    assert "Name of the machine [router]: " in shown
    assert 'no belt "2GTX"' in shown
    assert "is no unit of length" in shown
    machine = load(home / "beltpitch.toml")
    assert machine.name == "router"
    assert machine.check_every_days == pytest.approx(60)
    left, right = machine.belt("y-left"), machine.belt("y-right")
    assert (left.ends, left.park, left.target) == ("clamp,idler", "X = 100", "40 N")
    assert (right.ends, right.park, right.target) == ("pulley,pulley", None, None)
    assert machine.pair("y-left and y-right").belts == ("y-left", "y-right")


def test_new_and_add_give_the_machine_as_json(capsys: Capture) -> None:
    made = run_json(capsys, "machine", "new", "one.toml", "--add-belt", "a; 2GT 9 mm; 412 mm")
    assert made["machine"]["file"] == "one.toml"
    assert [b["name"] for b in made["machine"]["belts"]] == ["a"]
    more = run_json(
        capsys, "machine", "add", "--machine", "one.toml", "--add-belt", "b; 2GT 9 mm; 410 mm",
        "--add-pair", "y; a; b",
    )  # fmt: skip
    assert [b["span_mm"] for b in more["machine"]["belts"]] == pytest.approx([412, 410])
    assert more["machine"]["pairs"] == [{"name": "y", "belts": ["a", "b"]}]


def test_add_keeps_the_rest_and_check_points_at_mistakes(capsys: Capture, home: Path) -> None:
    path = home / "beltpitch.toml"
    path.write_text('# mine\n[belts.a]\nbelt = "2GT 9 mm"   # old\n')
    assert run(capsys, "machine", "add", "--add-belt", "b; HTD5M-15; 300 mm")[0] == 0
    assert "# mine" in path.read_text()
    assert "# old" in path.read_text()
    assert run(capsys, "machine", "add")[0] == 2
    path.write_text(path.read_text().replace("span", "spam"))
    code, out, _ = run(capsys, "machine", "check")
    assert code == 2
    assert out == 'beltpitch.toml:7:1: [belts.b] has no key "spam"; did you mean span?\n'
    record = json.loads(run(capsys, "machine", "check", "--json")[1])
    assert record["machine"]["mistakes"][0]["line"] == 7


def test_show_lists_belts_with_their_windows(capsys: Capture) -> None:
    run(capsys, "machine", "new", *BELTS)
    out = run(capsys, "machine", "show")[1]
    assert "30.0 N to 50.0 N" in out
    assert "y: y-left and y-right" in out
    assert "40 N: the user's own target" in out
    record = run_json(capsys, "machine", "show")["machine"]
    assert record["belts"][0]["window_n"] == pytest.approx([30.0, 50.0])
    assert record["pairs"] == [{"name": "y", "belts": ["y-left", "y-right"]}]


def test_show_says_where_a_target_comes_from(capsys: Capture, home: Path) -> None:
    one = "y; 2GT 9 mm; 412 +/- 1 mm; target=40 N; target_from=study of the ripple"
    code, _, err = run(capsys, "machine", "new", "--name", "router", "--add-belt", one)
    assert code == 0, err
    assert "written: 1 belt\n" in err
    assert "40 N: study of the ripple" in run(capsys, "machine", "show")[1]
    record = run_json(capsys, "machine", "show")["machine"]
    assert record["belts"][0]["target_from"] == "study of the ripple"


# --- a name in place of the long options ---------------------------------------------------------


def test_a_name_stands_for_the_long_options_and_the_file_is_said(capsys: Capture) -> None:
    run(capsys, "machine", "new", *BELTS)
    code, out, err = run(capsys, "tension", "y-left", "--frequency", "70.2", "--no-keep", "--json")
    assert code == 0
    assert "using beltpitch.toml of this folder (router)" in err
    named = json.loads(out)["readings"][0]
    typed = run_json(
        capsys, "tension", "--frequency", "70.2", "--belt", "2GT 9 mm", "--span", "412 +/- 1 mm",
        "--ends", "clamp,idler", "--target", "40 N", "--within", "25%",
    )["readings"][0]  # fmt: skip
    for key in ("preload_n", "preload_u_n", "window_n", "verdict", "span_mm", "ends"):
        assert named[key] == typed[key]


def test_options_beside_a_name_stand_over_the_file(capsys: Capture) -> None:
    run(capsys, "machine", "new", *BELTS)
    record = run_json(
        capsys, "tension", "y-left", "--frequency", "70.2", "--span", "300 mm", "--no-keep"
    )
    assert record["readings"][0]["span_mm"] == 300
    assert record["readings"][0]["ends"] == "clamp,idler"


def test_a_pairs_name_takes_the_frequencies_of_both(capsys: Capture) -> None:
    run(capsys, "machine", "new", *BELTS)
    given = ["--frequency", "70", "--frequency", "70", "--frequency", "71", "--frequency", "71"]
    readings = run_json(capsys, "tension", "y", *given, "--no-keep")["readings"]
    assert [r["span_mm"] for r in readings] == [412, 410]
    assert [round(r["frequency_hz"], 3) for r in readings] == [70, 71]
    code, _, err = run(capsys, "tension", "y", "--frequency", "70", "--no-keep")
    assert code == 2
    assert "y-left and y-right: give --frequency as many times for the first" in err


def test_machine_names_another_file(capsys: Capture, home: Path) -> None:
    other = home / "laser.toml"
    assert run(capsys, "machine", "new", str(other), "--add-belt", "x; HTD5M-15; 300 mm")[0] == 0
    code, out, err = run(
        capsys, "tension", "x", "--machine", str(other), "--frequency", "90", "--no-keep"
    )
    assert code == 0
    assert "HTD 5M 15 mm" in out
    assert err == ""


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("tension", "y-letf", "--frequency", "70"), "did you mean y-left"),
        (
            ("tension", "--machine", "beltpitch.toml", "--frequency", "70"),
            "needs a belt's name: y-left",
        ),
        (
            ("tension", "y-left", "--machine", "no.toml", "--frequency", "70"),
            "no machine file no.toml",
        ),
        (("recording", "y-left"), "y-left is a belt's name: add the recording after it"),
        (("recording", "y-left", "no.wav"), "no.wav"),
        (
            ("tension", "y-left", "--frequency", "70", "--no-keep", "--note", "x"),
            "belong to a kept reading",
        ),
        (
            ("tension", "y-left", "--frequency", "70", "--tensioned", "--new-belt"),
            "give one of them",
        ),
        (("tension", "y-left", "--frequency", "70", "--taken", "soon"), "'soon' is no date"),
        (
            ("tension", "y-left", "--frequency", "70", "--temperature", "20 mm"),
            "no unit of temperature",
        ),
    ],
)
def test_a_wrong_request_is_one_line(
    capsys: Capture, arguments: tuple[str, ...], said: str
) -> None:
    run(capsys, "machine", "new", *BELTS)
    code, _, err = run(capsys, *arguments)
    assert code == 2
    assert said in err
    assert "Traceback" not in err


def test_a_name_without_a_machine_says_how_to_get_one(capsys: Capture) -> None:
    code, out, err = run(capsys, "tension", "y-left", "--frequency", "70")
    assert (code, out) == (2, "")
    assert "beltpitch machine new" in err


def test_a_broken_file_is_no_hindrance_to_the_long_options(capsys: Capture, home: Path) -> None:
    (home / "beltpitch.toml").write_text("not toml")
    belt = ["--belt", "2GT 9 mm", "--span", "412 mm"]
    assert run(capsys, "tension", "--frequency", "70", *belt)[0] == 0
    code, _, err = run(capsys, "tension", "y-left", "--frequency", "70")
    assert code == 2
    assert "beltpitch.toml:1:" in err
