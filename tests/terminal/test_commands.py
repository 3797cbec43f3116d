"""The commands as a user runs them: what is printed, what is refused, and how they end."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording, room_noise
from beltpitch.terminal.main import run_with

RATE = 48_000.0
BELT = ["--belt", "2GT 9 mm", "--span", "412 +/- 1 mm"]
Capture = pytest.CaptureFixture[str]


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(list(arguments))
    out, err = capsys.readouterr()
    return code, out, err


def run_json(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    record: dict[str, Any] = json.loads(out)
    assert record["schema"] == 1
    return record


@pytest.fixture(scope="module")
def plucked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plucked") / "y-left.wav"
    sound = pluck_recording(94.6, plucks=3, decay_s=0.25, noise=1e-3, seed=3)
    save_sound(path, sound, RATE)
    return path


# --- tension ------------------------------------------------------------------------------------


def test_tension_prints_value_interval_doubt_ruler_and_cautions(capsys: Capture) -> None:
    code, out, err = run(capsys, "tension", "--frequency", "66.3 Hz", *BELT, "--details")
    assert code == 0
    assert err == ""
    assert "37.6 N" in out
    assert "95%" in out
    assert "linear mass" in out
    assert "weigh a piece" in " ".join(out.split())
    assert "◆" in out
    assert "Power off" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "\x1b[" not in out


def test_tension_json_is_the_contract(capsys: Capture) -> None:
    record = run_json(
        capsys, "tension", "--frequency", "53.1", "--frequency", "52.9", *BELT,
        "--target", "24 N", "--within", "40%",
    )  # fmt: skip
    reading = record["readings"][0]
    assert reading["source"] == "typed"
    assert reading["verdict"] == "within"
    assert reading["window_n"] == pytest.approx([14.4, 33.6])
    assert len(reading["plucks"]) == 2


def test_values_of_two_tones_are_refused_with_both_tensions(capsys: Capture) -> None:
    two = ["tension", *BELT, "--frequency", "66.3", "--frequency", "132.6"]
    code, out, err = run(capsys, *two)
    assert code == 1
    assert len(err.splitlines()) == 1
    assert "near the ratio 2:1" in err
    assert "37.6 N" in out
    assert "150.1 N" in out
    assert "preload" not in out
    assert run(capsys, *two, "--json")[0] == 1


def test_both_strands_say_which_values_disagree(capsys: Capture) -> None:
    tones = [w for f in ("66", "80", "70", "70.1") for w in ("--frequency", f)]
    code, _, err = run(
        capsys, "tension", *BELT, "--span", "equal", *tones, "--strand", "a", "--strand", "b"
    )
    assert code == 1
    assert "differ by more than one hand scatters" in err


def test_a_recording_of_two_tones_gives_both_and_ends_with_1(
    capsys: Capture, tmp_path: Path
) -> None:
    each = (
        pluck_recording(f, plucks=2, decay_s=0.2, rate_hz=16_000.0, scatter=0.001, seed=3)
        for f in (57.0, 66.0)
    )
    save_sound(tmp_path / "y.wav", np.concatenate(list(each)), 16_000.0)
    code, out, err = run(capsys, "recording", str(tmp_path / "y.wav"), *BELT, "--target", "37 N")
    assert code == 1
    assert "2 plucks" in err
    assert out.count("group ") >= 2
    assert "preload" not in out


def test_forces_in_json_are_newtons_whatever_the_unit(capsys: Capture) -> None:
    plain = run_json(capsys, "tension", "--frequency", "66.3", *BELT)
    pounds = run_json(capsys, "tension", "--frequency", "66.3", *BELT, "--unit", "lbf")
    assert plain == pounds
    _, out, _ = run(capsys, "tension", "--frequency", "66.3", *BELT, "--unit", "lbf")
    assert "8.4 lbf" in out


def test_both_strands_share_a_preload(capsys: Capture) -> None:
    record = run_json(
        capsys, "tension", *BELT, "--span", "equal", "--strand", "left", "--frequency", "66.3",
        "--strand", "right", "--frequency", "64.9",
    )  # fmt: skip
    a, b = record["readings"]
    assert (a["strand"], b["strand"]) == ("left", "right")
    assert a["preload_n"] == b["preload_n"] == pytest.approx((a["tension_n"] + b["tension_n"]) / 2)
    assert a["strand_difference_n"] == pytest.approx(a["tension_n"] - b["tension_n"])


def test_three_parks_tell_the_stiffness_too(capsys: Capture) -> None:
    parks = ["--parks", "--travel", "160.0(1) mm, 370.0(1) mm", "--span", "620 +/- 3 mm"]
    belt = ["tension", "--belt", "2GT 9 mm", "--linear-mass", "12.60(6) g/m"]
    tones = ["45.618 Hz", "61.631 Hz", "114.355 Hz"]
    typed = [word for f in tones for word in ("--frequency", f)]
    code, out, err = run(capsys, *belt, *parks, *typed, "--json")
    assert (code, err) == (0, "")
    record = json.loads(out)["readings"][0]
    low, high = record["interval_n"]
    assert low < 40 < high
    assert any("these parks tell a bending stiffness of" in w for w in record["warnings"])
    code, out, err = run(capsys, *belt, *parks, *typed[:4])
    assert (code, out) == (2, "")
    assert "3 parks: give each the same number of readings" in err


def test_everyday_ways_of_writing_are_read(capsys: Capture) -> None:
    plain = ["--frequency", "110", "--frequency", "111", "--frequency", "109"]
    belt = ["--belt", "2GT 9 mm", "--ends", "clamp,pulley", "--target", "8 lbf"]
    first = run_json(capsys, "tension", *plain, *belt, "--span", "11.8125 +/- 0.0625 in")
    short = ["-f", "110, 111, 109 hertz", "-b", "Acme 2GT 9 mm", "--ends", "clamp pulley"]
    said = run_json(capsys, "tension", *short, "-s", '11 13/16" +/- 1/16 in', "--target", "8 lb")[
        "readings"
    ][0]
    same = ("tension_n", "tension_u_n", "span_mm", "frequency_hz", "word")
    assert {k: said.get(k) for k in same} == pytest.approx(
        {k: first["readings"][0].get(k) for k in same}
    )
    assert "target 8 lb as a weight, in lbf" in said["notes"]
    assert 'skipped "ACME"' in said["notes"]


def test_values_of_one_text_are_shared_out_to_two_strands(capsys: Capture) -> None:
    strands = ["--strand", "upper", "--strand", "lower", *BELT, "--span", "equal"]
    one = run_json(capsys, "tension", "-f", "66.0, 66.2", "-f", "70.1, 70.3", *strands)
    four = [x for f in ("66.0", "66.2", "70.1", "70.3") for x in ("-f", f)]
    assert one["readings"] == run_json(capsys, "tension", *four, *strands)["readings"]
    assert (
        one["readings"]
        == run_json(capsys, "tension", "-f", "66.0, 66.2, 70.1, 70.3", *strands)["readings"]
    )


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["tension", "-f", "110,5", *BELT], 'write a decimal point: "110.5"'),
        (["tension", "-f", "66", *BELT, "--linear-mass", "126 g/m"], "10 times the 12.6 g/m"),
        (["tension", "-f", "66", *BELT, "--target", "4 kN"], "4000 N would break a 2GT 9 mm"),
        (["tension", "-f", "66", "-b", "2GT", "--width", "2", "-s", "412"], "tooth pitch of 2GT"),
        (["tension", "-f", "66", *BELT, "--keep", "--temperature", "-300"], "below absolute zero"),
        (["tension", "-f", "66", *BELT, "--keep", "--taken", "2926-03-01"], "must be a slip"),
        (["frequency", *BELT, "--tension", "4 kN"], "4000 N would break a 2GT 9 mm"),
        (["window", "-b", "2GT 9 mm", "--target", "4 kN"], "would break"),
        (["window", "-b", "2GT 9 mm", "--limit", "4 kN"], "--limit '4 kN': 4000 N would break"),
        (["window", "-b", "2GT 9 mm", "--preload", "4 kN"], "--preload '4 kN': 4000 N would break"),
        (["window", "-b", "2GT 9 mm", "--set-at", "-400", "--runs-at", "20"], "below absolute"),
        (["history", "--since", "2926-03-01"], "must be a slip"),
        (["history", "--until", "1026-03-01"], "must be a slip"),
    ],
)
def test_a_slip_is_one_line_before_anything_is_shown(
    capsys: Capture,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    why: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert why in err
    assert len(err.strip().splitlines()) == 1


def test_a_tension_in_pounds_is_echoed(capsys: Capture) -> None:
    record = run_json(capsys, "frequency", *BELT, "--tension", "8 lb")["frequency"]
    assert record["tension_n"] == pytest.approx(8 * 4.4482216152605)
    assert "--tension 8 lb as a weight, in lbf" in record["notes"]


def test_two_parks_need_no_span(capsys: Capture) -> None:
    record = run_json(
        capsys, "tension", "--belt", "2GT 9 mm", "--parks", "--travel", "160.0 +/- 0.2 mm",
        "--frequency", "66.3", "--frequency", "108.6",
    )  # fmt: skip
    reading = record["readings"][0]
    assert reading["tension_n"] > 0
    assert reading["span_mm"] is None
    assert "ends" not in {line["input"] for line in reading["budget"]}


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ([], "--belt"),
        (BELT, "--frequency"),
        ([*BELT, "--frequency", "0"], "greater than zero"),
        ([*BELT, "--frequency", "1e9"], "no belt sounds"),
        ([*BELT, "--frequency", "sixty"], "66.3 Hz"),
        ([*BELT, "--frequency", "66,3"], "decimal point"),
        (["--belt", "2GTT 9 mm", "--span", "412", "--frequency", "66"], "nearest"),
        (["--belt", "2GT 9 mm", "--span", "0", "--frequency", "66"], "greater than zero"),
        (["--belt", "2GT 9 mm", "--span", "-4", "--frequency", "66"], "greater than zero"),
        (["--belt", "2GT 9 mm", "--span", "412 Hz", "--frequency", "66"], "unit of length"),
        (["--belt", "2GT", "--span", "412", "--frequency", "66"], "width"),
        (["--linear-mass", "0", "--span", "412", "--frequency", "66"], "greater than zero"),
        (["--width", "9 mm", "--span", "412", "--frequency", "66"], "--width alone"),
        ([*BELT, "--frequency", "66", "--ends", "glue"], "not one of"),
        ([*BELT, "--frequency", "66", "--unit", "stone"], "N, lbf or kgf"),
        ([*BELT, "--frequency", "66", "--target", "30 mm"], "no unit of force"),
        ([*BELT, "--frequency", "66", "--target", "30", "--within", "0%"], "no range"),
        (
            [*BELT, "--span", "equal", "--frequency", "66", "--strand", "a", "--strand", "b"],
            "as many",
        ),
        ([*BELT, "--frequency", "66", "--parks"], "both"),
        ([*BELT, "--frequency", "66", "--speed", "3"], "--speed"),
    ],
)
def test_a_wrong_request_is_one_line_and_exit_2(
    capsys: Capture, arguments: list[str], why: str
) -> None:
    code, out, err = run(capsys, "tension", *arguments)
    assert code == 2
    assert out == ""
    assert why in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(("frequency", "why"), [("20", "next to no tension"), ("9", "own stiff")])
def test_a_tone_that_tells_no_tension_is_exit_1_with_nulls(
    capsys: Capture, frequency: str, why: str
) -> None:
    stubby = ["--belt", "HTD 8M 50 mm", "--span", "200 mm"]
    code, out, err = run(capsys, "tension", "--frequency", frequency, *stubby, "--json")
    reading = json.loads(out)["readings"][0]
    assert code == 1
    assert reading["tension_n"] is None
    assert reading["warnings"][0] in err
    assert why in err


# --- the other commands without sound -----------------------------------------------------------


def test_frequency_is_the_inverse_of_tension(capsys: Capture) -> None:
    aim = run_json(capsys, "frequency", "--tension", "30 N", *BELT)["frequency"]
    back = run_json(capsys, "tension", "--frequency", f"{aim['frequency_hz']:.6f}", *BELT)
    assert back["readings"][0]["tension_n"] == pytest.approx(30.0, rel=1e-5)
    assert aim["partials_hz"][1] > 2 * aim["partials_hz"][0]
    code, out, _ = run(capsys, "frequency", "--tension", "30 N", *BELT)
    assert code == 0
    assert "mains" in out  # 59 Hz lies by the 60 Hz line


def test_the_version_is_said(capsys: Capture) -> None:
    code, out, err = run(capsys, "--version")
    assert (code, err) == (0, "")
    assert out.startswith("beltpitch")


def test_frequency_of_a_belt_by_name_aims_at_its_target(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = '[machine]\nname = "Plover"\n[belts.y]\nbelt = "2GT 9 mm"\nspan = "412 +/- 1 mm"\n'
    Path("beltpitch.toml").write_text(text + 'target = "30 N"\n')
    by_options = run_json(capsys, "frequency", "--tension", "30 N", *BELT)
    assert run_json(capsys, "frequency", "y") == by_options
    other = run_json(capsys, "frequency", "y", "--tension", "40 N")["frequency"]
    assert other["tension_n"] == 40.0


def test_belts_lists_and_shows_sources(capsys: Capture) -> None:
    code, out, _ = run(capsys, "belts")
    assert code == 0
    for name in ("MXL", "XXH", "T2.5", "AT20", "HTD 14M", "5GT", "S8M", "RPP 8M"):
        assert name in out
    listed = run_json(capsys, "belts")["belts"]
    assert len(listed) >= 27
    _, out, _ = run(capsys, "belts", "2GT")
    assert "from memory" in out
    assert "also 1.76" in out
    one = run_json(capsys, "belts", "GT2 6mm")["belts"][0]
    assert one["belt"] == "2GT 6 mm"
    assert any('read "GT2" as 2GT' in note for note in one["notes"])
    code, _, err = run(capsys, "belts", "QT2")
    assert code == 2
    assert "weigh a piece" in err


def test_span_from_pulleys_and_the_drawing_of_a_drive(capsys: Capture) -> None:
    found = run_json(
        capsys, "span", "--belt", "2GT 9 mm", "--pulley", "20 teeth", "--pulley", "40",
        "--centre", "300 +/- 0.5 mm",
    )["span"]  # fmt: skip
    assert found["span_mm"] == pytest.approx(299.93, abs=0.01)
    assert found["teeth_in_mesh"] == [9, 20]
    code, out, _ = run(capsys, "span", "--drive", "looped")
    assert code == 0
    assert "pluck here" in out
    assert max(len(line) for line in out.splitlines()) <= 80


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ([], "two pulleys"),
        (["--pulley", "20", "--pulley", "20", "--centre", "300"], "tooth spacing"),
        (["--belt", "2GT 9 mm", "--pulley", "20", "--pulley", "20"], "--centre or"),
        (["--belt", "2GT 9 mm", "--pulley", "20", "--pulley", "40", "--centre", "5"], "overlap"),
        (["--drive", "sideways"], "choose from"),
        (["--belt", "2GT 9 mm", "--pulley", "0", "--pulley", "20", "--centre", "300"], "teeth"),
    ],
)
def test_wrong_spans_are_refused(capsys: Capture, arguments: list[str], why: str) -> None:
    code, out, err = run(capsys, "span", *arguments)
    assert (code, out) == (2, "")
    assert why in err
    assert len(err.strip().splitlines()) == 1


# --- recordings ---------------------------------------------------------------------------------


def test_recording_reads_a_plucked_belt(capsys: Capture, plucked: Path) -> None:
    record = run_json(capsys, "recording", str(plucked), *BELT)
    reading = record["readings"][0]
    assert reading["source"] == "y-left.wav"
    assert reading["frequency_hz"] == pytest.approx(94.6, rel=2e-3)
    assert sum(p["used"] for p in reading["plucks"]) == 3
    assert reading["tension_n"] == pytest.approx(76.5, rel=0.02)


def test_recording_hears_a_second_park_by_its_own_span(capsys: Capture, tmp_path: Path) -> None:
    """The belt cannot carry 248 Hz over the first span."""
    files = []
    for name, tone_hz in (("far", 100.0), ("near", 248.0)):
        files.append(str(tmp_path / f"{name}.wav"))
        sound = pluck_recording(tone_hz, plucks=2, decay_s=0.2, noise=1e-3, seed=5)
        save_sound(Path(files[-1]), sound, RATE)
    where = ["--belt", "2GT 9 mm", "--span", "620 +/- 3 mm"]
    travel = ["--parks", "--travel", "370.0 +/- 0.2 mm"]
    far, near, _ = run_json(capsys, "recording", *files, *where, *travel)["readings"]
    assert far["frequency_hz"] == pytest.approx(100.0, rel=5e-3)
    assert near["frequency_hz"] == pytest.approx(248.0, rel=5e-3)


def test_recording_without_a_belt_gives_the_frequency(capsys: Capture, plucked: Path) -> None:
    reading = run_json(capsys, "recording", str(plucked))["readings"][0]
    assert reading["frequency_hz"] == pytest.approx(94.6, rel=2e-3)
    assert reading["tension_n"] is None
    assert any("--belt" in w for w in reading["warnings"])


def test_one_refused_file_among_several_keeps_the_others(
    capsys: Capture, plucked: Path, tmp_path: Path
) -> None:
    save_sound(tmp_path / "still.wav", room_noise(int(3 * RATE), 1e-3, 5), RATE)
    code, out, err = run(
        capsys, "recording", str(plucked), str(tmp_path / "still.wav"), *BELT, "--json"
    )
    assert code == 1
    good, bad = json.loads(out)["readings"]
    assert good["tension_n"] is not None
    assert bad["tension_n"] is None
    assert bad["frequency_hz"] is None
    assert bad["warnings"]
    assert "still.wav" in err


def _write_bad(folder: Path) -> dict[str, Path]:
    rate, seconds = int(RATE), 3
    t = np.arange(seconds * rate) / rate
    chance = np.random.default_rng(1)
    click = room_noise(len(t), 1e-4, 2)
    click[rate : rate + 4] = 0.9
    steady = 0.2 * np.sin(2 * np.pi * 100 * t) + 0.1 * np.sin(2 * np.pi * 200 * t)
    clipped = np.clip(50 * pluck_recording(90.0, plucks=2, seed=4), -1, 1)[: len(t)]
    sounds = {
        "silence": np.zeros(len(t)),
        "noise": 0.05 * chance.normal(size=len(t)),
        "click": click,
        "tone": steady + room_noise(len(t), 1e-4, 3),
        "clipped": np.sign(clipped),
    }
    paths = {}
    for name, sound in sounds.items():
        paths[name] = folder / f"{name}.wav"
        save_sound(paths[name], sound, RATE)
    return paths


def test_sound_without_a_pluck_is_exit_1_and_never_a_number(
    capsys: Capture, tmp_path: Path
) -> None:
    for name, path in _write_bad(tmp_path).items():
        code, out, err = run(capsys, "recording", str(path), *BELT, "--json")
        reading = json.loads(out)["readings"][0]
        assert reading["frequency_hz"] is None, name
        assert reading["tension_n"] is None, name
        assert code == 1, name
        assert reading["warnings"][0] in err, name
        assert len(err.strip().splitlines()) == 1, name


def test_what_is_no_sound_is_exit_2_in_one_line(capsys: Capture, tmp_path: Path) -> None:
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "text.wav").write_text("dear diary\n" * 50)
    for path in (tmp_path / "none.wav", tmp_path, tmp_path / "empty.wav", tmp_path / "text.wav"):
        code, out, err = run(capsys, "recording", str(path), *BELT, "--json")
        assert code == 2, path
        assert len(err.strip().splitlines()) == 1, path
        assert json.loads(out)["readings"][0]["tension_n"] is None


def test_a_reference_tone_corrects_the_clock(capsys: Capture, tmp_path: Path) -> None:
    # a device whose clock is 1000 ppm slow: what it calls 48 kHz is 47.952 kHz
    true_rate = RATE / 1.001
    t = np.arange(round(6 * true_rate)) / true_rate
    save_sound(tmp_path / "tone.wav", 0.2 * np.sin(2 * np.pi * 1000 * t), RATE)
    sound = pluck_recording(94.6, rate_hz=true_rate, plucks=3, decay_s=0.25, noise=1e-3, seed=3)
    save_sound(tmp_path / "pluck.wav", sound, RATE)
    files = [str(tmp_path / "tone.wav"), str(tmp_path / "pluck.wav")]
    tone, pluck = run_json(capsys, "recording", *files, "--reference-tone", "1000 Hz")["readings"]
    assert tone["frequency_hz"] is None
    assert any("+1000" in note for note in pluck["notes"])
    plain = run_json(capsys, "recording", files[1])["readings"][0]
    assert plain["frequency_hz"] / pluck["frequency_hz"] == pytest.approx(1.001, rel=3e-5)
    # what the tone told can be typed for other sound of the same device
    (note,) = [note for note in tone["notes"] if "--clock" in note]
    clock = note.rpartition("--clock ")[2].strip('"')
    by_hand = run_json(capsys, "recording", files[1], "--clock", clock)["readings"][0]
    assert by_hand["frequency_hz"] == pytest.approx(pluck["frequency_hz"], rel=1e-7)
    code, _, err = run(capsys, "recording", *files, "--clock", clock, "--reference-tone", "1000")
    assert (code, "give one of them" in err) == (2, True)
    code, _, err = run(capsys, "recording", files[1], "--reference-tone", "1000 Hz")
    assert code == 1
    assert "no steady tone" in err


# --- demo, and the process itself ---------------------------------------------------------------


def test_demo_measures_its_own_recordings_on_the_real_path(capsys: Capture, tmp_path: Path) -> None:
    record = run_json(capsys, "demo", "--into", str(tmp_path / "demo"))
    left, right = record["readings"]
    assert left["preload_n"] == pytest.approx(30.4, rel=0.02)
    assert right["preload_n"] == pytest.approx(22.4, rel=0.02)
    assert (left["verdict"], right["verdict"]) == ("within", "slack")
    again = run_json(
        capsys, "recording", str(tmp_path / "demo" / "y-left.wav"), "--belt", "2GT 9 mm",
        "--linear-mass", "12.6 +/- 0.1 g/m", "--span", "286 +/- 0.5 mm", "--ends", "pulley,clamp",
    )["readings"][0]  # fmt: skip
    assert again["frequency_hz"] == left["frequency_hz"]
    code, out, _ = run(capsys, "demo")
    assert code == 0
    assert "does not exist" in out
    assert out.count("◆") == 2


def test_the_process_ends_with_the_exit_code() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "beltpitch", "tension", "--frequency", "sixty", *BELT],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("beltpitch: --frequency")
    assert "Traceback" not in done.stderr


def test_help_names_every_command(capsys: Capture) -> None:
    code, out, _ = run(capsys, "--help")
    assert code == 0
    for name in ("tension", "frequency", "recording", "belts", "span", "demo"):
        assert name in out
