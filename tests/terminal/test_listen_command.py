"""``beltpitch listen`` fed from any source of blocks: lines, JSON, keys, ends and exit codes."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self

import numpy as np
import pytest

from beltpitch.audio.block import Block, Samples
from beltpitch.audio.synthesis import pluck_recording, room_noise
from beltpitch.errors import SourceError
from beltpitch.terminal import keyboard, listen
from beltpitch.terminal.big_digits import ROWS, beside, large
from beltpitch.terminal.main import run_with
from beltpitch.terminal.prompts import ask_for

RATE_HZ = 16_000.0
LIGHT = ["--linear-mass", "11 g/m"]  # the pair is then below its working tension
BELT = ["--belt", "2GT 9 mm", "--span", "286 +/- 0.5 mm", "--ends", "pulley,clamp"]
Capture = pytest.CaptureFixture[str]


@dataclass
class FakeInput:
    name: str = "a tape"
    warnings: tuple[str, ...] = ()


@dataclass
class FakeMicrophone:
    """Sound from memory in place of a microphone."""

    sound: Samples
    fails: str | None = None
    input: FakeInput = field(default_factory=FakeInput)
    rate_hz: float = RATE_HZ
    channel_note: str | None = None
    warnings: tuple[str, ...] = ()
    silence: str | None = None
    interrupted_s: float | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def __iter__(self) -> Iterator[Block]:
        for start in range(0, len(self.sound), 320):
            if self.interrupted_s is not None and start >= self.interrupted_s * RATE_HZ:
                raise KeyboardInterrupt
            yield Block(self.sound[start : start + 320], RATE_HZ)
        if self.fails is not None:
            raise SourceError(self.fails)


def sound(count: int = 3, hertz: float = 95.0) -> Samples:
    return pluck_recording(
        hertz,
        rate_hz=RATE_HZ,
        plucks=count,
        first_s=1.5,
        apart_s=2.0,
        decay_s=0.15,
        scatter=0.001,
        seed=2,
    )


Plug = Callable[[FakeMicrophone], None]


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch) -> Plug:
    def plugged(microphone: FakeMicrophone) -> None:
        monkeypatch.setattr(listen, "opened", lambda _: microphone)

    return plugged


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(["listen", *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def records(out: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in out.splitlines()]


def test_a_pipe_gets_a_line_a_pluck_and_the_summary(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound()))
    code, out, err = run(capsys, *BELT)
    assert code == 0
    assert "listening to a tape at 16000 Hz" in err
    lines = out.splitlines()
    told = [line for line in lines if line.startswith("pluck ")]
    assert len(told) == 3
    assert all(" Hz  " in line and " N" in line for line in told)
    assert any(line.startswith("> belt: push the carriage") for line in lines)
    assert "tension" in out
    assert "\x1b[" not in out


def test_json_is_one_object_a_line_and_the_whole_last(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound()))
    code, out, _ = run(capsys, *BELT, "--json")
    assert code == 0
    told = records(out)
    assert [set(r) for r in told[:-1]] == [{"pluck"}] * 3
    pluck = told[0]["pluck"]
    assert pluck["used"] is True
    assert pluck["frequency_hz"] == pytest.approx(95.0, rel=5e-3)
    assert pluck["preload_n"] > 0
    assert set(told[-1]) == {"schema", "readings"}
    (whole,) = told[-1]["readings"]
    assert [p["frequency_hz"] for p in whole["plucks"]] == [
        r["pluck"]["frequency_hz"] for r in told[:-1]
    ]


def test_without_belt_and_span_there_are_frequencies(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound()))
    code, out, _ = run(capsys, "--json")
    assert code == 0
    (whole,) = records(out)[-1]["readings"]
    assert whole["tension_n"] is None
    assert whole["frequency_hz"] == pytest.approx(95.0, rel=5e-3)


def test_it_ends_after_the_plucks_or_the_time(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound(4)))
    _, out, _ = run(capsys, *BELT, "--json", "--plucks", "2")
    assert len(records(out)) == 3
    _, out, _ = run(capsys, *BELT, "--json", "--for", "3.2 s")
    assert len(records(out)) == 2


def test_interrupted_it_sums_up(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound(), interrupted_s=4.0))
    code, out, _ = run(capsys, *BELT, "--json")
    assert code == 0
    assert len(records(out)[-1]["readings"][0]["plucks"]) == 2


def test_a_lost_input_keeps_its_plucks(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound(1), fails="the sound input a tape was lost"))
    code, out, err = run(capsys, *BELT, "--json")
    assert code == 0
    assert "the sound input a tape was lost" in err
    assert records(out)[-1]["readings"][0]["frequency_hz"] == pytest.approx(95.0, rel=5e-3)


def test_nothing_heard_is_exit_1_with_the_reason(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(room_noise(48_000, 3e-4, 1)))
    code, out, err = run(capsys, *BELT, "--json")
    assert code == 1
    assert records(out) == [{"schema": 1, "readings": []}]
    assert "no pluck was heard" in err
    code, out, err = run(capsys, *BELT)
    assert code == 1
    assert "no pluck was heard" in err


def test_warnings_of_the_input_are_said(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound(1), warnings=("a tape seems to be a Bluetooth input",)))
    _, out, _ = run(capsys, *BELT)
    assert "! a tape seems to be a Bluetooth input" in out


@pytest.mark.parametrize("how", ["--json", "--plain"])
def test_a_dead_input_is_told_once_and_so_is_its_waking(
    capsys: Capture, plug: Plug, how: str
) -> None:
    said = "a tape delivers digital silence: unmute it."
    asleep = np.concatenate([np.zeros(32_000), sound(1)])
    plug(FakeMicrophone(asleep, warnings=(said,), silence=said))
    _, out, err = run(capsys, *BELT, *(["--json"] if how == "--json" else []))
    told = err if how == "--json" else out
    assert told.count("digital silence") == 1
    assert told.index(f"the input is dead: {said}") < told.index("no longer: the input is dead")


def test_every_pluck_is_kept(capsys: Capture, plug: Plug, tmp_path: Path) -> None:
    plug(FakeMicrophone(sound(2)))
    run(capsys, *BELT, "--json", "--save", str(tmp_path / "kept"))
    names = sorted(path.name for path in (tmp_path / "kept").iterdir())
    assert names == ["belt-001.flac", "belt-001.json", "belt-002.flac", "belt-002.json"]


def test_a_known_rate_error_is_corrected_and_named(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(sound(2)))
    _, out, _ = run(capsys, *BELT, "--json")
    (plain,) = records(out)[-1]["readings"]
    code, out, err = run(capsys, *BELT, "--json", "--clock", "+2000 +/- 20 ppm")
    assert code == 0
    (whole,) = records(out)[-1]["readings"]
    assert plain["frequency_hz"] / whole["frequency_hz"] == pytest.approx(1.002, rel=1e-4)
    assert whole["corrections"][-1]["name"] == "clock"
    assert whole["corrections"][-1]["percent"] == pytest.approx(-0.4, abs=0.01)
    told = "the sound device's rate is off by +2000 +/- 20 ppm, corrected"
    assert told in whole["notes"]
    assert told in err
    _, out, _ = run(capsys, *BELT, "--details", "--clock", "+20 ppm")
    assert "clock -0.004 %" in " ".join(out.split())
    assert "+20 ppm, taken as +/- 5 ppm" in " ".join(out.split())


MACHINE = """
[belts.y-left]
belt = "2GT 9 mm"
span = "286 +/- 0.5 mm"
ends = "pulley,clamp"
target = "36 N"

