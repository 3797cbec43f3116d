"""``listen`` and live ``pair`` on a real sound system, and on a real terminal."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from beltpitch import parsing
from beltpitch.audio.synthesis import pluck_recording, room_noise
from beltpitch.reading import Reading, read

PATIENCE_S = 120.0
CHILD = str(Path(__file__).with_name("measure_child.py"))
DATA = Path(__file__).parents[1] / "data" / "plucks"
RUN = "from beltpitch.terminal.main import run; run()"
BELT = ("--belt", "2GT 9 mm", "--span", "286 +/- 0.5 mm", "--ends", "pulley,clamp")
SAME = 3.0  # combined standard uncertainties
FLOOR = 2e-4  # relative; below it resampling and the place of the cut show


class Bench(Protocol):
    """What these tests use of the bench in conftest.py."""

    folder: Path
    env: dict[str, str]

    def play(self, path: Path, *, wait: bool = True) -> subprocess.Popen[bytes]: ...
    def python(self, *words: str) -> subprocess.Popen[str]: ...
    def kill(self) -> None: ...


class Command:
    """A command of beltpitch, listening; sound is played once it says that it listens."""

    def __init__(self, bench: Bench, *words: str) -> None:
        self.bench = bench
        self.child = bench.python(*words)
        assert self.child.stderr is not None
        told = []
        for line in self.child.stderr:
            told.append(line)
            if "listening" in line:
                return
        raise AssertionError("".join(told))

    def end(self) -> tuple[list[dict[str, Any]], str, int]:
        """Wait for its end; return its JSON lines, its messages and its exit code."""
        said, errors = self.child.communicate(timeout=PATIENCE_S)
        assert "Traceback" not in errors, errors
        return [json.loads(line) for line in said.splitlines()], errors, self.child.returncode


def command(bench: Bench, *words: str) -> Command:
    return Command(bench, "-c", RUN, *words)


def wav(path: Path, sound: NDArray[np.float64], rate_hz: int = 48_000) -> Path:
    soundfile.write(path, sound, rate_hz, subtype="PCM_24")
    return path


def plucks(path: Path, frequency_hz: float = 95.0, count: int = 3, **options: Any) -> Path:
    usual: dict[str, Any] = {
        "first_s": 1.6,
        "apart_s": 2.2,
        "inharmonicity": 3e-4,
        "decay_s": 0.15,
        "glide": 0.003,
        "scatter": 0.002,
        "seed": 7,
    }
    return wav(path, pluck_recording(frequency_hz, plucks=count, **(usual | options)))


def frequencies(records: list[dict[str, Any]]) -> list[tuple[float, float]]:
    found = [r["pluck"] for r in records if "pluck" in r]
    return [(p["frequency_hz"], p["frequency_u_hz"]) for p in found if p["used"]]


def agree(live: list[tuple[float, float]], file: Reading) -> None:
    """Each pluck of the file was taken live, with the same answer within its uncertainty."""
    used = [p for p in file.plucks if p.used]
    assert len(live) == len(used)
    for (f, u), pluck in zip(live, used, strict=True):
        assert pluck.frequency_hz is not None
        assert pluck.frequency_u_hz is not None
        apart = abs(f - pluck.frequency_hz)
        assert apart <= SAME * np.hypot(u, pluck.frequency_u_hz) + FLOOR * f


# --- the live answer is the file's answer ---------------------------------------------------------


def test_listen_equals_the_file_and_keeps_every_pluck(bench: Bench, tmp_path: Path) -> None:
    path = plucks(tmp_path / "y.wav", count=4, apart_s=2.8)
    kept = tmp_path / "kept"
    listening = command(
        bench, "listen", "--json", *BELT, "--target", "36 N", "--plucks", "4", "--save", str(kept)
    )
    bench.play(path)
    records, _, code = listening.end()
    assert code == 0
    belt = parsing.belt("2GT 9 mm")
    span = parsing.span("286 +/- 0.5 mm", belt, ends="pulley,clamp")
    file = read(path, belt=belt, span=span)
    agree(frequencies(records), file)
    assert [set(r) for r in records] == [{"pluck"}] * 4 + [{"schema", "readings"}]
    (whole,) = records[-1]["readings"]
    assert file.frequency is not None
    assert whole["frequency_hz"] == pytest.approx(file.frequency.value, abs=file.frequency.u)
    assert whole["belt"] == "2GT 9 mm"
    low, high = whole["window_n"]
    assert (low + high) / 2 == pytest.approx(36)  # no narrower than the reading resolves
    assert high - low > 2 * 3.6
    # what was kept reads again with the same answer
    for number, record in enumerate((r["pluck"] for r in records[:4]), 1):
        beside = json.loads((kept / f"belt-{number:03d}.json").read_text())
        assert beside["frequency_hz"] == record["frequency_hz"]
        again = read(kept / f"belt-{number:03d}.flac", belt=belt, span=span)
        agree([(record["frequency_hz"], record["frequency_u_hz"])], again)


@pytest.mark.parametrize(("rate", "block"), [(8_000, 64), (16_000, 8192), (96_000, 512)])
def test_rates_and_blocks(bench: Bench, tmp_path: Path, rate: int, block: int) -> None:
    path = plucks(tmp_path / "y.wav", count=2)
    listening = Command(bench, CHILD, str(rate), str(block), "2", "30")
    bench.play(path)
    records, _, _ = listening.end()
    agree(frequencies(records), read(path))


def test_close_plucks_a_bang_and_a_long_silence(bench: Bench, tmp_path: Path) -> None:
    close = pluck_recording(
        110.0, plucks=3, first_s=1.6, apart_s=0.6, decay_s=0.15, glide=0.002, seed=3
    )
    bang = room_noise(48_000 * 2, 3e-4, 8)
    burst = np.random.default_rng(9).normal(size=1_200) * np.hanning(1_200)
    bang[24_000:25_200] += 0.4 * burst / np.abs(burst).max()
    quiet = room_noise(48_000 * 4, 3e-4, 10)
    last = pluck_recording(110.0, plucks=1, first_s=0.5, decay_s=0.15, seed=4)
    path = wav(tmp_path / "y.wav", np.concatenate([close, bang, quiet, last]))
    listening = command(bench, "listen", "--json", "--plucks", "4", "--for", "30 s")
    bench.play(path)
    records, _, code = listening.end()
    assert code == 0
    file = read(path)
    agree(frequencies(records), file)
    refused = [r["pluck"] for r in records if "pluck" in r and not r["pluck"]["used"]]
    assert refused  # the bang
    assert all(pluck["reason"] for pluck in refused)


def test_real_plucks_in_noise(bench: Bench, tmp_path: Path) -> None:
    """A real bass guitar (tests/data, MIT or CC0) in the noise of a room."""
    sound, rate = soundfile.read(DATA / "fluid_fingered_bass_019.flac", dtype="float64")
    sound = sound if sound.ndim == 1 else sound[:, 0]
    lead = np.zeros(round(1.6 * rate))
    both = np.concatenate([lead, sound[: 2 * rate], lead, sound[: 2 * rate], lead])
    both += room_noise(len(both), 3e-4, 11)
    path = wav(tmp_path / "bass.wav", both, rate)
    listening = command(bench, "listen", "--json", "--plucks", "2", "--for", "30 s")
    bench.play(path)
    records, _, code = listening.end()
    assert code == 0
    agree(frequencies(records), read(path))


# --- what goes wrong ------------------------------------------------------------------------------


def test_a_killed_sound_server_ends_the_run_with_its_plucks_kept(
    start_bench: Callable[[], Bench], tmp_path: Path
) -> None:
    bench = start_bench()
    kept = str(tmp_path / "kept")
    listening = command(bench, "listen", "--json", *BELT, "--save", kept, "--beep")
    bench.play(plucks(tmp_path / "y.wav", count=6, first_s=1.6, apart_s=2.5), wait=False)
    assert listening.child.stdout is not None
    first = listening.child.stdout.readline()
    time.sleep(0.5)  # the next pluck is sounding
    bench.kill()
    records, errors, code = listening.end()
    assert code == 0
    told = errors.splitlines()
    assert "was lost" in told[-1]
    assert all(line.startswith("beltpitch: ") for line in told), errors  # nothing of PortAudio's
    taken = json.loads(first)["pluck"]
    assert taken["used"]
    (whole,) = records[-1]["readings"]
    assert whole["plucks"][0]["frequency_hz"] == taken["frequency_hz"]
    assert (tmp_path / "kept" / "belt-001.flac").exists()


def test_no_sound_server_is_one_line_and_exit_2(start_bench: Callable[[], Bench]) -> None:
    bench = start_bench()
    bench.kill()
    child = bench.python("-c", RUN, "listen", "--json")
    said, errors = child.communicate(timeout=PATIENCE_S)
    assert (child.returncode, said) == (2, "")
    assert errors.startswith("beltpitch: this machine has no sound input")
    assert errors.count("\n") == 1


def test_a_dead_input_is_exit_1_with_the_reason(bench: Bench) -> None:
    listening = command(bench, "listen", "--json", "--for", "3 s")
    records, errors, code = listening.end()
    assert code == 1
    assert records == [{"schema": 1, "readings": []}]
    assert "the input is dead" in errors


def test_devices_are_listed_with_the_default_marked(bench: Bench) -> None:
    child = bench.python("-c", RUN, "listen", "--devices")
    said, errors = child.communicate(timeout=PATIENCE_S)
    assert (child.returncode, errors) == (0, "")
    marked = [line for line in said.splitlines() if line.startswith("default")]
    assert len(marked) == 1
    assert "Hz" in marked[0]
    child = bench.python("-c", RUN, "listen", "--devices", "--json")
    whole = json.loads(child.communicate(timeout=PATIENCE_S)[0])
    assert [d["default"] for d in whole["listen"]["devices"]].count(True) == 1


def test_an_unknown_device_is_exit_2(bench: Bench) -> None:
    child = bench.python("-c", RUN, "listen", "--device", "no such thing")
    _, errors = child.communicate(timeout=PATIENCE_S)
    assert child.returncode == 2
    assert "no sound input is called" in errors


def test_its_own_beeps_are_no_plucks(bench: Bench, tmp_path: Path) -> None:
    path = plucks(tmp_path / "y.wav", count=3, apart_s=2.8)
    listening = command(bench, "listen", "--json", *BELT, "--beep", "--plucks", "3")
    bench.play(path)
    records, _, code = listening.end()
    assert code == 0
    told = [r["pluck"] for r in records if "pluck" in r]
    assert [p["used"] for p in told] == [True] * 3
    for f, _ in frequencies(records):
        assert f == pytest.approx(95.0, rel=0.01)


def test_a_gate_is_told(bench: Bench, tmp_path: Path) -> None:
    sound, rate = soundfile.read(plucks(tmp_path / "y.wav", count=3))
    size = np.convolve(np.abs(sound), np.ones(240) / 240, "same")
    opened = np.convolve(size > 0.005, np.ones(480), "same") > 0
    path = wav(tmp_path / "gated.wav", np.where(opened, sound, 0.0), rate)
    listening = command(bench, "listen", "--json", "--for", "9 s")
    bench.play(path)
    _, errors, _ = listening.end()
    assert "noise suppression" in errors


def test_automatic_gain_is_told(bench: Bench, tmp_path: Path) -> None:
    sound, rate = soundfile.read(plucks(tmp_path / "y.wav", count=4, apart_s=3.0))
    gain, out = 1.0, np.empty_like(sound)
    for i, x in enumerate(sound):
        gain = min(gain * 1.000017, 1.0, 0.02 / max(abs(x), 1e-9))
        out[i] = gain * x
    path = wav(tmp_path / "gain.wav", out, rate)
    listening = command(bench, "listen", "--json", "--for", "14 s")
    bench.play(path)
    _, errors, _ = listening.end()
    assert "automatic gain" in errors


# --- a pair ---------------------------------------------------------------------------------------


def test_a_pair_is_guided_until_it_matches(bench: Bench, tmp_path: Path) -> None:
    listening = command(bench, "pair", "--json", *BELT, "--name", "left", "--name", "right")
    for name, hertz, count in (("a", 95.0, 5), ("b", 94.8, 3), ("c", 95.0, 1)):
        bench.play(plucks(tmp_path / f"{name}.wav", hertz, count, scatter=0.001, seed=ord(name)))
    records, _, code = listening.end()
    assert code == 0
    words = [r["pluck"]["match"]["word"] for r in records if "match" in r.get("pluck", {})]
    assert words[0] == "not yet known"
    assert words[-1] == "matched"
    whole = records[-1]["pair"]
    assert (whole["word"], whole["names"]) == ("matched", ["left", "right"])
    assert len(whole["readings"]) == 2
    assert {"linear mass", "span"} <= {line["input"] for line in whole["cancelled"]}


# --- the terminal ---------------------------------------------------------------------------------


class Terminal:
    """A command in tmux, 80 columns wide; its screen can be read and keys be sent."""

    def __init__(self, bench: Bench, *words: str, rows: int = 40) -> None:
        self._env = {**bench.env, "LANG": "C.UTF-8", "LC_ALL": "C.UTF-8"}
        self._socket = str(bench.folder / f"tmux-{time.monotonic_ns()}")
        line = shlex.join([sys.executable, "-c", RUN, *words])
        self._tmux(
            *("-f", "/dev/null", "-u", "new-session", "-d", "-s", "s", "-x", "80", "-y", str(rows)),
            *("-c", str(bench.folder), f"{line}; echo exit=$?; sleep 300"),
        )

    def _tmux(self, *words: str) -> str:
        done = subprocess.run(
            ["tmux", "-S", self._socket, *words],
            env=self._env,
            capture_output=True,
            text=True,
            check=True,
            timeout=20,
        )
        return done.stdout

    @property
    def screen(self) -> str:
        return self._tmux("capture-pane", "-p", "-t", "s")

    @property
    def everything(self) -> str:
        return self._tmux("capture-pane", "-p", "-J", "-S", "-300", "-t", "s")

    def keys(self, *keys: str) -> None:
        self._tmux("send-keys", "-t", "s", *keys)

    def until(self, words: str, *, history: bool = False) -> str:
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            shown = self.everything if history else self.screen
            if words in shown:
                return shown
            time.sleep(0.1)
        raise AssertionError(f"{words!r} never came:\n{self.everything}")

    def left(self, code: int) -> str:
        """Wait for the end; whoever asks whether to keep the reading is told no."""
        answered = False
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            shown = self.everything
            if f"exit={code}" in shown:
                return shown
            if "in the book? [y/N]" in shown and not answered:
                self.keys("Enter")
                answered = True
            time.sleep(0.1)
        raise AssertionError(f"it never ended with {code}:\n{self.everything}")

    def close(self) -> None:
        subprocess.run(["tmux", "-S", self._socket, "kill-server"], env=self._env, check=False)


@pytest.fixture
def terminal(bench: Bench) -> Iterator[Callable[..., Terminal]]:
    opened: list[Terminal] = []

    def open_one(*words: str, rows: int = 40) -> Terminal:
        opened.append(Terminal(bench, *words, rows=rows))
        return opened[-1]

    yield open_one
    for each in opened:
        each.close()


def test_the_screen_shows_lines_figures_and_ruler(
    bench: Bench, tmp_path: Path, terminal: Callable[..., Terminal]
) -> None:
    path = plucks(tmp_path / "y.wav", count=3)
    shown = terminal("listen", *BELT, "--target", "36 N")
    shown.until("checking the input")
    bench.play(path, wait=False)
    screen = shown.until("three plucks agree")
    assert "pluck 1  9" in screen
    assert "pluck 3  9" in screen
    assert "██████" in screen  # the mean, large
    assert "◆" in screen
    assert "▒▒▒" in screen  # the window
    assert all(len(line) <= 80 for line in screen.splitlines())
    shown.keys("q")
    last = shown.left(0)
    assert "36" in last
    assert "next" in last


def test_a_low_terminal_keeps_figures_and_status(
    bench: Bench, tmp_path: Path, terminal: Callable[..., Terminal]
) -> None:
    shown = terminal("listen", *BELT, rows=16)
    shown.until("checking the input")
    bench.play(plucks(tmp_path / "y.wav", count=1), wait=False)
    screen = shown.until("one pluck;")
    assert "██████" in screen
    assert "q end" in screen
    shown.keys("C-c")
    shown.left(0)


def test_it_asks_for_what_is_missing_and_writes_it_down(
    bench: Bench, tmp_path: Path, terminal: Callable[..., Terminal]
) -> None:
    shown = terminal("listen", "--ends", "pulley,clamp", "--plucks", "1")
    shown.until("Which belt")
    shown.keys("3GTX 9 mm", "Enter")  # a slip: the nearest is named and it asks again
    shown.until("3GT", history=True)
    shown.keys("2GT 9 mm", "Enter")
    shown.until("Free span")
    shown.keys("286 +/- 0.5 mm", "Enter")
    shown.until("Name to keep it under")
    shown.keys("y-left", "Enter")
    shown.until("from now on: beltpitch listen y-left")
    shown.until("checking the input")
    shown.keys("q")
    shown.left(1)
    written = (bench.folder / "beltpitch.toml").read_text()
    assert '[belts.y-left]\nbelt = "2GT 9 mm"\nspan = "286 +/- 0.5 mm"' in written
    # from now on the name is enough
    listening = Command(bench, "-c", RUN, "listen", "y-left", "--json", "--plucks", "1")
    bench.play(plucks(tmp_path / "y.wav", count=2))
    records, _, code = listening.end()
    assert code == 0
    assert records[-1]["readings"][0]["ends"] == "pulley,clamp"
    os.unlink(bench.folder / "beltpitch.toml")


def test_a_pair_on_the_screen(
    bench: Bench, tmp_path: Path, terminal: Callable[..., Terminal]
) -> None:
    light = ("--linear-mass", "11 g/m")  # both belts are below their working tension
    shown = terminal("pair", *BELT, *light, "--name", "left", "--name", "right", "--plucks", "3")
    shown.until("checking the input")
    bench.play(plucks(tmp_path / "a.wav", 95.0, 3, scatter=0.001))
    shown.until("right: push the carriage")
    bench.play(plucks(tmp_path / "b.wav", 88.0, 3, scatter=0.001, seed=8), wait=False)
    shown.until("unmatched: left is", history=True)
    shown.until("tighten right by", history=True)
    last = shown.left(0)
    assert "tolerance" in last
    assert "assumed" in last
