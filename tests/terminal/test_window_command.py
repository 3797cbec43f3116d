"""``beltpitch window`` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from beltpitch.terminal.main import run_with

Capture = pytest.CaptureFixture[str]
AXIS = [
    *("--belt", "AT5 25", "--drive", "fixed", "--mass", "8 kg", "--acceleration", "5000"),
    *("--friction", "12 N", "--force", "60 N", "--teeth", "20", "--torque", "2 N m"),
    *("--radial", "300 N", "--loop", "2400", "--near", "150", "--travel", "900"),
]


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(["window", *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def record(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert (code, err) == (0, "")
    found = json.loads(out, parse_constant=pytest.fail)
    assert set(found) == {"schema", "window"}
    window: dict[str, Any] = found["window"]
    return window


def test_three_answers_stand_side_by_side_with_marks_on_a_ruler(capsys: Capture) -> None:
    code, out, _ = run(capsys, "--belt", "2GT 9 mm", "--target", "60 N", "--details")
    assert code == 0
    for words in (
        "by belt",
        "by duty",
        "by target",
        "60.0 N best",
        "working tension",
        "▒",
    ):
        assert words in out
    assert "81.0 N to 95.4 N  set point: routers" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_a_belt_alone_has_its_recommended_range(capsys: Capture) -> None:
    found = record(capsys, "--belt", "2GT 9 mm")
    assert found["window_n"] == pytest.approx([13.3, 34.0], abs=0.05)
    assert found["recommended_n"] == pytest.approx([13.3, 17.0, 34.0], abs=0.05)
    assert found["recommended_basis"] == "published"
    assert found["marks_apart_mm"] == pytest.approx([1000.46, 1000.59, 1001.18], abs=0.01)
    assert found["by_duty"] is None
    assert found["by_target"] is None
    _, out, _ = run(capsys, "--belt", "2GT 9 mm")
    assert "13.3 N to 34.0 N, 17.0 N best (published figures), preload" in out
    assert "apart on the slack belt stand 1000.5 mm apart" in " ".join(out.split())


def test_a_whole_axis_in_json(capsys: Capture) -> None:
    found = record(
        capsys,
        *AXIS,
        *("--steps-per-mm", "80", "--set-at", "18 degC", "--runs-at", "35 degC"),
    )
    assert found["window_n"] == pytest.approx([127.4, 150])
    assert found["by_duty"]["low"]["kind"] == "slack strand"
    assert found["by_duty"]["high"]["kind"] == "shaft"
    duty = found["duty"]
    assert duty["peripheral_n"] == pytest.approx(112)
    assert sum(duty["parts_n"].values()) == pytest.approx(112)
    assert duty["teeth_in_mesh"] == 10
    assert len(found["axis"]) == 5
    assert found["axis"][0]["stiffness_n_per_mm"] == pytest.approx(
        437.5 * (1 / 0.15 + 1 / 2.25), rel=1e-6
    )
    assert found["preload_n"] == pytest.approx(138.7)
    assert found["steps_per_mm"] == pytest.approx(80 / (1 + 138.7 / 437.5e3))
    assert found["warmth_n"] == pytest.approx(437.5e3 * 11e-6 * 17)
    assert "--acceleration 5000 taken as 5000 mm/s^2" in found["notes"]
    assert any("at full pull the shaft carries" in w for w in found["warnings"])


def test_an_empty_range_is_said_with_what_opens_it(capsys: Capture) -> None:
    heavy = ["--belt", "AT5 25", "--drive", "fixed", "--mass", "200 kg", "--acceleration", "5000"]
    found = record(capsys, *heavy)
    assert found["window_n"] is None
    assert found["by_duty"]["empty"] is True
    assert any("times as wide" in way for way in found["opens"])
    code, out, _ = run(capsys, *heavy)
    assert code == 0
    assert "EMPTY" in out
    assert "what would open it" in out


def test_forces_in_json_are_newtons_whatever_is_shown(capsys: Capture) -> None:
    assert record(capsys, "--belt", "2GT 9", "--unit", "lbf") == record(capsys, "--belt", "2GT 9")
    _, out, _ = run(capsys, "--belt", "2GT 9 mm", "--unit", "lbf")
    assert "3.0 lbf to 7.6 lbf" in out


def test_a_rotary_drive(capsys: Capture) -> None:
    found = record(
        capsys,
        *("--belt", "HTD5M-15", "--drive", "rotary", "--teeth", "20"),
        *("--power", "60 W", "--speed", "1400 rpm", "--service-factor", "1.5"),
    )
    speed = 1400 / 60 * 20 * 0.005
    assert found["duty"]["peripheral_n"] == pytest.approx(1.5 * 60 / speed)
    assert found["duty"]["running_n"] > 0
    assert found["axis"] == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "a window needs the belt"),
        (["--belt", "2GT 9", "--target", "30 mm"], "--target '30 mm': 'mm' is no unit of force"),
        (["--belt", "AT5 25", "--target", "2 kN"], "not below the 1750 N this belt may carry"),
        (["--belt", "2GT 9", "--mass", "3 kg"], "a duty needs its drive"),
        (["--belt", "2GT 9", "--drive", "fixed", "--mass=-3 kg"], "moving mass is -3 kg"),
        (["--belt", "2GT 9", "--drive", "fixed", "--mass", "3 kg", "--teeth", "0"], "0 teeth"),
        (["--belt", "2GT 9", "--radial", "30 N"], "--radial: the driving pulley is missing"),
        (["--belt", "2GT 9", "--drive", "rope", "--mass", "3 kg"], "no drive is called 'rope'"),
        (["--belt", "2GT 9", "--drive", "rotary", "--mass", "3 kg"], "no moving mass"),
        (["--belt", "2GT 9", "--drive", "rotary", "--torque", "1"], "needs its driving pulley"),
        (["--belt", "2GT 9", "--drive", "fixed", "--power", "3 W"], "belong to --drive rotary"),
        (["--belt", "2GT 9", "--drive", "fixed", "--loop", "900"], "lengths go together"),
        (["--belt", "2GT 9", "--set-at", "18 degC"], "two temperatures go together"),
        (["--linear-mass", "12 g/m", "--steps-per-mm", "80"], "one of them is not known"),
        (
            ["--linear-mass", "12 g/m", "--set-at", "18", "--runs-at", "20"],
            "needs the belt's stiffness and cord",
        ),
        (["--linear-mass", "12 g/m", "--teeth", "20"], "need the belt's tooth spacing"),
        (["--belt", "2GT 9", "--within", "0%", "--target", "30 N"], "greater than zero"),
        (["--belt", "2GT 9", "--limit", "0 N"], "greater than zero"),
    ],
)
def test_a_bad_request_is_one_line_and_exit_2(
    capsys: Capture, arguments: list[str], said: str
) -> None:
    code, out, err = run(capsys, *arguments)
    assert code == 2
    assert out == ""
    assert said in err
    assert err.count("\n") == 1


# --- by a name of the machine file --------------------------------------------------------------

MACHINE = """
[machine]
name = "Heron"
[belts.y-left]
belt = "AT5 25 mm"
loop = "2400 mm"
axis = "y"
[belts.y-right]
belt = "AT5 25 mm"
loop = "2400 mm"
axis = "y"
target = "60 N"
within = "20 %"
[belts.x]
belt = "2GT 9 mm"
loop = "1400 mm"
[pairs.y]
belts = ["y-left", "y-right"]
[duty.y]
drive = "fixed"
belts = 2
mass = "14 kg"
acceleration = "4 m/s^2"
force = "40 N"
near = "150 mm"
travel = "900 mm"
teeth = 20
radial = "250 N"
"""
SAME = [
    "--belt", "AT5 25 mm", "--loop", "2400 mm", "--drive", "fixed", "--belts", "2",
    "--mass", "14 kg", "--acceleration", "4 m/s^2", "--force", "40 N", "--near", "150 mm",
    "--travel", "900 mm", "--teeth", "20", "--radial", "250 N",
]  # fmt: skip


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "beltpitch.toml").write_text(MACHINE)


def said_by(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code = run_with(["window", *arguments, "--json"])
    out, err = capsys.readouterr()
    assert code == 0, err
    found: dict[str, Any] = json.loads(out)["window"]
    return found


@pytest.mark.usefixtures("machine")
def test_a_name_brings_belt_and_duty(capsys: Capture) -> None:
    assert said_by(capsys, "y-left") == said_by(capsys, *SAME)
    with_target = said_by(capsys, *SAME, "--target", "60 N", "--within", "20%")
    assert said_by(capsys, "y-right") == with_target


@pytest.mark.usefixtures("machine")
def test_an_option_stands_over_the_file(capsys: Capture) -> None:
    mass = SAME.index("--mass")
    lighter = [*SAME[: mass + 1], "3 kg", *SAME[mass + 2 :]]
    assert said_by(capsys, "y-left", "--mass", "3 kg") == said_by(capsys, *lighter)


@pytest.mark.usefixtures("machine")
def test_a_belt_without_duty_has_its_own_window_only(capsys: Capture) -> None:
    assert said_by(capsys, "x") == said_by(capsys, "--belt", "2GT 9 mm")


@pytest.mark.usefixtures("machine")
@pytest.mark.parametrize(
    ("words", "said"),
    [(["y"], "y-left or y-right"), (["z"], "z"), (["--machine", "beltpitch.toml"], "name")],
    ids=["pair", "unknown", "none"],
)
def test_a_name_that_is_no_belt_is_refused(capsys: Capture, words: list[str], said: str) -> None:
    code = run_with(["window", *words])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert said in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["window", "--target", "60 N"], "a target of 60 N is above 34.0 N"),
        (["frequency", "--span", "412", "--tension", "60 N"], "a target of 60 N is above 34.0 N"),
        (["tension", "--span", "412", "--frequency", "66", "--target", "60 N"], "above 34.0 N"),
        (["tension", "--span", "412", "--frequency", "300"], "More than tears this belt"),
        (["pair", "--span", "412", "--first", "300", "--second", "301"], "More than tears this"),
    ],
)
def test_what_is_beyond_the_belt_is_said_before_any_figure(
    capsys: Capture, words: list[str], said: str
) -> None:
    code = run_with([words[0], "--belt", "2GT 9 mm", *words[1:]])
    lines = capsys.readouterr().out.splitlines()
    assert code == 0
    first = next(i for i, line in enumerate(lines) if line.startswith("  "))
    assert lines[first].lstrip().startswith("warning")
    assert said in " ".join(line.strip() for line in lines[first : first + 2])


def test_a_target_that_tears_the_belt_is_refused_everywhere(capsys: Capture) -> None:
    for command in (
        "window --target",
        "tension --span 412 --frequency 66 --target",
        "frequency --span 412 --tension",
    ):
        code = run_with([*command.split(), "2000 N", "--belt", "2GT 9 mm"])
        out, err = capsys.readouterr()
        assert (code, out) == (2, "")
        assert "2000 N would break a 2GT 9 mm (its breaking load: 594 N)" in err
