"""A sound bench: a real PulseAudio daemon whose sink is heard by a real PortAudio.

Nothing of the machine's own sound is touched: daemon, sockets and configuration live in a folder
of their own and are found through the environment alone. PortAudio reads that environment when it
starts, so whatever listens runs in a child process with `Worker.env`.

Needs the Debian packages pulseaudio, pulseaudio-utils, libasound2-plugins and libportaudio2.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
PATIENCE_S = 20.0
ASOUNDRC = """
pcm.!default { type pulse hint { show on description "bench" } }
ctl.!default { type pulse }
"""


@dataclass
class Bench:
    """One daemon with a sink called ``bench``; its monitor is the default input."""

    folder: Path
    env: dict[str, str]
    daemon: subprocess.Popen[bytes]
    others: list[subprocess.Popen[Any]] = field(default_factory=list)

    def control(self, *words: str) -> str:
        """Run pactl and return what it prints."""
        return subprocess.run(
            ["pactl", *words], env=self.env, check=True, capture_output=True, text=True, timeout=20
        ).stdout

    def play(self, path: Path, *, wait: bool = True) -> subprocess.Popen[bytes]:
        """Play a sound file into the sink; it takes as long as it lasts."""
        player = subprocess.Popen(
            ["paplay", "--device=bench", str(path)], env=self.env, stderr=subprocess.DEVNULL
        )
        self.others.append(player)
        if wait:
            assert player.wait(timeout=120) == 0
        return player

    def python(self, *words: str) -> subprocess.Popen[str]:
        """Start this Python in the bench's environment, its output and errors to be read."""
        child = subprocess.Popen(
            [sys.executable, *words],
            env=self.env,
            cwd=self.folder,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.others.append(child)
        return child

    def kill(self) -> None:
        """End the daemon at once, as when a device is pulled out."""
        self.daemon.kill()
        self.daemon.wait(timeout=PATIENCE_S)

    def revive(self) -> None:
        """Start the daemon again, as when the device is plugged in again."""
        self.daemon = _daemon(self.folder, self.env)
        _make_ready(self)

    def stall(self) -> None:
        """Stop the daemon without ending it: the input is there and delivers nothing."""
        self.daemon.send_signal(signal.SIGSTOP)

    def stop(self) -> None:
        """End everything that was started here."""
        for process in [*self.others, self.daemon]:
            if process.poll() is None:
                process.kill()
            with process:  # closes its pipes and waits
                pass
        shutil.rmtree(self.folder)


def _started() -> Bench:
    # Socket paths must be short (108 characters), which pytest's own folders are not.
    folder = Path(tempfile.mkdtemp(prefix="bench-"))
    (folder / "alsa").mkdir()
    (folder / "alsa" / "asoundrc").write_text(ASOUNDRC)
    socket = folder / "native"
    env = os.environ | {
        "HOME": str(folder),
        "XDG_CONFIG_HOME": str(folder),
        "XDG_RUNTIME_DIR": str(folder),
        "PULSE_RUNTIME_PATH": str(folder),
        "PULSE_STATE_PATH": str(folder),
        "PULSE_SERVER": f"unix:{socket}",
        "JACK_NO_START_SERVER": "1",
        "PYTHONPATH": str(ROOT),
    }
    bench = Bench(folder, env, _daemon(folder, env))
    try:
        _make_ready(bench)
    except BaseException:
        bench.stop()
        raise
    return bench


def _daemon(folder: Path, env: dict[str, str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [
            "pulseaudio",
            "-n",
            "--daemonize=no",
            "--use-pid-file=no",
            "--exit-idle-time=-1",
            "--log-target=file:" + str(folder / "log"),
            f"--load=module-native-protocol-unix auth-anonymous=1 socket={folder / 'native'}",
            "--load=module-null-sink sink_name=bench rate=48000 channels=2",
        ],
        env=env,
        stderr=subprocess.DEVNULL,
    )


def _make_ready(bench: Bench) -> None:
    _wait_until_it_answers(bench)
    bench.control("set-default-source", "bench.monitor")
    # A sink that plays nothing renders in steps of two seconds; silence keeps it awake.
    silence = ["pacat", "--device=bench", "--latency-msec=20", "/dev/zero"]
    bench.others.append(subprocess.Popen(silence, env=bench.env, stderr=subprocess.DEVNULL))


def _wait_until_it_answers(bench: Bench) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            bench.control("info")
        except subprocess.CalledProcessError:
            assert bench.daemon.poll() is None, (bench.folder / "log").read_text()
            assert time.monotonic() < deadline, "the daemon does not answer"
            time.sleep(0.05)
        else:
            return


@pytest.fixture
def start_bench() -> Iterator[Callable[[], Bench]]:
    """Start benches that a test may break; they are ended after it."""
    started: list[Bench] = []

    def start() -> Bench:
        for program in ("pulseaudio", "pactl", "paplay"):
            assert shutil.which(program), f"{program} is missing: see tests/soundbench.py"
        started.append(_started())
        return started[-1]

    yield start
    for bench in started:
        bench.stop()


@pytest.fixture(scope="session")
def bench() -> Iterator[Bench]:
    """One bench for all tests that leave it whole."""
    whole = _started()
    yield whole
    whole.stop()
