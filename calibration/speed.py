"""How fast the program hears, beside peers and beside what its imports cost: docs/speed.md.

    python -m calibration.speed               all tables, written into the document
    python -m calibration.speed --quick       on the terminal only

Everything compared is run in turn within one run, the best of several rounds counts, and what is
claimed is a ratio: times by themselves say more about the machine than about the program. One
thread, one process.
"""

from __future__ import annotations

import argparse
import io
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import beltpitch  # noqa: F401  (asks for one BLAS thread, before numpy is loaded)

# isort: split
import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from calibration import evidence, ours, peers, simulator
from calibration.files import File, Job, belts, real_kept

if TYPE_CHECKING:
    from beltpitch.session.live import State

Array = NDArray[np.float64]
SEED = 2026
LIVE_BLOCK_S = 0.02


@dataclass(frozen=True, slots=True)
class Options:
    """What was asked for."""

    rounds: int
    files: int
    write: bool


def best(rounds: int, works: Sequence[Callable[[], object]]) -> list[float]:
    """Return the shortest time of each work in seconds, all run in turn in every round."""
    times = [math.inf] * len(works)
    for turn in range(rounds + 1):
        for index, work in enumerate(works):
            start = time.perf_counter()
            work()
            if turn:  # the first turn loads and compiles
                times[index] = min(times[index], time.perf_counter() - start)
    return times


# ---------------------------------------------------------------- sound a second


def throughput(options: Options) -> str:
    """Return the table of seconds of sound heard in a second, ours and the peers."""
    return _throughput([belts(Job("belts", i, SEED)) for i in range(options.files)], options)


def throughput_real(options: Options) -> str:
    """Return the same of real plucks in real noise, those that stand in tests/data."""
    files = [real_kept(Job("real-kept", i, SEED)) for i in range(options.files)]
    return _throughput(files, options)


def _throughput(files: Sequence[File], options: Options) -> str:
    common = [peers.at_common_rate(file.samples, file.rate_hz) for file in files]
    length = sum(file.samples.size / file.rate_hz for file in files)

    def mine() -> None:
        for file in files:
            ours.answer(file.samples, file.rate_hz)

    def theirs(name: str) -> Callable[[], None]:
        def work() -> None:
            for samples in common:
                peers.PEERS[name](samples, peers.LOW_HZ, peers.HIGH_HZ)

        return work

    names = list(peers.PEERS)
    times = best(options.rounds, [mine, *(theirs(name) for name in names)])
    lines = [
        "| method | files | seconds of sound | heard in one second, s | times as fast as pYIN |",
        "|---|---|---|---|---|",
    ]
    slow = times[1 + names.index("librosa.pyin")]
    for name, spent in zip(["beltpitch", *names], times, strict=True):
        speed = f"{length / spent:.0f} | {slow / spent:.1f}"
        lines.append(f"| {name} | {len(files)} | {length:.0f} | {speed} |")
    return "\n".join(lines)


# ---------------------------------------------------------------- growth with length

LENGTHS_S = (10, 30, 100, 300)


def long_recording(length_s: float) -> tuple[Array, float]:
    """Return a recording of a 70 Hz belt plucked every two seconds."""
    case = simulator.draw(
        np.random.default_rng([SEED, 5]),
        frequency_hz=(70.0, 70.0),
        snr_db=(25.0, 25.0),
        plucks=int(length_s / 2),
        gap_s=2.0,
        lead_s=0.6,
        tail_s=1.4,
        scatter=0.002,
        rate_hz=48000,
        quality_1=60.0,
    )
    made = simulator.render(case)
    return made.samples, made.rate_hz


