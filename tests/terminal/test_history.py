"""``beltpitch history``: kept by a name, listed, shown, carried out and in, deleted on purpose."""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path
from typing import Any

import pytest
import typer

from beltpitch.audio.files import save_sound
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.terminal import listen
from beltpitch.terminal.main import run_with
from tests.terminal.test_listen_command import FakeMicrophone, sound

Capture = pytest.CaptureFixture[str]
FILE = """\
[machine]
name = "Northlight router"
check_every = "60 d"

[belts.y-left]
belt = "2GT 9 mm"
span = "412 +/- 1 mm"
ends = "clamp,idler"
target = "40 N"
within = "25 %"

[belts.y-right]
belt = "2GT 9 mm"
span = "410 mm"
target = "60 N"
within = "60 %"

[pairs.y]
belts = ["y-left", "y-right"]
"""


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "router"
    folder.mkdir()
    (folder / "beltpitch.toml").write_text(FILE)
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture(scope="module")
def plucked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plucked") / "y-right.wav"
    save_sound(path, pluck_recording(94.6, plucks=3, decay_s=0.25, noise=1e-3, seed=3), 48_000.0)
    os.utime(path, (1_772_357_400, 1_772_357_400))  # 2026-03-01 09:30 UTC
    return path


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(list(arguments))
    out, err = capsys.readouterr()
    return code, out, err


def run_json(capsys: Capture, *arguments: str) -> Any:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    record = json.loads(out)
    assert set(record) == {"schema", "history"}
    return record["history"]


def keep(capsys: Capture, hertz: float, taken: str, *more: str, name: str = "y-left") -> str:
    code, _, err = run(
        capsys, "tension", name, *(["--frequency", f"{hertz} Hz"] * 3), "--taken", taken, *more
    )
    assert code == 0, err
    return err


def fill(capsys: Capture) -> None:
    for hertz, taken in ((70.2, "2026-03-01"), (69.9, "2026-04-01"), (69.6, "2026-05-01")):
        keep(capsys, hertz, taken)


# --- keeping -------------------------------------------------------------------------------------


def test_a_reading_by_name_is_kept_and_the_place_is_said(
    capsys: Capture, own_data_folder: Path
) -> None:
    err = keep(capsys, 70.2, "2026-03-01 10:00", "--note", "first", "--seen", "frayed edge",
               "--temperature", "68 degF", "--tensioned")  # fmt: skip
    assert f"kept as 1 (y-left) in {own_data_folder}" in err
    line = run_json(capsys, "history")["entries"][0]
    assert (line["note"], line["seen"], line["event"]) == ("first", "frayed edge", "tensioned")
    assert line["temperature_c"] == pytest.approx(20.0)
    assert line["machine"] == "Northlight router"
    assert line["record"]["inputs"]["belt"]["span"] == "412 +/- 1 mm"


def test_no_keep_does_not_and_keep_does_without_a_machine(capsys: Capture, home: Path) -> None:
    run(capsys, "tension", "y-left", "--frequency", "70", "--no-keep")
    belt = ["--frequency", "70", "--belt", "2GT 9 mm", "--span", "412 mm"]
    run(capsys, "tension", *belt)
    code, _, err = run(capsys, "history")
    assert code == 2
    assert "nothing was kept there yet" in err
    run(capsys, "tension", *belt, "--keep")
    lines = run_json(capsys, "history", "--all")["entries"]
    assert [(e["machine"], e["belt"]) for e in lines] == [("", "2GT 9 mm")]


def test_a_pair_keeps_two_entries_and_two_strands_keep_one(capsys: Capture) -> None:
    run(capsys, "tension", "y", "--frequency", "70", "--frequency", "71")
    run(
        capsys, "tension", "y-left", "--frequency", "70", "--frequency", "71",
        "--strand", "left", "--strand", "right", "--span", "412 mm", "--span", "equal",
    )  # fmt: skip
    entries = run_json(capsys, "history")["entries"]
    assert [(e["belt"], e["strand"]) for e in entries] == [
        ("y-left", "left and right"), ("y-right", None), ("y-left", None),
    ]  # fmt: skip
    both = entries[0]["record"]["reading"]
    assert both["strand_difference_n"] is not None
    assert len(both["plucks"]) == 2


