"""The commands `weigh` and `hang` as a user runs them."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.belts.corrections import hung_tension, swing_factor
from beltpitch.belts.mechanics import frequency
from beltpitch.belts.strand import Strand
from beltpitch.store.machine_file import load
from beltpitch.store.named_belts import belt_of
from beltpitch.terminal.main import run_with
from beltpitch.units import LINEAR_MASS, parse

Capture = pytest.CaptureFixture[str]
MASS = 11.2e-3  # kg/m, of the belt that is hung here; the catalogue says 12.6
BELT = ["--belt", "2GT 9 mm"]
SETS = Path(__file__).parents[2] / "calibration" / "hung_weights"


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


STIFF = 4e-4  # N m^2, of the belt that is hung here


def tone(weight: float, length: float = 0.5, n: int = 1) -> float:
    strand = Strand(length, MASS, STIFF, 0.8, 0.8, 7.7e-5, 28.8e3)
    hung = MASS * length
    return frequency(strand, hung_tension(weight, hung), n) / swing_factor(weight, hung, n)


# --- weigh --------------------------------------------------------------------------------------


def test_weigh_prints_mass_comparison_doubt_and_how_to_use_it(capsys: Capture) -> None:
    code, out, err = run(
        capsys, "weigh", *BELT, "--length", "500 mm", "--mass", "6.3 g", "--scale", "0.1 g"
    )
    assert (code, err) == (0, "")
    assert "12.600 g/m" in out
    assert "fits the catalogue" in out
    assert "rounding" in out
    assert "length 500 mm, taken as +/- 1 mm" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_what_weigh_says_to_type_is_read_back_the_same(capsys: Capture) -> None:
    record = run_json(capsys, "weigh", *BELT, "--length", "500", "--mass", "6.3 g")["weigh"]
    typed = parse(record["option"].removeprefix("--linear-mass "), LINEAR_MASS)
    assert typed.value * 1000 == pytest.approx(record["linear_mass_g_per_m"], rel=1e-4)
    assert typed.u is not None
    assert typed.u * 1000 == pytest.approx(record["linear_mass_u_g_per_m"], rel=0.02)
    assert record["dof"] is None
    assert record["budget"][0]["input"] == "rounding"
    assert record["catalogue"]["fits"] is True


def test_weigh_a_loop_by_its_teeth(capsys: Capture) -> None:
    record = run_json(
        capsys, "weigh", *BELT, "--teeth", "200", "--loop", "--mass", "4.21 g", "--mass", "4.25 g"
    )["weigh"]
    assert record["length_mm"] == pytest.approx(400)
    assert record["weighings_g"] == pytest.approx([4.21, 4.25])
    assert record["linear_mass_g_per_m"] == pytest.approx(4.23 / 0.4)
    assert "weighings" in {line["input"] for line in record["budget"]}


def test_weigh_without_a_mass_says_how_long_a_piece(capsys: Capture) -> None:
    code, out, _ = run(capsys, "weigh", "--scale", "1 g")
    assert code == 0
    assert "1 g scale   for 1.0%: 3.4 m, which weighs 42.6 g" in out
    assert "0.1 g scale for 1.0%: 35 cm" in out
    plan = run_json(capsys, "weigh", *BELT, "--scale", "1 g", "--scale-error", "1.5 %")["weigh"]
    longest = {(p["scale_g"], p["u"]): p["length_mm"] for p in plan["plan"]}
    assert longest[1.0, 0.01] > 3400
    assert longest[1.0, 0.005] is None


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["--mass", "6.3 g"], "give the length of the piece"),
        (["--mass", "6.3 g", "--length", "500", "--teeth", "250"], "give the length of the piece"),
        (["--mass", "6.3 g", "--teeth", "250"], "needs the tooth spacing"),
        (["--mass", "6.3 N", "--length", "500"], "no unit of mass"),
        (["--mass", "0 g", "--length", "500"], "greater than zero"),
        (["--mass", "6,3 g", "--length", "500"], "decimal point"),
        (["--mass", "6.3 g", "--length", "-500"], "greater than zero"),
        (["--mass", "6.3 g", "--length", "500", "--scale", "0"], "greater than zero"),
        (["--mass", "6.3 g", "--length", "500", "--scale-error", "200 %"], "--scale-error"),
        (["--width", "9 mm"], "--width alone"),
    ],
)
def test_a_wrong_weighing_is_one_line(capsys: Capture, arguments: list[str], why: str) -> None:
    code, out, err = run(capsys, "weigh", *arguments)
    assert (code, out) == (2, "")
    assert why in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("belt", "mass", "length", "why"),
    [
        ("2GT 6 mm", "42 g", "50 cm", "84 g/m is 10 times the 8.4 g/m .* decimal point"),
        ("2GT 6 mm", "0.7 g", "50 cm", "1.4 g/m is 1/6 of .* figure for 1 mm of width"),
        ("2GT 6 mm", "4.2 kg", "50 cm", "1000 times .* wrong unit"),
        ("2GT 6 mm", "15 g", "50 cm", "3.57 times .* check unit, decimal point and width"),
    ],
)
def test_a_mass_that_the_belt_cannot_have_is_a_slip(
    capsys: Capture, tmp_path: Path, belt: str, mass: str, length: str, why: str
) -> None:
    file = tmp_path / "router.toml"
    said = ["weigh", "--length", length, "--mass", mass]
    code, out, err = run(
        capsys, *said, "--belt", belt, "--keep-as", "y-left", "--machine", str(file)
    )
    assert (code, out) == (2, "")
    assert re.search(why, err), err
    assert "leave out the belt's name" in err
    assert len(err.strip().splitlines()) == 1
    assert not file.exists()
    code, _, err = run(capsys, *said)  # insisted on
    assert (code, err) == (0, "")


def test_several_weighings_may_stand_in_one_text(capsys: Capture) -> None:
    record = run_json(capsys, "weigh", "--length", "500", "--mass", "6.3, 6.4, 6.3 g")["weigh"]
    assert record["weighings_g"] == pytest.approx([6.3, 6.4, 6.3])


def test_a_hung_load_far_above_the_rating_is_a_slip(capsys: Capture, tmp_path: Path) -> None:
    why = r"2040 kg: 61.3 Hz: 20006 N is more than 5 times the 34 N that a 2GT 9 mm .*g or kg"
    weights = ["--weight", "2040 kg: 61.3 Hz", "--weight", "1.02 kg: 44 Hz"]
    code, out, err = run(capsys, "hang", *BELT, "--length", "500", *weights)
    assert (code, out) == (2, "")
    assert re.search(why, err), err
    table = tmp_path / "buckets.csv"
    table.write_text("mass [kg], frequency [Hz]\n2.04, 61.3\n1020, 44\n", encoding="utf-8")
    code, _, err = run(capsys, "hang", str(table), *BELT, "--length", "500")
    assert code == 2
    assert "line 3: 10003 N" in err
    code, _, err = run(capsys, "hang", *BELT, "--length", "500", "--most", "3900 N")
    assert code == 2
    assert "--most '3900 N': 3900 N would break" in err
    hung = ["--weight", "1 kg: 60 Hz", "--weight", "2 kg: 80 Hz"]
    code, _, err = run(capsys, "hang", *BELT, "--length", "500", *hung, "--weighed", "126 g/m")
    assert code == 2
    assert "126 g/m is 10 times the 12.6 g/m" in err


def test_a_hung_mass_that_the_belt_cannot_have_is_a_slip(capsys: Capture) -> None:
    weights = [
        x for m in (1, 2, 4) for x in ("--weight", f"{m} kg: {tone(m) / math.sqrt(10):.3f} Hz")
    ]
    code, out, err = run(capsys, "hang", *BELT, "--length", "500 mm", *weights)
    assert (code, out) == (2, "")
    assert "that the catalogue has for 2GT 9 mm" in err


def test_a_piece_too_light_for_the_scale_is_exit_1(capsys: Capture) -> None:
    code, out, err = run(capsys, "weigh", "--length", "300", "--mass", "4 g", "--scale", "1 g")
    assert (code, out) == (1, "")
    assert "too light for a scale" in err


def test_a_weighed_mass_is_kept_under_a_belts_name(capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "router.toml"
    file.write_text(
        '[machine]\nname = "router"\n\n[belts.y-left]\nbelt = "2GT 9 mm"  # from the old roll\n'
        'span = "412 mm"\n',
        encoding="utf-8",
    )
    weighed = ["weigh", "--length", "1000 +/- 1 mm", "--mass", "11.9 g", "--machine", str(file)]
    code, _, err = run(capsys, *weighed, *BELT, "--keep-as", "y-left")
    assert code == 0
    assert "y-left has linear_mass = '11.900(54) g/m'" in err
    assert "# from the old roll" in file.read_text(encoding="utf-8")
    made = belt_of(load(file).belts["y-left"])
    assert made.name == "2GT 9 mm"
    assert made.linear_mass.value == pytest.approx(11.9e-3)
    assert made.linear_mass.u == pytest.approx(0.054e-3)
    code, _, err = run(capsys, *weighed, "--belt", "2GT 12 mm", "--keep-as", "y-left")
    assert code == 2
    assert "nothing was written" in err
    code, _, _ = run(capsys, *weighed, *BELT, "--keep-as", "y-right")
    assert code == 0
    assert belt_of(load(file).belts["y-right"]).name == "2GT 9 mm"


# --- hang ---------------------------------------------------------------------------------------


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "buckets.csv"
    rows = [f"{m} +/- 0.001, {tone(m):.3f}, bucket {i}" for i, m in enumerate((0.25, 0.5, 1, 2, 4))]
    path.write_text("\n".join(["mass [kg], frequency [Hz], label", *rows]), encoding="utf-8")
    return path


def test_hang_prints_what_the_weights_told(capsys: Capture, table: Path) -> None:
    code, out, err = run(
        capsys, "hang", str(table), *BELT, "--length", "500 +/- 1 mm", "--latitude", "45 deg"
    )
    assert (code, err) == (0, "")
    assert "linear mass" in out
    assert "stiffness" in out
    assert "correlation" in out
    assert "tell stiffness from" in out
    assert "-3 u" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "gravity as" not in out


def test_hang_json(capsys: Capture, table: Path) -> None:
    record = run_json(capsys, "hang", str(table), *BELT, "--length", "500 +/- 1 mm")["hang"]
    low, high = record["interval_g_per_m"]
    assert low < 1000 * MASS < high
    assert record["linear_mass_u_g_per_m"] < 0.01 * record["linear_mass_g_per_m"]
    low, high = record["stiffness_interval_n_mm2"]
    assert low < 400 < high
    assert record["stiffness_seen"] is True
    assert [row["label"] for row in record["rows"]][:2] == ["bucket 0", "bucket 1"]
    assert all(row["used"] and abs(row["residual_u"]) < 1 for row in record["rows"])
    assert record["chi2_dof"] == 3
    assert "would become" in record["advice"]
    assert {"between": ["linear mass", "stiffness"], "r": pytest.approx(0.5, abs=0.4)} in record[
        "correlations"
    ]


def test_hung_weights_are_kept_too(capsys: Capture, table: Path, tmp_path: Path) -> None:
    file = tmp_path / "router.toml"
    code, _, err = run(
        capsys, "hang", str(table), *BELT, "--length", "500 +/- 1 mm", "--json",
        "--keep-as", "x", "--machine", str(file),
    )  # fmt: skip
    assert code == 0
    assert "router.toml: x has linear_mass" in err
    assert belt_of(load(file).belts["x"]).linear_mass.value == pytest.approx(MASS, rel=0.02)


def test_a_stiffness_that_was_seen_is_kept_and_used(
    capsys: Capture, table: Path, tmp_path: Path
) -> None:
    file, picture = tmp_path / "router.toml", tmp_path / "hang.png"
    code, _, err = run(
        capsys, "hang", str(table), *BELT, "--length", "500 +/- 1 mm", "--json",
        "--keep-as", "x", "--machine", str(file), "--picture", str(picture),
    )  # fmt: skip
    assert code == 0
    assert "bending_stiffness" in err
    assert picture.stat().st_size > 0
    kept = belt_of(load(file).belts["x"]).ei_n_m2
    assert kept is not None
    assert kept.known == "measured by the user"
    assert kept.value == pytest.approx(STIFF, rel=0.5)
    text = file.read_text() + 'span = "200 mm"\n'
    file.write_text(text)
    tension = ["--machine", str(file), "--frequency", "150 Hz"]
    own = run_json(capsys, "tension", "x", *tension, "--no-keep")["readings"][0]
    file.write_text(re.sub("bending_stiffness.*", 'bending_stiffness = "4 N mm^2"', text))
    limp = run_json(capsys, "tension", "x", *tension, "--no-keep")["readings"][0]
    assert own["tension_n"] < 0.98 * limp["tension_n"]
    assert "bending stiffness 4 N mm^2, taken as +/- 30%" in " ".join(limp["notes"])


def test_typed_pairs_are_a_table(capsys: Capture) -> None:
    pairs = [x for m in (0.25, 0.5, 1.0, 2.0) for x in ("--weight", f"{m} kg: {tone(m):.2f} Hz")]
    record = run_json(capsys, "hang", *pairs, "--length", "500", "--width", "9 mm")["hang"]
    assert record["belt"] is None
    assert record["linear_mass_g_per_m"] == pytest.approx(1000 * MASS, rel=0.02)
    assert any("borrow" in n or "scatters by 0.3 %" in n for n in record["notes"])


def test_tones_are_taken_from_one_recording_a_weight(capsys: Capture, tmp_path: Path) -> None:
    lines = ["mass [kg], recording, length [mm]"]
    for i, m in enumerate((0.5, 1.5, 4.0)):
        square = (tone(m, 0.25, 5) / 5 / tone(m, 0.25)) ** 2
        b = (square - 1) / (25 - square)
        f = tone(m, 0.25)
        sound = pluck_recording(f, inharmonicity=b, plucks=1, decay_s=0.3, noise=1e-3, seed=i)
        save_sound(tmp_path / f"{i}.wav", sound, 48_000.0)
        lines.append(f"{m:.3f}, {i}.wav, 250 +/- 0.3")
    table = tmp_path / "heard.csv"
    table.write_text("\n".join(lines), encoding="utf-8")
    record = run_json(capsys, "hang", str(table), *BELT)["hang"]
    low, high = record["interval_g_per_m"]
    assert low < 1000 * MASS < high
    assert record["linear_mass_g_per_m"] == pytest.approx(1000 * MASS, rel=0.03)
    told = [row for row in record["rows"] if row["inharmonicity"] is not None]
    assert told
    assert all(row["inharmonicity_u"] > 0 for row in told)
    bottom, top = record["stiffness_interval_n_mm2"]
    assert bottom < 1e6 * STIFF < top
    assert top < 2 * bottom
    code, out, err = run(capsys, "hang", str(table), *BELT)
    assert (code, err) == (0, "")
    assert f"partials    of {len(told)} weights joined the fit" in out


def test_a_measured_set_runs_as_it_stands(capsys: Capture) -> None:
    file = SETS / "cord_purple_report.csv"
    record = run_json(capsys, "hang", str(file), "--level", "--ends", "free")["hang"]
    assert record["linear_mass_g_per_m"] == pytest.approx(2.197, rel=0.03)
    assert len(record["rows"]) == 13


def test_without_weights_it_says_which_to_hang_and_how_to_be_safe(capsys: Capture) -> None:
    code, out, _ = run(capsys, "hang", *BELT, "--length", "250 mm")
    assert code == 0
    assert "3.47 kg" in out
    assert "working tension" in out
    assert "a hand's breadth above the floor" in " ".join(out.split())
    assert "Never stand in line" in out
    assert "eye protection" in out
    plan = run_json(capsys, "hang", "--belt", "AT5 25 mm", "--length", "400 mm")["hang"]
    assert plan["plan"][0]["tension_n"] == pytest.approx(plan["most_n"])
    assert len(plan["cautions"]) >= 4


def test_pulling_too_hard_is_said(capsys: Capture) -> None:
    pairs = [x for m in (1.0, 8.0) for x in ("--weight", f"{m} kg: {tone(m):.2f} Hz")]
    record = run_json(capsys, "hang", *pairs, "--length", "500", *BELT, "--weighed", "11.2(1)")
    assert any("N was pulled, more than 34 N" in w for w in record["hang"]["warnings"])


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ([], "give the weights and their tones"),
        (["nothing.csv"], "nothing.csv cannot be read"),
        (["."], "is a folder"),
        (["--weight", "1 kg: 40 Hz"], "needs the length"),
        (["--weight", "1 kg 40 Hz", "--length", "500"], "no weight with its tone"),
        (["--weight", "1 kg: 40 Hz", "--length", "500", "--height", "3 m"], "needs the latitude"),
        (["--weight", "1 kg: 40 Hz", "--length", "500", "--latitude", "95"], "latitude is 95"),
        (["--weight", "1 kg: 40 Hz", "--length", "500", "--ends", "glue"], 'ends "glue"'),
        (["--weight", "1 kg: 40 Hz", "--length", "500", "--fit-ends"], "one length"),
        (["--linear-mass", "3"], "--linear-mass"),
    ],
)
def test_a_wrong_hanging_is_one_line(capsys: Capture, arguments: list[str], why: str) -> None:
    code, out, err = run(capsys, "hang", *arguments)
    assert (code, out) == (2, "")
    assert why in err
    assert len(err.strip().splitlines()) == 1


def test_one_weight_tells_too_little(capsys: Capture) -> None:
    code, out, err = run(capsys, "hang", "--weight", "1 kg: 40 Hz", "--length", "500")
    assert (code, out) == (1, "")
    assert "1 rows cannot tell linear mass, stiffness" in err


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"\xff\xfe\x00mass", "no text in UTF-8"),
        (b"mass [kg]\x00", "no text"),
        (b"", "the table is empty"),
        (b"a" * 1_000_001, "larger than a megabyte"),
    ],
)
def test_what_is_no_table_is_refused(
    capsys: Capture, tmp_path: Path, content: bytes, why: str
) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    code, _, err = run(capsys, "hang", str(path), "--length", "500")
    assert code == 2
    assert why in err


def test_a_recording_that_is_missing_is_named(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("mass [kg],recording\n1,a.wav\n2,b.wav\n", encoding="utf-8")
    code, _, err = run(capsys, "hang", str(path), "--length", "500")
    assert code == 2
    assert "a.wav" in err