[clock]
"a tape" = "+2000(10) ppm"
"""


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "beltpitch.toml").write_text(MACHINE)
    return tmp_path


def test_a_name_is_all_one_types(capsys: Capture, plug: Plug, machine: Path) -> None:
    """Belt, span, ends, target and the device's rate error come from the machine file."""
    plug(FakeMicrophone(sound(2)))
    code, out, err = run(capsys, "y-left", "--json")
    assert code == 0
    assert "using beltpitch.toml of this folder" in err
    (whole,) = records(out)[-1]["readings"]
    assert (whole["source"], whole["belt"]) == ("y-left", "2GT 9 mm")
    assert (whole["span_mm"], whole["ends"]) == (286.0, "pulley,clamp")
    low, high = whole["window_n"]
    assert low + high == pytest.approx(2 * 36)  # the target of the file
    assert (high - low) / 2 == pytest.approx(  # what the reading resolves is more than 10 %
        36 * (whole["preload_interval_n"][1] / whole["preload_n"] - 1), rel=0.02
    )
    assert whole["frequency_hz"] == pytest.approx(95.0 / 1.002, rel=2e-3)
    assert [c["name"] for c in whole["corrections"]][-1] == "clock"
    # what is said beside the name stands over the file
    _, out, _ = run(capsys, "y-left", "--json", "--clock", "0 +/- 1 ppm")
    (other,) = records(out)[-1]["readings"]
    assert other["frequency_hz"] / whole["frequency_hz"] == pytest.approx(1.002, rel=1e-4)