def test_the_book_lies_where_option_or_machine_file_say(capsys: Capture, home: Path) -> None:
    keep(capsys, 70.2, "2026-03-01", "--book", "mine.sqlite")
    assert (home / "mine.sqlite").exists()
    assert len(run_json(capsys, "history", "--book", "mine.sqlite")["entries"]) == 1
    text = FILE.replace("check_every", 'book = "router.sqlite"\ncheck_every')
    (home / "beltpitch.toml").write_text(text)
    keep(capsys, 70.2, "2026-03-01")
    assert (home / "router.sqlite").exists()


def test_a_reading_without_an_answer_is_not_kept(capsys: Capture, home: Path) -> None:
    save_sound(home / "silence.wav", pluck_recording(90.0, plucks=1)[:2000] * 0, 48_000.0)
    code, _, err = run(capsys, "recording", "y-left", "silence.wav")
    assert code == 1
    assert "not kept" in err
    assert run(capsys, "history")[0] == 2


def test_a_book_that_cannot_be_written_does_not_hide_the_reading(
    capsys: Capture, home: Path
) -> None:
    (home / "folder").mkdir()
    code, out, err = run(
        capsys, "tension", "y-left", "--frequency", "70", "--book", str(home / "folder")
    )
    assert code == 2
    assert "41." in out
    assert "is a folder" in err


# --- recordings ----------------------------------------------------------------------------------


def test_a_recording_is_kept_by_a_name_once_and_again_as_its_revision(
    capsys: Capture, plucked: Path
) -> None:
    _, out, err = run(capsys, "recording", "y-right", str(plucked), "--sound")
    assert "94.599" in out
    assert "by the file's date" in err
    assert "kept as 1 (y-right)" in err
    _, _, err = run(capsys, "recording", "y-right", str(plucked))
    assert "kept as 1, revision 2" in err
    entries = run_json(capsys, "history")["entries"]
    assert len(entries) == 1
    assert entries[0]["taken"].startswith("2026-03-01T09:30")
    assert entries[0]["has_sound"]
    run(capsys, "recording", str(plucked))
    assert len(run_json(capsys, "history")["entries"]) == 1


def test_a_date_that_is_said_later_corrects_the_entry(capsys: Capture, plucked: Path) -> None:
    run(capsys, "recording", "y-right", str(plucked), "--keep")
    words = ("--keep", "--taken", "2026-02-03 14:30", "--note", "n")
    _, _, err = run(capsys, "recording", "y-right", str(plucked), *words)
    assert "kept as 1, revision 2" in err
    (entry,) = run_json(capsys, "history")["entries"]
    assert entry["taken"].startswith("2026-02-03T14:30")
    run(capsys, "recording", "y-right", str(plucked), "--keep")  # the file's date says no more
    (entry,) = run_json(capsys, "history")["entries"]
    assert entry["taken"].startswith("2026-02-03T14:30")


def test_a_pair_takes_one_recording_for_each_belt(capsys: Capture, plucked: Path) -> None:
    code, _, err = run(capsys, "recording", "y", str(plucked), str(plucked))
    assert code == 0, err
    assert [e["belt"] for e in run_json(capsys, "history")["entries"]] == ["y-right", "y-left"]
    code, _, err = run(capsys, "recording", "y", str(plucked))
    assert code == 2
    assert "2 belts (y-left, y-right) and 1 recordings" in err


def test_the_sound_comes_out_and_is_read_again(capsys: Capture, plucked: Path, home: Path) -> None:
    run(capsys, "recording", "y-right", str(plucked), "--sound")
    assert run(capsys, "history", "sound", "1", "out.flac")[0] == 0
    assert (home / "out.flac").read_bytes().startswith(b"fLaC")
    assert "is there already" in run(capsys, "history", "sound", "1", "out.flac")[2]
    assert "name a .flac file" in run(capsys, "history", "sound", "1", "out.wav")[2]
    code, out, err = run(capsys, "history", "read-again", "1")
    assert code == 0, err
    assert "94.599" in out
    assert "kept as revision 2 of 1" in err


