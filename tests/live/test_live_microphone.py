"""The microphone on a real sound system: what is played is what is heard."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from beltpitch.audio.synthesis import SynthesisedTone, pluck_recording, synthesise

CHILD = str(Path(__file__).with_name("record_child.py"))
PATIENCE_S = 60.0


class Bench(Protocol):
    """What these tests use of the bench in conftest.py."""

    folder: Path
    env: dict[str, str]
    daemon: subprocess.Popen[bytes]

    def play(self, path: Path, *, wait: bool = True) -> subprocess.Popen[bytes]: ...
    def python(self, *words: str) -> subprocess.Popen[str]: ...
    def kill(self) -> None: ...
    def stall(self) -> None: ...


class Listening:
    """A child that records; it says when sound flows, and at the end what became of it."""

    def __init__(self, bench: Bench, out: Path, seconds: float, **options: object) -> None:
        words = [f"{key}={value}" for key, value in options.items()]
        self.out = out
        self.child = bench.python(CHILD, str(out), str(seconds), *words)
        assert self.child.stdout is not None
        self.opened: dict[str, Any] = json.loads(self.child.stdout.readline())

    def end(self) -> dict[str, Any]:
        said, self.errors = self.child.communicate(timeout=PATIENCE_S)
        assert self.child.returncode == 0, self.errors
        assert "Traceback" not in self.errors
        return dict(json.loads(said))

    @property
    def samples(self) -> NDArray[np.float64]:
        return np.asarray(np.load(self.out)["samples"])

    @property
    def sizes(self) -> set[int]:
        return set(np.load(self.out)["sizes"].tolist())


def until_heard(bench: Bench, tmp_path: Path) -> None:
    """Wait until what is played has reached the input."""
    for _ in range(20):
        probe = Listening(bench, tmp_path / "probe.npz", 0.5)
        probe.end()
        if np.min(np.std(probe.samples[: len(probe.samples) // 8 * 8].reshape(8, -1), axis=1)) > 0:
            return
    raise AssertionError("nothing of what is played is heard")


def white(seconds: float, seed: int) -> NDArray[np.float64]:
    return np.random.default_rng(seed).normal(0.0, 0.1, round(seconds * 48_000))


def stereo_file(path: Path, left: NDArray[np.float64], right: NDArray[np.float64]) -> Path:
    soundfile.write(path, np.stack([left, right], axis=1), 48_000, subtype="FLOAT")
    return path


def aligned(heard: NDArray[np.float64], played: NDArray[np.float64]) -> NDArray[np.float64]:
    """The stretch of what was heard in which the played sound lies."""
    frames = len(heard) + len(played)
    product = np.fft.rfft(heard, frames) * np.conj(np.fft.rfft(played, frames))
    start = int(np.argmax(np.fft.irfft(product, frames)[: len(heard) - len(played) + 1]))
    return heard[start : start + len(played)]


def test_what_is_played_is_heard_to_the_sample(bench: Bench, tmp_path: Path) -> None:
    played = pluck_recording(66.0, plucks=2, first_s=0.5, apart_s=1.0, noise=1e-3, level=0.5)
    path = stereo_file(tmp_path / "pluck.wav", played, played)
    listening = Listening(bench, tmp_path / "heard.npz", 4.0, rate=48_000)
    bench.play(path)
    end = listening.end()
    assert (end["lost"], end["overflows"]) == (None, 0)
    assert listening.opened["channel_note"] == "mean of 2 channels"
    settled = 10_080  # a sound server may begin in mid-air; 2.29 s are compared
    heard = aligned(listening.samples, played)[settled:]
    np.testing.assert_allclose(heard, played[settled:], rtol=0, atol=4 / 2**15)  # 16 bits


def test_rates_and_blocks(bench: Bench, tmp_path: Path) -> None:
    """One tone, heard at once by five listeners of different habits."""
    habits = [(8_000, 64), (16_000, 8_192), (44_100, 441), (96_000, 4_096), (48_000, 64)]
    tone = synthesise([SynthesisedTone(110.0, 0.3, 20.0)], 40.0, 48_000.0)
    player = bench.play(stereo_file(tmp_path / "tone.wav", tone, tone), wait=False)
    until_heard(bench, tmp_path)
    listeners = [
        Listening(bench, tmp_path / f"{rate_hz}.npz", 2.5, rate=rate_hz, block=block)
        for rate_hz, block in habits
    ]
    for listening, (rate_hz, block) in zip(listeners, habits, strict=True):
        assert listening.end()["lost"] is None
        assert listening.opened["rate_hz"] == rate_hz
        assert listening.sizes == {block}
        middle = listening.samples[rate_hz // 2 :]
        spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle)), 32 * rate_hz))
        assert np.argmax(spectrum) / 32 == pytest.approx(110.0, abs=0.05)
    player.kill()


def test_default_settings_and_device_by_name(bench: Bench, tmp_path: Path) -> None:
    by_default = Listening(bench, tmp_path / "a.npz", 0.5)
    assert by_default.opened["name"] == "default"
    assert by_default.opened["rate_hz"] >= 44_100
    by_default.end()
    assert by_default.sizes == {round(by_default.opened["rate_hz"] / 50)}
    by_name = Listening(bench, tmp_path / "b.npz", 0.5, device="PULS")
    assert by_name.opened["name"] == "pulse"
    by_name.end()


def test_muted_input_is_said(start_bench: Callable[[], Bench], tmp_path: Path) -> None:
    listening = Listening(start_bench(), tmp_path / "heard.npz", 0.5)
    assert any("digital silence" in said for said in listening.opened["warnings"])
    listening.end()


def test_opposite_channels_do_not_cancel(bench: Bench, tmp_path: Path) -> None:
    played = white(30.0, seed=5)
    player = bench.play(stereo_file(tmp_path / "noise.wav", played, -played), wait=False)
    until_heard(bench, tmp_path)
    listening = Listening(bench, tmp_path / "heard.npz", 2.0, rate=48_000)
    note = listening.opened["channel_note"]
    assert note.endswith(" of 2: the others are silent or opposite")
    listening.end()
    pieces = np.std(listening.samples[:96_000].reshape(20, -1), axis=1)
    assert np.median(pieces) == pytest.approx(0.1, rel=0.05), pieces
    player.kill()


def test_pulled_out_while_listening(start_bench: Callable[[], Bench], tmp_path: Path) -> None:
    bench = start_bench()
    played = white(40.0, seed=6)
    bench.play(stereo_file(tmp_path / "noise.wav", played, played), wait=False)
    until_heard(bench, tmp_path)
    listening = Listening(bench, tmp_path / "heard.npz", 1.0e3, rate=48_000)
    Listening(bench, tmp_path / "probe.npz", 1.0).end()  # takes a second
    bench.kill()
    end = listening.end()
    assert listening.errors == ""  # nothing of what PortAudio has to say about it
    assert end["lost"] == (
        "the sound input default was lost: it has stopped delivering; "
        "plug it in again and start anew."
    )
    assert end["frames"] > 48_000  # what came before is kept
    assert np.std(listening.samples[-4_800:]) == pytest.approx(0.1, rel=0.2)


def test_stalled_while_listening(start_bench: Callable[[], Bench], tmp_path: Path) -> None:
    """The driver hangs for good: the run ends all the same, and so does the program."""
    bench = start_bench()
    listening = Listening(bench, tmp_path / "heard.npz", 1.0e3, rate=48_000)
    bench.stall()
    assert "has stopped delivering" in listening.end()["lost"]


def test_held_up_for_a_while(bench: Bench, tmp_path: Path) -> None:
    """A busy machine: the sound server keeps what came meanwhile, and the input is not lost."""
    played = white(30.0, seed=7)
    player = bench.play(stereo_file(tmp_path / "noise.wav", played, played), wait=False)
    until_heard(bench, tmp_path)
    listening = Listening(bench, tmp_path / "heard.npz", 4.5, rate=48_000)
    listening.child.send_signal(signal.SIGSTOP)
    time.sleep(2.5)
    listening.child.send_signal(signal.SIGCONT)
    assert listening.end()["lost"] is None
    heard = listening.samples[48_000:]  # playing has begun
    place = aligned(played, heard)
    np.testing.assert_allclose(heard, place, rtol=0, atol=4 / 2**15)
    player.kill()


def test_no_sound_server_is_one_line(start_bench: Callable[[], Bench], tmp_path: Path) -> None:
    bench = start_bench()
    bench.kill()
    listening = Listening(bench, tmp_path / "heard.npz", 1.0)
    refused = listening.opened["refused"]
    assert refused.startswith("this machine has no sound input: plug in a microphone")
    assert "\n" not in refused
    _, errors = listening.child.communicate(timeout=PATIENCE_S)
    assert errors == ""


def test_the_list_names_default_and_host(bench: Bench) -> None:
    child = bench.python(
        "-c",
        "from beltpitch.audio.microphone import inputs\n"
        "for each in inputs(): print(each.index, each.name, each.host, each.is_default)",
    )
    said, errors = child.communicate(timeout=PATIENCE_S)
    assert errors == ""
    assert sorted(line.split(" ", 1)[1] for line in said.splitlines()) == [
        "default ALSA True",
        "pulse ALSA False",
    ]


BEEPING = """
import numpy as np
from beltpitch.audio.microphone import open_beeper, open_microphone

