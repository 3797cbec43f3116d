"""Both strands by the commands: a span each, the loop's sides, what may part them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.terminal.main import run_with

Capture = pytest.CaptureFixture[str]
BELT = ["--belt", "2GT 9 mm", "--linear-mass", "12.6 +/- 0.1 g/m"]
SPANS = ["--span", "412 mm", "--span", "380 mm"]
STRANDS = ["--strand", "near", "--strand", "far"]
# 36 N each: computed by hand from T = 4 m L^2 f^2, less half a percent of ends and air.
TONES = ["--frequency", "65.10 Hz", "--frequency", "70.62 Hz"]


def run(capsys: Capture, *words: str) -> tuple[int, str, str]:
    code = run_with(list(words))
    told = capsys.readouterr()
    return code, told.out, told.err


def readings(capsys: Capture, *words: str) -> list[dict[str, Any]]:
    code, out, err = run(capsys, *words, "--json")
    assert code == 0, err
    found: list[dict[str, Any]] = json.loads(out)["readings"]
    return found


def test_each_strand_has_its_own_span(capsys: Capture) -> None:
    near, far = readings(capsys, "tension", *BELT, *SPANS, *STRANDS, *TONES)
    assert near["tension_n"] == pytest.approx(36.0, rel=0.01)
    assert far["tension_n"] == pytest.approx(36.0, rel=0.01)
    assert near["preload_n"] == pytest.approx(36.0, rel=0.01)
    assert abs(near["strand_difference_n"]) < 0.1


def test_one_span_serves_both_only_where_that_is_said(capsys: Capture) -> None:
    code, out, err = run(capsys, "tension", *BELT, *SPANS[:2], *STRANDS, *TONES)
    assert (code, out) == (2, "")
    assert "two strands have two spans" in err
    near, far = readings(capsys, "tension", *BELT, *SPANS[:2], "--span", "equal", *STRANDS, *TONES)
    assert far["tension_n"] / near["tension_n"] == pytest.approx((70.62 / 65.10) ** 2, rel=0.01)
    code, _, err = run(capsys, "tension", *BELT, "--span", "equal", *STRANDS, *TONES)
    assert code == 2


def test_the_same_strand_twice_is_read_after_either_arrival(capsys: Capture) -> None:
    twice = ["--strand", "near", "--strand", "near"]
    tones = ["--frequency", "65.10 Hz", "--frequency", "66.10 Hz"]
    a, b = readings(capsys, "tension", *BELT, *SPANS[:2], *twice, *tones)
    assert a["preload_n"] == pytest.approx((a["tension_n"] + b["tension_n"]) / 2)


def test_the_preload_is_weighted_by_the_sides_of_the_loop(capsys: Capture) -> None:
    tones = ["--frequency", "64.0 Hz", "--frequency", "71.5 Hz"]
    sides = ["--loop-sides", "412 mm, 1236 mm"]
    near, far = readings(capsys, "tension", *BELT, *SPANS, *STRANDS, *tones, *sides)
    weighted = (near["tension_n"] + 3 * far["tension_n"]) / 4
    assert near["preload_n"] == pytest.approx(weighted, rel=1e-6)
    near, _ = readings(capsys, "tension", *BELT, *SPANS, *STRANDS, *tones)
    assert "loop sides" in {line["input"] for line in near["preload_budget"]}


def test_strands_too_far_apart_are_warned_of_and_not_left_so(capsys: Capture) -> None:
    tones = ["--frequency", "57.0 Hz", "--frequency", "76.0 Hz"]
    target = ["--target", "36 N", "--within", "20%"]
    code, out, _ = run(capsys, "tension", *BELT, *SPANS, *STRANDS, *tones, *target)
    assert code == 0
    said = " ".join(out.split())
    assert "The strands differ by 14" in said
    assert "leave it" not in said
    tones = ["--frequency", "64.0 Hz", "--frequency", "71.5 Hz"]
    small = ["--strand-limit", "0.5 N"]
    _, out, _ = run(capsys, "tension", *BELT, *SPANS, *STRANDS, *tones, *target, *small)
    assert "than motor and rails can hold (0.5 N, as given)" in " ".join(out.split())


@pytest.mark.parametrize(
    ("options", "limit_n"),
    [
        ([], 3.0),
        (["--strand-limit", "1 N"], 1.0),
        (["--detent", "10 N mm", "--pulley-teeth", "20"], 10 / (20 * 2 / 2 / 3.14159265)),
        (["--rail-friction", "2 N"], 2.0),
    ],
)
def test_how_far_strands_can_differ_is_an_input(
    capsys: Capture, options: list[str], limit_n: float
) -> None:
    (one,) = readings(capsys, "tension", *BELT, *SPANS[:2], *TONES[:2], *options)
    (line,) = (x for x in one["preload_budget"] if x["input"] == "strand difference")
    assert line["u_n"] == pytest.approx(limit_n / 3**0.5, rel=1e-3)
    judged = [a for a in one["notes"] if "a judgement, no source" in a]
    assert bool(judged) == (not options)


def test_the_machine_file_holds_them_too(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("beltpitch.toml").write_text(
        '[machine]\nname = "Northlight router"\n\n[belts.y]\nbelt = "2GT 9 mm"\n'
        'linear_mass = "12.6 +/- 0.1 g/m"\nspan = "412 mm"\nsecond_span = "380 mm"\n'
        'loop_sides = "412 mm, 1236 mm"\nrail_friction = "2 N"\n'
    )
    near, _ = readings(capsys, "tension", "y", "--no-keep", *STRANDS, *TONES)
    assert near["preload_n"] == pytest.approx(36.0, rel=0.01)
    (one,) = readings(capsys, "tension", "y", "--no-keep", *TONES[:2])
    (line,) = (x for x in one["preload_budget"] if x["input"] == "strand difference")
    assert line["u_n"] == pytest.approx(2 / 3**0.5)


def test_recordings_of_both_strands_are_each_read_with_their_span(
    capsys: Capture, tmp_path: Path
) -> None:
    files = []
    for name, hertz in (("near", 65.10), ("far", 70.62)):
        files.append(str(tmp_path / f"{name}.wav"))
        sound = pluck_recording(hertz, plucks=3, decay_s=0.25, noise=1e-3, seed=3)
        save_sound(files[-1], sound, 48e3)
    near, far = readings(capsys, "recording", *files, *BELT, *SPANS, *STRANDS)
    assert near["preload_n"] == pytest.approx(36.0, rel=0.02)
    assert abs(far["strand_difference_n"]) < 1.0


@pytest.mark.parametrize(
    "words",
    [
        ["tension", *BELT, *SPANS[:2], *TONES[:2], "--ends", "clamp", "--ends", "pulley"],
        ["tension", *BELT, "--belt", "3GT 9 mm", *SPANS[:2], *TONES[:2]],
        ["frequency", "--belt", "2GT 9 mm", *SPANS, "--tension", "30 N"],
        ["window", "--belt", "2GT 9 mm", "--target", "30 N", "--target", "31 N"],
    ],
)
def test_an_option_of_one_value_is_not_given_twice(capsys: Capture, words: list[str]) -> None:
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert "is given twice: give it once" in err


def test_a_pair_on_both_strands_is_not_read_from_typed_tones(capsys: Capture) -> None:
    tones = ["--first", "66 Hz", "--second", "66 Hz"]
    code, out, err = run(capsys, "pair", *BELT, *SPANS, *STRANDS, *tones)
    assert (code, out) == (2, "")
    assert "live only" in err
