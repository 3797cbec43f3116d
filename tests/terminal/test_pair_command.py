"""``beltpitch pair``: typed, recorded and named belts; what is printed and refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording, room_noise
from beltpitch.terminal.main import run_with

BELT = ["--belt", "2GT 9 mm", "--span", "286 +/- 0.5 mm", "--ends", "pulley,clamp"]
LIKE = ["--first", "70.0 Hz", "--first", "70.1 Hz", "--second", "70.1 Hz", "--second", "70.0 Hz"]
UNLIKE = ["--first", "70.0 Hz", "--second", "63.0 Hz"]
Capture = pytest.CaptureFixture[str]


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(["pair", *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def run_json(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    record: dict[str, Any] = json.loads(out)
    assert set(record) == {"schema", "pair"}
    whole: dict[str, Any] = record["pair"]
    return whole


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Path]:
    folder = tmp_path_factory.mktemp("pair")
    made = []
    for name, hertz in (("left", 95.0), ("right", 94.8), ("slack", 85.0)):
        sound = pluck_recording(
            hertz, rate_hz=16_000.0, plucks=4, apart_s=2.0, decay_s=0.15, scatter=0.001, seed=5
        )
        save_sound(folder / f"{name}.wav", sound, 16_000.0)
        made.append(folder / f"{name}.wav")
    return made[0], made[1], made[2]


# --- typed ----------------------------------------------------------------------------------------


def test_an_overtone_among_the_values_of_a_belt_gives_no_turn(capsys: Capture) -> None:
    one = ["--first", "66.3", "--first", "132.6", "--second", "66.3"]
    code, out, err = run(capsys, *one, *BELT)
    assert code == 1
    assert "not yet known" in out
    assert "tighten" not in out
    assert "first" in err
    assert "near the ratio 2:1" in err


def test_typed_belts_are_drawn_on_one_axis_with_the_answer(capsys: Capture) -> None:
    code, out, err = run(
        capsys, *UNLIKE, *BELT, "--details", "--name", "y-left", "--name", "y-right"
    )
    assert (code, err) == (0, "")
    assert "unmatched: y-left is" in out
    assert "tighten y-right by" in out
    assert "tolerance" in out
    assert "to both belts: linear mass" in out
    assert "frequency alone" in out
    assert "5 %" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "\x1b[" not in out


def test_the_answer_comes_first_then_the_axis_then_the_belts(capsys: Capture) -> None:
    _, out, _ = run(capsys, *UNLIKE, *BELT, "--details", "--name", "y-left", "--name", "y-right")
    first = ["unmatched: y-left is", "tighten y-right by", "  tolerance  ", "y-left · 2GT 9 mm"]
    then = ["y-right · 2GT 9 mm", "  common  ", "  window  ", "  note  ", "  caution  "]
    places = [out.index(words) for words in (*first, *then)]
    assert places == sorted(places)
    assert out.splitlines()[0].startswith("  pair  ")
    for words in ("  caution  ", "Wear eye", "  pair  ", "  window  "):
        assert out.count(words) == 1
    assert "square the gantry" in out  # a pair is to be turned
    assert len(set(out.split("\n\n"))) == len(out.split("\n\n"))


def test_the_next_thing_to_do_is_about_the_belt_known_less_well(capsys: Capture) -> None:
    steady, wild = ("70.0", "70.1", "70.2"), ("69.0", "70.5", "72.0")
    for first, second, worse in ((steady, wild, "y-right"), (wild, steady, "y-left")):
        heard = [x for f in first for x in ("--first", f"{f} Hz")]
        heard += [x for f in second for x in ("--second", f"{f} Hz")]
        _, out, _ = run(capsys, *heard, *BELT, "--details", "--name", "y-left", "--name", "y-right")
        assert out.count("  narrow it  ") == 1
        words = " ".join(out.split("  narrow it  ")[1].split())
        assert words.startswith(f"{worse}: weigh a piece of this belt (beltpitch weigh) (±")
        assert "becomes" in words


def test_belts_that_match_are_left_and_nothing_is_turned(capsys: Capture) -> None:
    _, out, _ = run(capsys, *LIKE, *BELT, "--details")
    assert "Leave both, and write it down." in out
    assert "square the gantry" not in out
    assert "Power off and isolated first" in out


def test_like_belts_match(capsys: Capture) -> None:
    whole = run_json(capsys, *LIKE, *BELT)
    assert whole["word"] == "matched"
    assert whole["names"] == ["first", "second"]
    assert whole["basis"] == "strand"
    assert whole["turn"] is None
    assert [r["source"] for r in whole["readings"]] == ["first", "second"]
    low, high = whole["interval"]
    assert -0.05 < low < whole["difference"] < high < 0.05


def test_the_tolerance_decides(capsys: Capture) -> None:
    near = ["--first", "70.0 +/- 0.05 Hz", "--second", "66.5 +/- 0.05 Hz"]
    assert run_json(capsys, *near, *BELT, "--within", "20%")["word"] == "matched"
    assert run_json(capsys, *near, *BELT, "--within", "4%")["word"] == "unmatched"
    assert run_json(capsys, *near, *BELT, "--within", "10%")["word"] == "not yet known"


def test_two_spans_are_two_readings_of_one_tape(capsys: Capture) -> None:
    words = ["--first", "70.0 Hz", "--second", "66.7 Hz", "--belt", "2GT 9 mm"]
    spans = ["--span", "286 +/- 0.5 mm", "--span", "300 +/- 0.5 mm"]
    whole = run_json(capsys, *words, *spans)
    assert [r["span_mm"] for r in whole["readings"]] == [286.0, 300.0]
    assert "span" in {line["input"] for line in whole["budget"]}
    assert not any("frequency alone" in note for note in whole["notes"])
    # the same span given twice was measured twice
    twice = run_json(capsys, *LIKE, "--belt", "2GT 9 mm", "--span", "286", "--span", "286")
    assert "span" in {line["input"] for line in twice["budget"]}


def test_without_belt_or_span_tones_are_compared(capsys: Capture) -> None:
    whole = run_json(capsys, *UNLIKE)
    assert whole["word"] == "unmatched"
    assert whole["basis"] == "frequency"
    assert whole["compared_n"] is None
    assert whole["turn"]["force_n"] is None
    assert whole["turn"]["aim_hz"] == pytest.approx(70.0)


def test_two_rolls_do_not_cancel(capsys: Capture) -> None:
    whole = run_json(capsys, *LIKE, *BELT, "--two-rolls")
    assert whole["word"] == "not yet known"
    assert whole["budget"][0]["input"] == "linear mass"


def test_a_target_names_the_belt_to_change(capsys: Capture) -> None:
    whole = run_json(capsys, *UNLIKE, *BELT, "--target", "16 N", "--target-within", "20%")
    assert (whole["turn"]["belt"], whole["turn"]["way"]) == ("first", "let off")


def test_forces_in_json_are_newtons_whatever_the_unit(capsys: Capture) -> None:
    plain = run_json(capsys, *UNLIKE, *BELT)
    assert run_json(capsys, *UNLIKE, *BELT, "--unit", "lbf") == plain


# --- recorded -------------------------------------------------------------------------------------


def test_two_recordings_match(capsys: Capture, recordings: tuple[Path, Path, Path]) -> None:
    left, right, slack = recordings
    whole = run_json(capsys, str(left), str(right), *BELT)
    assert whole["word"] == "matched"
    assert whole["names"] == ["left.wav", "right.wav"]
    assert all(len(r["plucks"]) == 4 for r in whole["readings"])
    code, out, _ = run(capsys, str(left), str(slack), *BELT, "--details")
    assert code == 0
    assert "loosen left.wav by" in " ".join(out.split())
    assert out.count("from 4 plucks") == 2


def test_a_recording_without_an_answer_is_exit_1(
    capsys: Capture, recordings: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    save_sound(tmp_path / "noise.wav", room_noise(48_000, 3e-4, 1), 16_000.0)
    code, out, err = run(capsys, str(recordings[0]), str(tmp_path / "noise.wav"), *BELT, "--json")
    assert code == 1
    assert "noise.wav" in err
    whole = json.loads(out)["pair"]
    assert whole["word"] == "not yet known"
    assert whole["difference"] is None


def test_a_pluck_that_was_set_aside_is_told_with_its_reason(
    capsys: Capture, recordings: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    like, other = (
        pluck_recording(hertz, rate_hz=16_000.0, plucks=n, apart_s=2.0, decay_s=0.15, seed=5)
        for hertz, n in ((95.0, 4), (84.0, 1))
    )
    save_sound(tmp_path / "other.wav", np.concatenate([like, other]), 16_000.0)
    _, out, _ = run(capsys, str(recordings[0]), str(tmp_path / "other.wav"), *BELT, "--details")
    told = [line for line in out.splitlines() if line.startswith("  rejected")]
    assert len(told) == 1
    assert "pluck 5  at" in told[0]


def test_a_missing_recording_is_exit_2(
    capsys: Capture, recordings: tuple[Path, Path, Path]
) -> None:
    code, out, err = run(capsys, str(recordings[0]), "nowhere.wav", *BELT)
    assert (code, out) == (2, "")
    assert "no such file" in err


# --- named ----------------------------------------------------------------------------------------

MACHINE = """
[belts.y-left]
belt = "2GT 9 mm"
span = "286 +/- 0.5 mm"
ends = "pulley,clamp"