def test_the_sound_is_kept_in_the_book_and_read_again(
    capsys: Capture, plug: Plug, machine: Path
) -> None:
    plug(FakeMicrophone(np.concatenate([sound(3), room_noise(16_000, 3e-4, 1)])))
    kept = ["--keep", "--book", "book.sqlite", "--sound"]
    code, out, err = run(capsys, "y-left", "--json", *kept)
    assert code == 0
    assert "kept as 1 (y-left)" in err
    (whole,) = records(out)[-1]["readings"]
    assert run_with(["history", "read-again", "1", "--book", "book.sqlite", "--json"]) == 0
    told = capsys.readouterr().out
    (again,) = json.loads(told)["readings"]
    assert len(again["plucks"]) == 3
    u = whole["frequency_u_hz"]
    assert again["frequency_hz"] == pytest.approx(whole["frequency_hz"], abs=u)
    # the rate error it was heard with is still put right
    assert again["corrections"][-1]["name"] == "clock"


def test_no_sound_is_kept_unasked(capsys: Capture, plug: Plug, machine: Path) -> None:
    plug(FakeMicrophone(sound(1)))
    run(capsys, "y-left", "--json", "--keep", "--book", "book.sqlite")
    assert run_with(["history", "read-again", "1", "--book", "book.sqlite"]) == 2
    assert "has no sound" in capsys.readouterr().err


def test_words_to_keep_that_nobody_can_be_asked_about_are_not_lost_in_silence(
    capsys: Capture, plug: Plug, machine: Path
) -> None:
    plug(FakeMicrophone(sound(1)))
    code, _, err = run(capsys, "y-left", "--json", "--note", "after the crash")
    assert code == 0
    assert "not kept: nobody is there to be asked; add --keep" in err


def test_both_strands_are_asked_for(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(np.concatenate([sound(2), sound(2, 90.0)])))
    strands = ["--span", "equal", "--strand", "upper", "--strand", "lower", "--plucks", "2"]
    code, out, _ = run(capsys, *BELT, *strands, "--json")
    assert code == 0
    upper, lower = records(out)[-1]["readings"]
    assert (upper["strand"], lower["strand"]) == ("upper", "lower")
    assert upper["strand_difference_n"] > 0
    assert upper["preload_n"] == lower["preload_n"]


def test_arriving_from_each_side(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(np.concatenate([sound(1), sound(1, 94.0)])))
    code, out, _ = run(capsys, *BELT, "--sides", "--plucks", "1")
    assert code == 0
    assert "arrive from the other side" in out
    assert "between strands" in out


def test_two_parks(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(np.concatenate([sound(1, 60.0), sound(1, 95.0)])))
    words = ["--parks", "--travel", "100 +/- 0.2 mm", "--plucks", "1", "--json"]
    code, out, _ = run(capsys, *BELT, *words)
    assert code == 0
    assert records(out)[-1]["readings"][-1]["tension_n"] is not None


def test_parks_that_are_not_whole_teeth_apart_are_said_at_once(capsys: Capture, plug: Plug) -> None:
    plug(FakeMicrophone(np.concatenate([sound(1, 60.0), sound(1, 95.0)])))
    words = ["--parks", "--travel", "101 +/- 0.2 mm", "--plucks", "1", "--json"]
    code, out, err = run(capsys, *BELT, *words)
    assert code == 0
    assert "beltpitch: a travel of 101 mm is 50.5 teeth" in err
    (said,) = (w for w in records(out)[-1]["readings"][-1]["warnings"] if "50.5 teeth" in w)
    assert said.endswith("move by 100 or 102 mm")


