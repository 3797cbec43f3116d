"""``beltpitch study`` as a user runs it: plan, record, learn, next, why, choose, report."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from beltpitch.store.machine_file import load
from beltpitch.terminal.main import run_with

PER_ROOT_N = 4.25  # Hz: tone of that span at one newton, near enough
Capture = pytest.CaptureFixture[str]
MACHINE = """\
[machine]
name = "Heron"
book = "heron.sqlite"

[belts.y-left]
belt = "AT5 25 mm"      # the left one
span = "412 +/- 1 mm"
loop = "2400 mm"
axis = "y"

[belts.y-right]
belt = "AT5 25 mm"
span = "412 +/- 1 mm"
loop = "2400 mm"
axis = "y"

[pairs.y]
belts = ["y-left", "y-right"]

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


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "beltpitch.toml").write_text(MACHINE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    return tmp_path


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(["study", *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def record(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    found = json.loads(out, parse_constant=pytest.fail)
    assert set(found) == {"schema", "study"}
    made: dict[str, Any] = found["study"]
    return made


def plan(capsys: Capture, name: str = "y-left") -> list[dict[str, Any]]:
    found = record(
        capsys, "plan", name, "--measure", "size error [um]", "--measure", "lost motion [um]",
        "--seed", "4",
    )  # fmt: skip
    tensions: list[dict[str, Any]] = found["plan"]
    return tensions


def fill(shop: Path, name: str, best_n: float = 85.0, *, pair: bool = False) -> None:
    """Fill a table with the results of an invented machine."""
    path = shop / f"trials-{name}.csv"
    rng = np.random.default_rng(4)
    lines = path.read_text(encoding="utf-8").splitlines()
    made = lines[:3]
    for line in lines[3:]:
        cells = line.split(",")
        tension = float(cells[1]) + rng.normal(0, 1)
        typed = f"{tension:.1f} +/- 0.8 N"
        size = f"{12 + 0.008 * (tension - best_n) ** 2 + rng.normal(0, 0.8):.1f}"
        lost = f"{26 + 0.9 * max(0, 70 - tension) + 0.08 * tension + rng.normal(0, 1):.1f}"
        front = [cells[0], cells[1], typed, *([typed] if pair else []), ""]
        made.append(",".join([*front, size, lost, "", ""]))
    path.write_text("\n".join(made) + "\n", encoding="utf-8")


def test_a_plan_is_shown_written_and_named_in_the_machine_file(shop: Path, capsys: Capture) -> None:
    code, out, err = run(capsys, "plan", "y-left", "--measure", "size error [um]", "--seed", "4")
    assert code == 0
    assert "the slack strand loses 94% of the pull" in out
    assert "size error [um]" in out
    assert "Power off" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "trials-y-left.csv is now the study of y-left" in err
    text = (shop / "beltpitch.toml").read_text(encoding="utf-8")
    assert 'study = "trials-y-left.csv"' in text
    assert "# the left one" in text
    code, _, err = run(capsys, "plan", "y-left", "--measure", "size error [um]")
    assert code == 2
    assert "is there already" in err


def test_the_plan_stays_inside_the_window(shop: Path, capsys: Capture) -> None:
    tensions = [one["tension_n"] for one in plan(capsys)]
    assert len(tensions) == 12
    assert min(tensions) == pytest.approx(52.5)
    assert max(tensions) == pytest.approx(125)
    code, _, err = run(
        capsys, "plan", "y-left", "--measure", "e [um]", "--high", "160 N", "--table", "t.csv"
    )
    assert code == 2
    assert "--high 160 N is outside the window of y-left, which ends at 125 N" in err


def test_learn_shows_a_sketch_the_optimum_and_the_mechanics(shop: Path, capsys: Capture) -> None:
    plan(capsys)
    fill(shop, "y-left")
    code, out, err = run(capsys, "learn", "y-left", "--picture", "study.svg")
    assert code == 0, err
    assert "size error is best at" in out
    assert "lost motion is best at 7" in out
    for words in ("window", "optimum", "try next", "used", "quadratic", "together", "expected"):
        assert words in out
    assert max(len(line) for line in out.splitlines()) <= 80
    for number in (1, 2):
        assert (shop / f"study-{number}.svg").read_bytes().startswith(b"<?xml")
    found = record(capsys, "learn", "y-left")
    best = found["measures"][0]
    assert best["word"] == "optimum"
    assert best["interval_n"][0] < 85 < best["interval_n"][1]
    assert 0.008 * (best["best_n"] - 85) ** 2 < 0.05 * 12.8  # of what the window's ends differ by
    assert found["window_n"] == pytest.approx([52.5, 125])
    assert found["expected"]["slack_below_n"] == pytest.approx(52.5)


def test_next_and_why_say_their_part(shop: Path, capsys: Capture) -> None:
    plan(capsys)
    fill(shop, "y-left")
    _, out, _ = run(capsys, "next", "y-left")
    assert "next" in out
    assert "one cut at" in out
    _, out, _ = run(capsys, "why", "y-left")
    assert "a strand goes slack below 52.5 N" in out
    assert "about what the belt explains" in out


def test_the_chosen_tension_is_the_target_with_its_source(shop: Path, capsys: Capture) -> None:
    plan(capsys, "y")
    fill(shop, "y", pair=True)
    code, _, err = run(capsys, "choose", "y", "--by", "size error")
    assert code == 0, err
    machine = load(shop / "beltpitch.toml")
    for name in ("y-left", "y-right"):
        made = machine.named(name)
        assert made.windows.verdict is not None
        assert made.windows.verdict.target_n == pytest.approx(85, abs=5)
        (source,) = made.windows.verdict.sources
        assert source.startswith("study of 12 trials, trials-y.csv, 20")
    # the target of the last study does not narrow the window of the next
    assert record(capsys, "learn", "y")["window_n"] == pytest.approx([52.5, 125])
    code, _, err = run(capsys, "choose", "y", "--tension", "200 N")
    assert code == 2
    assert "outside the window" in err


def test_a_trial_is_recorded_from_the_book_and_typed(shop: Path, capsys: Capture) -> None:
    plan(capsys)
    for hertz in ("55 Hz", "56 Hz"):
        assert run_with(["tension", "y-left", "--frequency", hertz]) == 0
    capsys.readouterr()
    both = ("--result", "size error=12.5", "--result", "lost motion=30")
    code, _, err = run(capsys, "record", "y-left", "--trial", "1", "--reading", "1", *both)
    assert code == 0, err
    code, _, err = run(capsys, "record", "y-left", "--trial", "2", "--tension", "90 +/- 1 N", *both)
    assert code == 0
    assert "trial 2 written into trials-y-left.csv: 2 of 12 made" in err
    before = (shop / "trials-y-left.csv").read_bytes()
    for wrong, words in (
        (("--trial", "3", "--reading", "9", *both), "no entry 9 in the book"),
        (("--trial", "3", "--tension", "90 N"), '"size error" is empty'),
        (("--trial", "3", "--result", "size error"), 'write it as "size error=23"'),
        (("--trial", "3"), "nothing to record"),
    ):
        code, _, err = run(capsys, "record", "y-left", *wrong)
        assert code == 2
        assert words in err
    assert (shop / "trials-y-left.csv").read_bytes() == before


def test_what_was_recorded_and_chosen_is_told_as_json(shop: Path, capsys: Capture) -> None:
    plan(capsys)
    given = ["--trial", "1", "--tension", "81 N", "--result", "size error=12.5"]
    made = record(capsys, "record", "y-left", *given, "--result", "lost motion=-")
    assert made["table"].endswith("trials-y-left.csv")
    assert made["recorded"]["tension_n"] == pytest.approx(81)
    assert made["recorded"]["results"] == [12.5, None]
    assert made["recorded"]["planned"]
    fill(shop, "y-left")
    target = record(capsys, "choose", "y-left", "--tension", "85 N")["target"]
    assert target["target_n"] == pytest.approx(85)
    assert target["belts"] == ["y-left"]
    assert target["source"] in (shop / "beltpitch.toml").read_text(encoding="utf-8")


def test_readings_share_the_error_of_their_roll_and_tape(shop: Path, capsys: Capture) -> None:
    plan(capsys)
    shifts = (0.0, 0.4)
    number = 0
    for aim in (54, 70, 88, 106, 122):
        for shift in shifts:
            number += 1
            hertz = PER_ROOT_N * (aim + shift) ** 0.5
            strands = ["--frequency", f"{hertz:.3f} Hz", "--strand"]
            spans = ["--span", "412 mm", "--span", "equal"]
            assert run_with(["tension", "y-left", *spans, *strands, "front", *strands, "back"]) == 0
            size = 12 + 0.01 * (aim - 85) ** 2 + shift
            capsys.readouterr()
            code, _, err = run(
                capsys, "record", "y-left", "--trial", str(number), "--reading", str(number),
                "--result", f"size error={size:.2f}", "--result", "lost motion=-",
            )  # fmt: skip
            assert code == 0, err
    found = record(capsys, "learn", "y-left")["measures"][0]
    assert found["word"] == "optimum"
    assert set(found["shared_by"]) >= {"linear mass", "span"}
    own, whole = found["interval_n"], found["interval_with_shared_n"]
    assert whole[0] < own[0] < own[1] < whole[1]


def test_the_report_shows_the_study(shop: Path, capsys: Capture) -> None:
    plan(capsys)
    assert run_with(["report"]) == 0
    assert "no trial filled in yet" in (shop / "report.html").read_text(encoding="utf-8")
    fill(shop, "y-left")
    assert run_with(["report"]) == 0
    page = (shop / "report.html").read_text(encoding="utf-8")
    assert "Study of y-left" in page
    assert "size error is best at" in page
    assert page.count("Try next") == 2


def test_without_a_machine_file_the_ends_must_be_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    monkeypatch.chdir(tmp_path)
    head = ("plan", "--belt", "2GT 9 mm", "--measure", "noise [dB]")
    code, _, err = run(capsys, *head)
    assert code == 2
    assert "nobody names the upper end of the window of 2GT 9 mm" in err
    assert '--high "60 N"' in err
    found = record(capsys, *head, "--high", "60 N", "--trials", "7", "--seed", "1")
    assert found["window_n"] == pytest.approx([13.3, 60], abs=0.1)
    code, _, err = run(capsys, "learn", "--table", "trials.csv", "--belt", "2GT 9 mm")
    assert code == 2
    assert "has no trial filled in yet" in err
    code, _, err = run(capsys, "learn", "y-left")
    assert code == 2
    assert "there is no beltpitch.toml in this folder" in err


def test_a_study_that_cannot_tell_ends_with_one_line_and_exit_1(
    shop: Path, capsys: Capture
) -> None:
    (shop / "t.csv").write_text(
        "trial,tension,size error [um]\n" + "".join(f"{i},60 N,{i}\n" for i in range(1, 8))
    )
    code, out, err = run(capsys, "learn", "y-left", "--table", "t.csv")
    assert (code, out) == (1, "")
    assert "all trials lie at one tension" in err


def test_a_terminal_without_fine_signs_gets_plain_ones(shop: Path, capsys: Capture) -> None:
    import os
    import subprocess
    import sys

    plan(capsys)
    fill(shop, "y-left")
    root = Path(__file__).parents[2]
    env = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONPATH": str(root), "NO_COLOR": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "beltpitch", "study", "learn", "y-left"],
        cwd=shop, env=env, capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert b"=====" in done.stdout
    assert b"o trial (8 several)  . " in done.stdout