samples, deaf = [], []
with open_microphone(rate_hz=48_000) as microphone, open_beeper() as beeper:
    for number, block in enumerate(microphone):
        if number in (25, 100):
            beeper.play("taken" if number == 25 else "refused")
            assert beeper.sounding
        samples.append(block.samples)
        deaf.append(np.full(len(block.samples), beeper.sounding))
        if number == 200:
            break
np.savez("beeps.npz", samples=np.concatenate(samples), deaf=np.concatenate(deaf))
"""


def test_beeps_are_heard_and_passed_over(bench: Bench) -> None:
    child = bench.python("-c", BEEPING)
    _, errors = child.communicate(timeout=PATIENCE_S)
    assert (child.returncode, errors) == (0, "")
    found = np.load(bench.folder / "beeps.npz")
    heard, deaf = found["samples"], found["deaf"]
    loud = np.flatnonzero(np.abs(heard) > 0.05)
    starts = loud[np.flatnonzero(np.diff(loud, prepend=-48_000) > 1_000)]
    assert len(starts) == 3
    for start, hertz in zip(starts, (1_320.0, 880.0, 880.0), strict=True):
        beep = heard[start : start + 3_600]
        assert np.argmax(np.abs(np.fft.rfft(beep, 48_000))) == pytest.approx(hertz, abs=5.0)
    assert (starts[2] - starts[1]) / 48_000 == pytest.approx(0.14, abs=0.01)
    assert deaf[loud].all()
    assert np.count_nonzero(deaf) < 72_000  # not deaf for longer than it takes: about 0.5 s each


STALLED_BEEP = """
import os, sys, signal, time
from beltpitch.audio.microphone import open_beeper