# --- live ----------------------------------------------------------------------------------------


def test_what_was_heard_live_is_kept_if_said_or_answered(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listen, "opened", lambda _: FakeMicrophone(sound()))
    code, _, err = run(capsys, "listen", "y-right", "--plucks", "3", "--keep", "--note", "live")
    assert code == 0, err
    assert "kept as 1 (y-right)" in err
    assert "kept" not in run(capsys, "listen", "y-right", "--plucks", "3")[2]  # nobody to ask
    monkeypatch.setattr(listen, "on_terminal", lambda: True)
    questions: list[tuple[str, object]] = []
    answers = [True, False]

    def confirm(words: str, *, default: bool, err: bool) -> bool:
        questions.append((words, default))
        return answers.pop(0)

    monkeypatch.setattr(typer, "confirm", confirm)
    assert "kept as 2" in run(capsys, "listen", "y-right", "--plucks", "3")[2]
    assert "kept" not in run(capsys, "listen", "y-right", "--plucks", "3")[2]
    assert questions == [("Keep this in the book?", True)] * 2
    entries = run_json(capsys, "history")["entries"]
    assert [(e["belt"], e["note"]) for e in entries] == [("y-right", None), ("y-right", "live")]
    assert entries[0]["digest"] is None
    assert len(entries[0]["record"]["reading"]["plucks"]) == 3


def test_a_pair_of_the_machine_is_kept_too(capsys: Capture) -> None:
    given = ["--first", "70", "--first", "70.1", "--second", "71", "--second", "71.1"]
    code, _, err = run(capsys, "pair", "y", *given)
    assert code == 0, err
    assert "kept as 1 (y-left)" in err
    assert "kept as 2 (y-right)" in err
    assert "kept" not in run(capsys, "pair", "y", *given, "--no-keep")[2]


# --- finding -------------------------------------------------------------------------------------


def test_the_list_is_readable_at_80_columns_and_filters(capsys: Capture) -> None:
    fill(capsys)
    keep(capsys, 71.0, "2026-05-02", "--note", "n" * 200, name="y-right")
    code, out, _ = run(capsys, "history")
    assert code == 0
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    assert [line.split()[0] for line in lines[1:]] == ["4", "3", "2", "1"]
    assert "2026-05-02" in lines[1]
    assert len(run(capsys, "history", "--belt", "y-left", "--last", "2")[1].splitlines()) == 4
    since = run_json(capsys, "history", "--since", "2026-04-15", "--until", "2026-05-01 12:00")
    assert [e["id"] for e in since["entries"]] == [3]
    assert run_json(capsys, "history", "--verdict", "slack")["entries"] == []
    assert "No reading like that" in run(capsys, "history", "--belt", "z")[1]
    assert run(capsys, "history", "--verdict", "good")[0] == 2


def test_only_this_machine_is_listed_unless_all_are_asked_for(capsys: Capture, home: Path) -> None:
    keep(capsys, 70.2, "2026-03-01")
    (home / "beltpitch.toml").write_text(FILE.replace("Northlight router", "laser"))
    keep(capsys, 70.2, "2026-03-01")
    assert [e["machine"] for e in run_json(capsys, "history")["entries"]] == ["laser"]
    assert len(run_json(capsys, "history", "--all")["entries"]) == 2


def test_markup_and_controls_in_a_note_are_shown_as_they_stand(capsys: Capture) -> None:
    keep(capsys, 70.2, "2026-03-01", "--note", "[red]x[/red] \x1b[31m [bold", "--seen", "[link")
    for arguments in (("history",), ("history", "show", "1")):
        code, out, _ = run(capsys, *arguments)
        assert code == 0
        assert "\x1b" not in out
        assert "[link" in out


def test_show_tells_everything(capsys: Capture) -> None:
    keep(capsys, 70.2, "2026-03-01", "--note", "first", "--temperature", "21")
    _, out, _ = run(capsys, "history", "show", "1")
    for words in ("41.9 N", "70.20 Hz", "linear mass", "bending", "21 degC", "first", "revision"):
        assert words in out
    assert "the rest: below 0.5% each" in " ".join(out.split())
    assert "(0%)" not in out
    entry = run_json(capsys, "history", "show", "1")["entry"]
    assert entry["record"]["reading"]["preload_n"] == pytest.approx(41.9, abs=0.2)
    assert "no entry 9" in run(capsys, "history", "show", "9")[2]