def test_keys_end_it_and_move_it_on(
    capsys: Capture, plug: Plug, monkeypatch: pytest.MonkeyPatch
) -> None:
    plug(FakeMicrophone(np.concatenate([sound(1), sound(1, 90.0), sound(3)])))
    pressed = {4: "n", 7: "q"}  # seconds: key

    class Hand(keyboard.Keys):
        count = 0

        def pressed(self) -> str:
            self.count += 1
            return pressed.pop(self.count * 320 // int(RATE_HZ), "")

    monkeypatch.setattr(listen, "Keys", Hand)
    code, out, _ = run(
        capsys, *BELT, "--span", "equal", "--strand", "upper", "--strand", "lower", "--json"
    )
    assert code == 0
    upper, lower = records(out)[-1]["readings"]
    assert upper["frequency_hz"] == pytest.approx(95.0, rel=0.01)
    assert lower["frequency_hz"] == pytest.approx(90.0, rel=0.01)


def hand(monkeypatch: pytest.MonkeyPatch, pressed: dict[float, str]) -> None:
    """Press keys at so many seconds of sound."""

    class Hand(keyboard.Keys):
        count = 0

        def __enter__(self) -> Self:
            return self

        @staticmethod
        def there() -> bool:
            return True

        def pressed(self) -> str:
            self.count += 1
            due = [at for at in pressed if self.count * 320 >= at * RATE_HZ]
            return "".join(pressed.pop(at) for at in due)

    monkeypatch.setattr(listen, "Keys", Hand)


PAIR = [*BELT, "--name", "left", "--name", "right"]


def pair(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = run_with(["pair", *PAIR, *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def test_a_pair_is_not_matched_by_plucking_the_belt_that_is_not_asked_for(
    capsys: Capture, plug: Plug, monkeypatch: pytest.MonkeyPatch
) -> None:
    """36 % apart: the left belt plucked again in place of the right made them ``matched``."""
    plug(FakeMicrophone(np.concatenate([sound(5), sound(3, 81.5), sound(5)])))
    hand(monkeypatch, {})
    _, out, _ = pair(capsys, *LIGHT)
    assert "matched: left is 0." not in out
    assert "sounds like left, not like right (81.5 Hz): which belt was it?" in out
    assert "t right was turned: pluck it again · w it was left · x leave it out" in out
    assert out.count("counts for no belt until the question") > 3
    plug(FakeMicrophone(np.concatenate([sound(5), sound(3, 81.5), sound(5)])))
    _, out, _ = pair(capsys, *LIGHT, "--json")
    whole = records(out)[-1]["pair"]
    assert whole["word"] == "unmatched"
    assert whole["tighter"] == "left"
    assert whole["tighter_by"] == pytest.approx(0.36, abs=0.02)


def test_every_verdict_that_was_reached_stays_in_the_output(
    capsys: Capture, plug: Plug, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = [sound(5), sound(3, 84.0), sound(1, 94.9), sound(2, 94.9), sound(1)]
    ends = np.cumsum([len(part) / RATE_HZ for part in parts])
    pressed = {float(ends[1]) - 0.3: "t", float(ends[2]) - 0.3: "y"}
    for words in ([], ["--json"]):
        plug(FakeMicrophone(np.concatenate(parts)))
        hand(monkeypatch, dict(pressed))
        code, out, _ = pair(capsys, *LIGHT, *words)
        assert code == 0
        if words:
            reached = records(out)[-1]["pair"]["reached"]
            assert [each["event"] for each in reached] == ["unmatched", "turned", "matched"]
            assert reached[0]["tighter_by"] == pytest.approx(0.28, abs=0.02)
        else:
            said = " ".join(out.split())
            assert "tighter · right turned · matched" in said
            assert "reached unmatched, left 2" in said


def test_two_groups_without_an_answer_are_both_shown(
    capsys: Capture, plug: Plug, monkeypatch: pytest.MonkeyPatch
) -> None:
    """26.8 and 36.4 N in one session gave 33.5 N, which neither state had."""
    plug(FakeMicrophone(np.concatenate([sound(5, 81.5), sound(5)])))
    hand(monkeypatch, {})
    code, out, err = run(capsys, *BELT)
    assert code == 1
    assert "was belt turned?" in out
    assert "group 1" in out
    assert "group 2" in out
    assert "differ by more than one hand scatters" in err


def test_a_turn_that_is_told_keeps_the_plucks_after_it(
    capsys: Capture, plug: Plug, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = [sound(5, 81.5), sound(2), sound(1)]
    plug(FakeMicrophone(np.concatenate(parts)))
    hand(monkeypatch, {(len(parts[0]) + len(parts[1])) / RATE_HZ - 0.3: "t"})
    code, out, _ = run(capsys, *BELT, "--json")
    assert code == 0
    (reading,) = records(out)[-1]["readings"]
    assert reading["frequency_hz"] == pytest.approx(95.0, rel=0.003)
    assert len([p for p in reading["plucks"] if p["used"]]) == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--for", "60 Hz"], "--for"),
        (["--for", "0 s"], "--for"),
        (["--plucks", "0"], "--plucks"),
        (["--sides", "--strand", "a", "--strand", "b"], "--sides"),
        (["--parks"], "--travel"),
        (["--unit", "kg"], "--unit"),
        (["--width", "9 mm"], "--width alone"),
        (["--parks", "--travel", "100 mm"], "two parks need"),
        (["--from", "100", "--to", "50"], "must rise"),
        (["--clock", "3 %"], "no sound device"),
        (["--clock", "quick"], "no rate error"),
        (["--keep", "--sound", "--strand", "a", "--strand", "b"], "one strand at one place"),
    ],
)
def test_what_cannot_be_is_one_line_and_exit_2(
    capsys: Capture, plug: Plug, words: list[str], said: str
) -> None:
    plug(FakeMicrophone(sound(1)))
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


def test_a_folder_that_cannot_be_made_is_told(capsys: Capture, plug: Plug, tmp_path: Path) -> None:
    plug(FakeMicrophone(sound(1)))
    (tmp_path / "file").write_text("")
    code, _, err = run(capsys, *BELT, "--save", str(tmp_path / "file" / "x"))
    assert code == 2
    assert "cannot make this folder" in err


def test_large_figures_are_five_rows_and_told_apart() -> None:
    signs = {sign: tuple(large(sign)) for sign in "0123456789.-±NHzlbfkg"}
    assert all(len(rows) == ROWS for rows in signs.values())
    assert len(set(signs.values())) == len(signs)
    assert large("7", "#", wide=1) == ["###", "  #", " #", " #", " #"]
    assert large("x") == large("?")
    assert [len(row) for row in beside(large("36.4 N"), large("±2.2", wide=1))] <= [80] * ROWS


# --- asking ---------------------------------------------------------------------------------------


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Callable[..., list[str]]:
    """Answer the questions one after the other; returns the questions as they are asked."""

    def given(*texts: str) -> list[str]:
        asked: list[str] = []
        left = list(texts)

        def prompt(words: str, **_: object) -> str:
            asked.append(words)
            return left.pop(0)

        monkeypatch.setattr("typer.prompt", prompt)
        return asked

    return given


NOTHING = {
    "belt": None,
    "width": None,
    "linear_mass": None,
    "construction": None,
    "span": None,
    "target": None,
}


def test_a_belt_of_the_machine_file_is_offered_by_name(
    answers: Callable[..., list[str]], machine: Path
) -> None:
    asked = answers("y-left")
    told = ask_for(NOTHING, "pulley")
    assert asked == [
        "Which belt: y-left, or one such as 2GT 9 mm (Enter: frequency only)",
    ]
    assert (told.name, told.over) == ("y-left", NOTHING)


def test_what_is_told_is_asked_again_until_it_can_be_read_and_is_written_down(
    answers: Callable[..., list[str]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Capture,
) -> None:
    monkeypatch.chdir(tmp_path)
    asked = answers("3GTX 9 mm", "2GT 9 mm", "286 Hz", "286 +/- 0.5 mm", "x-axis")
    told = ask_for(NOTHING, "pulley,clamp")
    assert len(asked) == 5
    assert asked[0] == "Which belt, such as 2GT 9 mm (Enter: frequency only)"
    assert told.name == "x-axis"  # this sitting is already kept under it
    assert told.over["span"] == "286 +/- 0.5 mm"
    assert "no unit of length" in capsys.readouterr().out
    written = (tmp_path / "beltpitch.toml").read_text()
    assert '[belts.x-axis]\nbelt = "2GT 9 mm"\nspan = "286 +/- 0.5 mm"' in written


def test_enter_asks_for_frequencies_only(
    answers: Callable[..., list[str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    asked = answers("")
    told = ask_for(NOTHING, "pulley")
    assert len(asked) == 1
    assert (told.name, told.over) == (None, NOTHING)


HEAVY = """
import sys
from tests.terminal.test_listen_command import BELT, FakeMicrophone, sound
from beltpitch.terminal import listen
from beltpitch.terminal.main import run_with
listen.opened = lambda _: FakeMicrophone(sound(1))
assert run_with(["listen", *BELT, "--json"]) == 0
heavy = {"scipy.optimize", "scipy.signal", "librosa", "matplotlib", "soundfile", "av"}
sys.stderr.write(f"loaded: {sorted(heavy & set(sys.modules))}")
"""


def test_listening_waits_for_nothing_that_it_does_not_need() -> None:
    """What is slow to load is loaded by what needs it: pictures, reports, sound files."""
    done = subprocess.run(
        [sys.executable, "-c", HEAVY],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        cwd=Path(__file__).parents[2],
    )
    assert done.stderr.endswith("loaded: []"), done.stderr