[belts.y-right]
belt = "2GT 9 mm"
span = "286 +/- 0.5 mm"
ends = "pulley,clamp"

[pairs.y]
belts = ["y-left", "y-right"]
within = "8%"
"""


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "beltpitch.toml"
    path.write_text(MACHINE)
    return path


def test_a_pair_of_the_machine_file(capsys: Capture, machine: Path) -> None:
    whole = run_json(capsys, "y", *LIKE)
    assert whole["names"] == ["y-left", "y-right"]
    assert whole["within"] == pytest.approx(0.08)
    assert "last contact" in {line["input"] for line in whole["budget"]}
    assert "linear mass" in {line["input"] for line in whole["cancelled"]}


def test_two_recordings_of_a_pair_of_the_machine_file(
    capsys: Capture, machine: Path, recordings: tuple[Path, Path, Path]
) -> None:
    left, right, _ = (str(path) for path in recordings)
    named = run_json(capsys, "y", left, right, "--machine", str(machine), "--no-keep")
    assert named["names"] == ["y-left", "y-right"]
    assert named["readings"][0]["belt"] == "2GT 9 mm"
    code, _, err = run(capsys, "x", left, right, "--machine", str(machine), "--no-keep")
    assert (code, "x" in err) == (2, True)


def test_two_belts_of_the_machine_file(capsys: Capture, machine: Path) -> None:
    whole = run_json(capsys, "y-right", "y-left", *LIKE)
    assert whole["names"] == ["y-right", "y-left"]
    assert whole["within"] == pytest.approx(0.05)


def test_a_tone_that_the_belt_cannot_have_is_refused_as_in_tension(capsys: Capture) -> None:
    belt = ["--belt", "2GT 6 mm", "--span", "40 mm"]
    code, out, err = run(capsys, "--first", "20", "--second", "160", *belt)
    assert code == 1
    assert "tighten" not in out
    assert err.startswith("beltpitch: first: 20 Hz is no higher than this span would sound")
    assert run_with(["tension", "--frequency", "20", *belt]) == 1
    said = capsys.readouterr().err.removeprefix("beltpitch: ")
    assert err.splitlines(keepends=True)[0].partition("first: ")[2] == said


def test_a_recorded_tone_that_the_belt_cannot_have_is_refused(
    capsys: Capture, recordings: tuple[Path, Path, Path]
) -> None:
    belt = ["--belt", "2GT 6 mm", "--span", "40 mm"]
    code, out, err = run(capsys, str(recordings[0]), str(recordings[1]), *belt)
    assert code == 1
    assert "tighten" not in out
    assert "left.wav: " in err


def test_the_unit_asked_for_is_in_what_to_do(capsys: Capture) -> None:
    _, out, _ = run(capsys, *UNLIKE, *BELT, "--unit", "lbf")
    assert "lbf (" in out
    assert " N (" not in out


# --- refused --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([*LIKE[:4], *BELT], "give both"),
        ([*LIKE, *BELT, "--name", "one"], "given twice"),
        ([*LIKE, *BELT, "--name", "one", "--name", "one"], "not the same"),
        ([*LIKE, *BELT, "--within", "0%"], "tolerance"),
        ([*LIKE, *BELT, "--within", "five"], "--within"),
        ([*LIKE, *BELT, "--span", "1", "--span", "2"], "--span is given once"),
        ([*LIKE, "a", "b", "c"], "two belts or two recordings"),
        (["--first", "70", "--second", "sixty"], "--frequency"),
    ],
)
def test_what_cannot_be_is_one_line_and_exit_2(
    capsys: Capture, words: list[str], said: str
) -> None:
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


def test_typed_and_recorded_do_not_mix(
    capsys: Capture, recordings: tuple[Path, Path, Path]
) -> None:
    code, _, err = run(capsys, str(recordings[0]), str(recordings[1]), *LIKE, *BELT)
    assert code == 2
    assert "not both" in err


@pytest.mark.parametrize(
    ("target", "said"),
    [
        ("26.5 N", "Leave both, and write it down."),
        ("36 N", "They match; bring first and second into the window"),
    ],
)
def test_a_matched_pair_is_left_alone_only_inside_its_window(
    capsys: Capture, target: str, said: str
) -> None:
    tones = [word for name in ("--first", "--second") for word in [name, "56 Hz"] * 3]
    belt = ["--belt", "2GT 9 mm", "--linear-mass", "12.6 +/- 0.1 g/m", "--span", "412 mm"]
    run_with(["pair", *belt, *tones, "--target", target])
    out = " ".join(capsys.readouterr().out.split())
    assert "matched:" in out
    assert said in out