def growth(options: Options) -> str:
    """Return the table of time against length, and the exponent from line to line."""
    recordings = [long_recording(length) for length in LENGTHS_S]
    works = [lambda each=each: ours.answer(*each) for each in recordings]
    times = best(max(1, options.rounds // 2), works)
    lines = ["| length s | plucks | heard in one second, s | exponent |", "|---|---|---|---|"]
    for index, (length, spent) in enumerate(zip(LENGTHS_S, times, strict=True)):
        exponent = "-"
        if index:
            ratio = math.log(spent / times[index - 1])
            exponent = f"{ratio / math.log(length / LENGTHS_S[index - 1]):.2f}"
        lines.append(f"| {length} | {length // 2} | {length / spent:.0f} | {exponent} |")
    return "\n".join(lines)


# ---------------------------------------------------------------- whole processes


def _python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def _beltpitch(*words: str) -> list[str]:
    """Return the command as its console script runs it."""
    return [sys.executable, "-c", "from beltpitch.terminal.main import run; run()", *words]


def run_command(command: Sequence[str]) -> Callable[[], object]:
    environment = {**os.environ, "PYTHONPATH": str(evidence.ROOT)}

    def work() -> None:
        subprocess.run(command, check=True, capture_output=True, env=environment)

    return work


def processes(options: Options) -> str:
    """Return the table of whole processes against what their imports cost."""
    import soundfile

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "belt.wav"
        samples, rate = long_recording(5.0)
        soundfile.write(file, samples[: int(5 * rate)], int(rate), subtype="PCM_16")
        asked = ("--belt", "2GT 9 mm", "--span", "412 +/- 1 mm")
        pairs = (
            (
                "beltpitch tension",
                _beltpitch("tension", "--frequency", "66.3 Hz", *asked),
                "import numpy, pint, typer, rich",
                1.5,
            ),
            ("beltpitch --help", _beltpitch("--help"), "import typer, rich", 1.5),
            (
                "beltpitch recording, 5 s at 48 kHz",
                _beltpitch("recording", str(file), *asked),
                "import numpy, scipy.signal, scipy.optimize, soundfile, pint, typer, rich",
                2.0,
            ),
        )
        works = [run_command(command) for pair in pairs for command in (pair[1], _python(pair[2]))]
        times = best(2 * options.rounds + 1, works)
    lines = ["| process | against python -c | ratio | limit |", "|---|---|---|---|"]
    for index, (name, _, code, limit) in enumerate(pairs):
        ratio = times[2 * index] / times[2 * index + 1]
        lines.append(f"| `{name}` | `{code}` | {ratio:.2f} | {limit} |")
    return "\n".join(lines)


# ---------------------------------------------------------------- live


class Noting:
    """A terminal's screen as `listen` draws it, which notes when a pluck's line was drawn.

    ``found`` holds for each pluck that counts: how long after its useful sound the block ended that
    brought it, and the program's own time from that block to the line drawn.
    """

    def __init__(self, names: tuple[str, ...]) -> None:
        from rich.console import Console

        from beltpitch.terminal.live_screen import Screen

        where = Console(file=io.StringIO(), force_terminal=True, width=100, height=40)
        self._screen = Screen(names, "N", where)
        self.found: list[tuple[float, float]] = []
        self.due_s = self.end_s = 0.0  # of the last block: by the clock, and in the sound

    def show(self, state: State) -> None:
        """Draw, then look at the clock."""
        self._screen.show(state)
        heard = None if state.taken is None else state.taken.heard
        if heard is not None and heard.pitch is not None and heard.onset_s is not None:
            useful_s = heard.onset_s + heard.pitch.used_s[1]
            self.found.append((self.end_s - useful_s, time.perf_counter() - self.due_s))

    def tick(self, state: State) -> None:
        """Draw the level."""
        self._screen.tick(state)

    def close(self) -> None:
        """Leave the screen."""
        self._screen.close()

    def blocks(self, samples: Array, rate_hz: float, *, clocked: bool) -> Iterator[Block]:
        """Yield blocks, each at the moment a microphone would have it, or as fast as taken."""
        step = int(LIVE_BLOCK_S * rate_hz)
        start = time.perf_counter()
        for first in range(0, samples.size, step):
            self.end_s = (first + step) / rate_hz
            self.due_s = start + self.end_s
            if clocked:
                time.sleep(max(0.0, self.due_s - time.perf_counter()))
            yield Block(samples[first : first + step], rate_hz)


def live(
    samples: Array, rate_hz: float, *, clocked: bool
) -> tuple[list[tuple[float, float]], float]:
    """Listen to a recording as `listen` does; return what `Noting` found, and seconds of CPU."""
    from beltpitch import parsing
    from beltpitch.session.live import Measuring
    from beltpitch.session.session import Subject
    from beltpitch.terminal.keyboard import Keys
    from beltpitch.terminal.live_loop import Run

    belt = parsing.belt("2GT 9 mm")
    measuring = Measuring(rate_hz, [Subject("y", belt, parsing.span("412 +/- 1 mm", belt))])
    face = Noting(measuring.names)
    start = time.process_time()
    Run(measuring, face, Keys()).follow(face.blocks(samples, rate_hz, clocked=clocked))
    return face.found, time.process_time() - start


def living(options: Options) -> str:
    """Return the table of latency and of the cost of waiting."""
    found: list[tuple[float, float]] = []
    for _ in range(max(1, options.rounds // 2)):
        found += live(*long_recording(60.0), clocked=True)[0]
    idle_s = 60.0
    rate = 48000.0
    quiet = 0.01 * simulator.coloured(int(idle_s * rate), rate, 1.0, np.random.default_rng(SEED))
    spent = min(live(quiet, rate, clocked=False)[1] for _ in range(max(1, options.rounds)))
    lines = ["| live, blocks of 20 ms on the clock | |", "|---|---|"]
    if found:
        waited, own = np.array(found).T
        lines += [
            f"| plucks heard | {len(found)} |",
            "| own time from last block to the line on the screen, median "
            f"| {1000 * np.median(own):.0f} ms |",
            f"| own time, slowest of 20 | {1000 * np.quantile(own, 0.95):.0f} ms |",
            f"| sound waited for after the useful part, median | {np.median(waited):.2f} s |",
        ]
    lines.append(
        f"| listening at 48 kHz, nothing plucked | {100 * spent / idle_s:.1f} % of a core |"
    )
    return "\n".join(lines)


def books(options: Options) -> str:
    """Return the table of a small and a large book (book_speed.py, which times by `best`)."""
    from calibration import book_speed

    return book_speed.books(options)


TABLES: dict[str, Callable[[Options], str]] = {
    "throughput": throughput,
    "throughput-real": throughput_real,
    "growth": growth,
    "processes": processes,
    "live": living,
    "books": books,
}


def main(arguments: Sequence[str] | None = None) -> None:
    """Make the tables asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m calibration.speed", description=(__doc__ or "").split("\n", 1)[0]
    )
    parser.add_argument("--table", action="append", choices=list(TABLES), help="only this one")
    parser.add_argument("--rounds", type=int, default=5, help="rounds, the best of which counts")
    parser.add_argument("--files", type=int, default=40, help="recordings to be heard")
    parser.add_argument("--quick", action="store_true", help="few rounds, nothing written")
    given = parser.parse_args(arguments)
    options = Options(
        rounds=1 if given.quick else given.rounds,
        files=8 if given.quick else given.files,
        write=not given.quick,
    )
    for name in given.table or TABLES:
        text = TABLES[name](options)
        print(f"\n## {name}\n\n{text}", flush=True)
        if options.write:
            record = {"seed": SEED, "count": options.files, "rounds": options.rounds}
            evidence.keep(evidence.SPEED, name, text, record)


if __name__ == "__main__":
    main()
