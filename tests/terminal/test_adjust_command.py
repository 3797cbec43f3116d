"""``beltpitch adjust`` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.terminal.main import run_with

Capture = pytest.CaptureFixture[str]
SCREW = ["--drive", "fixed", "--thread", "M4", "--loop", "1400 mm"]
BASE = ["--belt", "3GT 9 mm", "--target", "60 N", *SCREW]


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(["adjust", *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def record(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert (code, err) == (0, "")
    found = json.loads(out, parse_constant=pytest.fail)
    assert set(found) == {"schema", "adjust"}
    adjust: dict[str, Any] = found["adjust"]
    return adjust


def test_a_first_turn_says_how_far_what_to_expect_and_the_cautions(capsys: Capture) -> None:
    code, out, _ = run(capsys, *BASE, "--reading", "30 +/- 1 N", "--details")
    assert code == 0
    for words in ("Tighten by", "flats of a hex screw", "to and fro three", "Power off", "▒", "◆"):
        assert words in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_the_second_step_tells_the_stiffness_found(capsys: Capture) -> None:
    first = record(capsys, *BASE, "--reading", "30 N")
    assert first["action"] == "tighten"
    assert first["ea_n"] is None
    assert first["flats"] == pytest.approx(6 * first["turns"])
    assert first["degrees"] == pytest.approx(360 * first["turns"])
    second = record(capsys, *BASE, "--reading", "30 N", "--reading", "50 N", "--turned", "0.6")
    assert second["turned"] == [0.6]
    assert 30 < second["rate_n_per_turn"] < 46
    assert second["ea_n"] == pytest.approx(second["rate_n_per_turn"] * 1.4 / 1.4e-3)


def test_turns_may_be_given_as_flats_or_degrees(capsys: Capture) -> None:
    both = ["--reading", "30 N", "--reading", "40 N"]
    answers = [
        record(capsys, *BASE, *both, "--turned", text)
        for text in ("0.5", "3 flats", "180 deg", "0.5 turns")
    ]
    assert all(a["turned"] == [pytest.approx(0.5)] for a in answers)
    off = record(capsys, *BASE, "--reading", "80 N", "--reading", "70 N", "--turned=-0.5")
    assert off["turned"] == [-0.5]


def test_without_a_target_the_recommended_tension_is_aimed_at(capsys: Capture) -> None:
    found = record(capsys, "--belt", "2GT 9 mm", "--reading", "12 N", *SCREW)
    assert found["target_n"] == 17.0
    assert "target 17 N, what is recommended for this belt" in found["notes"]


def test_readings_may_be_frequencies(capsys: Capture) -> None:
    narrow = ["--belt", "2GT 9 mm", "--target", "32 N", *SCREW]
    found = record(capsys, *narrow, "--span", "412 +/- 1 mm", "--frequency", "66.3 Hz")
    assert found["readings_n"] == [pytest.approx(37.6, abs=0.2)]


def test_readings_may_be_recordings(capsys: Capture, tmp_path: Path) -> None:
    paths = []
    for name, hz in (("before", 94.6), ("after", 105.0)):
        path = tmp_path / f"{name}.wav"
        save_sound(path, pluck_recording(hz, plucks=3, decay_s=0.25, noise=1e-3, seed=3), 48e3)
        paths.append(str(path))
    heard = record(
        capsys,
        "--belt",
        "3GT 9 mm",
        "--target",
        "150 N",
        *SCREW,
        "--span",
        "412 mm",
        *paths,
        "--turned",
        "0.8",
    )
    low, high = heard["readings_n"]
    assert high / low == pytest.approx((105.0 / 94.6) ** 2, rel=0.01)
    assert heard["ea_n"] is not None


def test_a_belt_that_gives_no_tone_is_first_taken_up(capsys: Capture) -> None:
    found = record(capsys, *BASE, "--slack")
    assert (found["action"], found["turns"]) == ("take up slack", 0)
    assert found["expected_n"] is None


def test_the_loop_may_come_from_the_belts_own_name_or_from_pulleys(capsys: Capture) -> None:
    named = ["--belt", "210-3GT-6", "--target", "30 N", "--drive", "rotary", "--thread", "0.7 mm"]
    found = record(capsys, *named, "--reading", "20 N")
    assert found["loop_mm"] == pytest.approx(210)
    pulleys = [*("--centre", "300 mm"), *("--teeth", "20", "--teeth", "20")]
    found = record(capsys, *named, *pulleys, "--reading", "20 N")
    assert found["loop_mm"] == pytest.approx(660)


def test_a_fraction_of_a_turn_and_a_thread_with_its_pitch_are_read(capsys: Capture) -> None:
    asked = ["--target", "20 N", "--tensioner", "idler", "--reading", "12 N", "--reading", "16 N"]
    spelled = ["--belt", "GT2 6 mm x 852", "--thread", "M3x0.5", "--turned", "1/4"]
    plain = ["--belt", "2GT 6 mm", "--loop", "852 mm", "--thread", "0.5 mm", "--turned", "0.25"]
    first, second = record(capsys, *asked, *spelled), record(capsys, *asked, *plain)
    assert first["turned"] == [0.25]
    assert {**first, "notes": None} == {**second, "notes": None}


def test_a_clamp_needs_twice_the_turns_of_an_idler(capsys: Capture) -> None:
    args = ["--belt", "3GT 9", "--target", "60 N", "--thread", "M4", "--loop", "1400"]
    idler, clamp = (
        record(capsys, *args, "--tensioner", kind, "--reading", "30 N")
        for kind in ("idler", "clamp")
    )
    assert idler["rate_n_per_turn"] == pytest.approx(2 * clamp["rate_n_per_turn"], rel=1e-6)


def test_your_own_limit_holds_like_an_allowable(capsys: Capture) -> None:
    found = record(capsys, *BASE, "--reading", "30 +/- 1 N", "--limit", "70 N")
    assert found["allowable_n"] == 70
    assert found["ceiling_n"] < 70
    code, _, err = run(capsys, *BASE, "--reading", "30 N", "--limit", "50 N")
    assert code == 2
    assert "not below the allowable strand tension of 50 N" in err


GLASS = ["--belt", "2GT 9 mm", *SCREW]
STEEL = [*GLASS, "--construction", "rubber, steel cord"]  # no figure is published for it


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            [*GLASS, "--target", "2000 N"],
            "a target of 2000 N is above 34.0 N, the published working tension of this belt",
        ),
        ([*GLASS, "--target", "36 N", "--joined"], "above 17.0 N, the published working tension"),
        ([*GLASS, "--target", "60 N", "--limit", "200 N"], "above 34.0 N"),
        ([*STEEL, "--target", "160 N"], "91.8 N, 0.2% stretch, a general rule: no maximum"),
        ([*STEEL, "--target", "160 N"], "give what its maker allows: --limit"),
        (["--target", "30 N", *SCREW], "nothing is known of what this belt may carry"),
    ],
)
def test_no_target_past_what_the_belt_may_carry_is_led_to(
    capsys: Capture, arguments: list[str], said: str
) -> None:
    code, out, err = run(capsys, *arguments, "--reading", "30 N")
    assert (code, out) == (2, "")
    assert said in err


def test_what_the_maker_allows_stands_over_the_general_rule(capsys: Capture) -> None:
    given = [*STEEL, "--target", "160 N", "--limit", "250 N"]
    found = record(capsys, *given, "--reading", "30 N")
    assert (found["limit_n"], found["limit_basis"], found["allowable_n"]) == (None, None, 250)


def test_a_belt_that_is_past_its_limit_is_loosened_first(capsys: Capture) -> None:
    found = record(capsys, *GLASS, "--target", "32 N", "--reading", "45 N")
    assert found["action"] == "loosen"
    assert found["says"].startswith("Loosen now: 45 N is above 34.0 N")
    code, _, err = run(capsys, *GLASS, "--target", "60 N", "--reading", "45 N")
    assert code == 2
    assert err.startswith("beltpitch: loosen now, 45 N is above 34.0 N")


@pytest.mark.parametrize(
    "hertz", ["50 Hz", "55.7 Hz", "56.6 Hz", "58.1 Hz", "60.2 Hz", "62 Hz", "68 Hz"]
)
def test_a_reading_has_the_word_and_interval_that_tension_gives_it(
    capsys: Capture, hertz: str
) -> None:
    one = ["--belt", "2GT 9 mm", "--linear-mass", "12.6 +/- 0.02 g/m", "--target", "30 N"]
    one += ["--span", "412 +/- 0.2 mm", "--frequency", hertz]
    adjust = record(capsys, *one, *SCREW)
    code = run_with(["tension", *one, "--json"])
    tension = json.loads(capsys.readouterr().out)["readings"][0]
    assert code == 0
    assert adjust["verdict"] == tension["verdict"]
    assert adjust["window_n"] == tension["window_n"]
    assert adjust["interval_n"] == pytest.approx(tension["preload_interval_n"])
    wrong = {"within": {"tighten", "loosen"}, "slack": {"loosen", "leave"},
             "tight": {"tighten", "leave"}, "cannot tell": set()}  # fmt: skip
    assert adjust["action"] not in wrong[adjust["verdict"]]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--linear-mass", "9 g/m", "--reading", "30 N", *SCREW], "give the wanted tension"),
        ([*BASE], "give the readings in one way"),
        ([*BASE, "--reading", "30 N", "--slack"], "give the readings in one way"),
        ([*BASE, "--reading", "30 Hz"], "'Hz' is no unit of force"),
        ([*BASE, "--frequency", "66 Hz"], "needs belt and span"),
        ([*BASE, "--reading", "30 N", "--turned", "0.5"], "do not fit"),
        ([*BASE, "--reading", "3 N", "--reading", "4 N", "--turned", "1 mm"], "no unit of turn"),
        ([*BASE, "--reading", "3 N", "--reading", "4 N", "--turned", "0"], "turn of zero"),
        ([*BASE, "--reading", "30 N", "--centre", "300"], "either --loop or --centre"),
        (
            ["--belt", "2GT 9", "--target", "60 N", "--reading", "30 N", *SCREW[:4]],
            "how long is the belt under tension",
        ),
        (
            ["--target", "60 N", "--reading", "30 N", *SCREW[:4], "--centre", "300"],
            "needs the belt and two pulleys",
        ),
        (
            ["--belt", "2GT 9", "--target", "60 N", "--reading", "30 N", "--thread", "M4"],
            "how does the screw pull",
        ),
        (["--belt", "2GT 9", "--target", "60 N", "--drive", "fixed"], "which thread"),
        (
            ["--belt", "AT5 25", "--target", "1800 N", "--reading", "30 N", *SCREW],
            "a target of 1800 N is above 1750 N, the allowable strand tension of this belt",
        ),
        (
            ["--belt", "AT5 25", "--target", "1740 N", "--reading", "30 N", *SCREW],
            "at most 1611 N is safe",
        ),
        ([*BASE, "no-such-file.wav", "--span", "412 mm"], "no such file"),
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


def test_silence_between_two_turns_is_no_reading(capsys: Capture, tmp_path: Path) -> None:
    import numpy as np

    path = tmp_path / "silence.wav"
    save_sound(path, np.zeros(48_000), 48e3)
    code, out, err = run(capsys, *BASE, str(path), "--span", "412 mm")
    assert code == 1
    assert out == ""
    assert err.count("\n") == 1


# --- by a name of the machine file --------------------------------------------------------------

MACHINE = """
[machine]
name = "Plover"
[belts.y-left]
belt = "3GT 9 mm"
span = "286 mm"
loop = "1400 mm"
target = "60 N"
tensioner = { pull = "idler", lead = "0.7 mm" }
[belts.y-right]
belt = "2GT 9 mm"
[pairs.y]
belts = ["y-left", "y-right"]
"""


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "beltpitch.toml"
    path.write_text(MACHINE)
    return path


def named(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    adjust: dict[str, Any] = json.loads(out)["adjust"]
    return adjust


def test_a_name_knows_target_loop_and_tensioner(capsys: Capture, machine: Path) -> None:
    by_options = record(capsys, *BASE, "--reading", "30 +/- 1 N", "--pair")
    by_name = named(capsys, "y-left", "--reading", "30 +/- 1 N")
    assert {**by_name, "notes": []} == {**by_options, "notes": []}
    assert by_name["notes"] == ["span 286 mm, taken as +/- 1 mm", *by_options["notes"]]


def test_options_stand_over_what_the_file_says(capsys: Capture, machine: Path) -> None:
    arguments = ["--target", "50 N", "--loop", "700 mm", "--thread", "M4", "--drive", "fixed"]
    found = named(capsys, "y-left", *arguments, "--reading", "30 N")
    assert (found["target_n"], found["loop_mm"]) == (50.0, pytest.approx(700.0))
    half_as_long = named(capsys, "y-left", "--target", "50 N", "--reading", "30 N")
    assert found["rate_n_per_turn"] == pytest.approx(2 * half_as_long["rate_n_per_turn"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["y", "--reading", "30 N"], "name one belt, y-left or y-right"),
        (["z-left", "--reading", "30 N"], "z-left"),
        (["y-right", "--reading", "30 N"], "how does the screw pull"),
    ],
    ids=["pair", "unknown", "no-target"],
)
def test_a_name_that_is_not_one_belt_is_refused(
    capsys: Capture, machine: Path, words: list[str], said: str
) -> None:
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert said in err


def test_a_name_without_a_machine_file_says_what_is_missing(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, _, err = run(capsys, "y-left", "--reading", "30 N")
    assert code == 2
    assert "no beltpitch.toml" in err