def test_trend_says_drift_date_and_doubt(capsys: Capture, home: Path) -> None:
    fill(capsys)
    code, out, _ = run(capsys, "history", "trend", "y-left", "--picture", "trend.svg")
    assert code == 0
    for words in ("a month", "next check", "30.0 N to 50.0 N", "linear mass", "Power off"):
        assert words in out
    assert (home / "trend.svg").read_bytes().startswith(b"<?xml")
    found = run_json(capsys, "history", "trend", "y-left")["trend"]
    assert found["drift_n_per_day"] == pytest.approx(-0.0117, abs=0.001)
    assert [p["entry"] for p in found["points"]] == [1, 2, 3]
    assert found["next_check"].startswith("2026-06")
    assert 'no reading of "z"' in run(capsys, "history", "trend", "z")[2]


def test_a_trend_does_not_mix_machines_with_belts_of_one_name(capsys: Capture, home: Path) -> None:
    keep(capsys, 70.2, "2026-03-01")
    (home / "beltpitch.toml").write_text(FILE.replace("Northlight router", "laser"))
    keep(capsys, 50.0, "2026-03-02")
    (home / "beltpitch.toml").unlink()
    code, _, err = run(capsys, "history", "trend", "y-left")
    assert code == 2
    assert "several machines (Northlight router, laser)" in err


# --- out, in, away -------------------------------------------------------------------------------


def test_export_and_import(capsys: Capture, home: Path) -> None:
    fill(capsys)
    keep(capsys, 70.0, "2026-06-01", "--note", "=1+1")
    assert run(capsys, "history", "export", "all.csv")[0] == 0
    with (home / "all.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 4
    assert rows[0]["note"] == "'=1+1"
    assert run(capsys, "history", "export", "all.json", "--belt", "y-left")[0] == 0
    whole = json.loads((home / "all.json").read_text())["history"]["entries"]
    assert whole[0]["record"]["estimates"]["preload"]["parts"]
    _, _, err = run(capsys, "history", "import", "all.csv", "--book", "other.sqlite")
    assert "4 kept" in err
    _, _, err = run(capsys, "history", "import", "all.csv", "--book", "other.sqlite")
    assert "0 kept" in err
    assert "4 were there already" in err
    for name, said in (("all.csv", "is there already"), ("all.txt", ".csv or a .json")):
        code, _, err = run(capsys, "history", "export", name)
        assert code == 2
        assert said in err
    assert "cannot be written" in run(capsys, "history", "export", "no/all.csv")[2]


def test_export_import_and_delete_say_what_was_done_as_json(capsys: Capture, home: Path) -> None:
    fill(capsys)
    assert run_json(capsys, "history", "export", "all.csv") == {
        "written": {"file": "all.csv", "count": 3}
    }
    done = run_json(capsys, "history", "import", "all.csv", "--book", "other.sqlite")["imported"]
    assert (done["kept"], done["there_already"]) == (3, 0)
    assert Path(done["book"]).name == "other.sqlite"
    gone = run_json(capsys, "history", "delete", "2", "--yes")
    listed = run_json(capsys, "history", "--book", "other.sqlite")["entries"]
    assert gone == {"deleted": {"id": 2, "belt": "y-left", "taken": listed[1]["taken"]}}


def test_delete_wants_a_number_and_a_yes(capsys: Capture) -> None:
    fill(capsys)
    code, _, err = run(capsys, "history", "delete", "2")
    assert code == 2
    assert "nothing deleted" in err
    assert "--yes" in err
    assert run(capsys, "history", "delete", "2", "--yes")[0] == 0
    assert [e["id"] for e in run_json(capsys, "history")["entries"]] == [3, 1]
    assert run(capsys, "history", "delete", "2", "--yes")[0] == 2
    assert run(capsys, "history", "delete", "--yes")[0] == 2