with open_beeper() as beeper:
    beeper.play("taken")
    while beeper._waiting_since_s is not None:
        time.sleep(0.01)
    os.kill(int(sys.argv[1]), signal.SIGSTOP)
    beeper.play("refused")  # asks an output that will never answer
    while not beeper.lost:
        time.sleep(0.01)
    assert not beeper.sounding
sys.stdout.write("went on")
"""


def test_a_stalled_output_holds_nobody(start_bench: Callable[[], Bench]) -> None:
    bench = start_bench()
    child = bench.python("-c", STALLED_BEEP, str(bench.daemon.pid))
    said, errors = child.communicate(timeout=PATIENCE_S)
    assert (child.returncode, said, errors) == (0, "went on", "")


KILLED_BEEP = """
import os, sys, signal, time
from beltpitch.audio.microphone import open_beeper

with open_beeper() as beeper:
    beeper.play("taken")
    time.sleep(float(sys.argv[2]))
    os.kill(int(sys.argv[1]), signal.SIGKILL)
    time.sleep(0.1)
sys.stdout.write("went on")
"""


@pytest.mark.parametrize("after_s", ["0", "0.02", "0.3"])
def test_a_server_that_dies_in_a_beep_ends_nothing_else(
    start_bench: Callable[[], Bench], after_s: str
) -> None:
    """PortAudio aborts the whole program where a stream is closed while it is being begun."""
    bench = start_bench()
    child = bench.python("-c", KILLED_BEEP, str(bench.daemon.pid), after_s)
    said, errors = child.communicate(timeout=PATIENCE_S)
    assert (child.returncode, said, errors) == (0, "went on", "")
