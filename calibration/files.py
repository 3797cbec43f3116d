"""The files of every table of accuracy: made from (seed, table, index) alone.

So a part of a table is the same as in the whole, whoever makes it and on however many processes.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration import corpus, peers, simulator
from calibration.measures import Truth, exactly

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class File:
    """One file to be heard: samples, rate, what is right, the lines of the table it counts in.

    ``truth`` is None where nothing was plucked; ``reach`` is the range told to every method, None
    for the default; ``note`` names the file.
    """

    samples: Array
    rate_hz: float
    truth: Truth | None
    groups: tuple[str, ...]
    note: str
    reach: tuple[float, float] | None = None


Make = Callable[["Job"], File]


@dataclass(frozen=True, slots=True)
class Job:
    """One file of a table: where it comes from, and who hears it."""

    table: str
    index: int
    seed: int
    folder: Path | None = None
    with_peers: bool = False
    cache: Path | None = None

    def rng(self) -> np.random.Generator:
        """Return the source of chance of this file."""
        return np.random.default_rng([self.seed, zlib.crc32(self.table.encode()), self.index])


# ---------------------------------------------------------------- the files of each table


def _between(value: float, edges: Sequence[float], unit: str) -> str:
    """Return the name of the bin a value lies in: "40 to 80 Hz"."""
    inside = [i for i in range(len(edges) - 1) if edges[i] <= value <= edges[i + 1]]
    return f"{edges[inside[0]]:g} to {edges[inside[0] + 1]:g} {unit}" if inside else "outside"


def _simulated(case: simulator.Case, groups: tuple[str, ...]) -> File:
    return _file(simulator.render(case), groups)


def _file(made: simulator.Simulated, groups: tuple[str, ...]) -> File:
    case = made.case
    truth = exactly(made.frequencies_hz[0] if case.plucks == 1 else case.frequency_hz)
    note = (
        f"f {case.frequency_hz:.2f} Hz, B {case.inharmonicity:.1e}, "
        f"tau {case.quality_1 / math.pi / case.frequency_hz:.3f} s, glide {case.glide:.4f}, "
        f"{case.snr_db:.0f} dB, hp {case.highpass_hz:.0f}/{case.highpass_order}, "
        f"partial 1 {made.fundamental_db:.0f} dB, hum {case.hum_db:.0f} dB, fans {case.fans}, "
        f"onset {case.lead_s:.2f} s"
    )
    return File(made.samples, made.rate_hz, truth, groups, note)


def belts(job: Job) -> File:
    """Make a belt of the target's grid: one pluck, 20 to 400 Hz, 8 to 35 dB, hum, fans, glide."""
    case = simulator.draw(job.rng())
    made = simulator.render(case)
    hum = f"hum {_between(case.hum_db, (-20, -10, 0), 'dB')}" if case.hum_db > -99 else "no hum"
    ring = case.quality_1 / math.pi / case.frequency_hz
    groups = (
        "all",
        f"f {_between(case.frequency_hz, (20, 40, 80, 160, 400), 'Hz')}",
        f"SNR {_between(case.snr_db, (8, 15, 22, 35), 'dB')}",
        hum,
        f"{case.fans} fans" if case.fans != 1 else "1 fan",
        f"high-pass of order {case.highpass_order}",
        f"time constant {_between(ring, (0.029, 0.06, 0.15, 0.5, 1.5), 's')}",
        f"glide {_between(100 * case.glide, (0, 0.1, 1, 3), '%')}",
        f"partial 1 at {_between(made.fundamental_db, (-99, -40, -20, -6, 0), 'dB')}",
        f"Q of {_between(case.quality_1, (1, 15, 40, 80, 160, 2000), '')}".strip(),
    )
    return _file(made, groups)


def missing(job: Job) -> File:
    """Make a low belt whose fundamental the microphone has lost."""
    rng = job.rng()
    case = simulator.draw(
        rng,
        frequency_hz=(20.0, 60.0),
        highpass_hz=(80.0, 150.0),
        highpass_order=int(rng.choice((2, 4))),
        first_partial_db=-40.0,
    )
    return _simulated(case, ("all", f"f {_between(case.frequency_hz, (20, 30, 45, 60), 'Hz')}"))


def strands(job: Job) -> File:
    """Make a belt whose neighbouring strand answers."""
    rng = job.rng()
    case = simulator.draw(
        rng,
        neighbour_db=rng.uniform(-30, 0),
        neighbour_ratio=math.exp(rng.uniform(-0.6, 0.6)),
    )
    level = _between(case.neighbour_db, (-30, -20, -10, 0), "dB")
    return _simulated(case, ("all", f"neighbour at {level}"))


def twist(job: Job) -> File:
    """Make a belt that twists and moves edgewise as well, widths in turn."""
    rng = job.rng()
    width = simulator.WIDTHS_M[job.index % len(simulator.WIDTHS_M)]
    case = simulator.draw(
        rng,
        width_m=width,
        twist_db=rng.uniform(-35, -6),
        twist_ratio=simulator.twist_ratio(rng, width),
        edge_db=rng.uniform(-40, -15),
        edge_ratio=rng.uniform(1.2, 2.1),
    )
    level = _between(case.twist_db, (-35, -25, -15, -6), "dB")
    return _simulated(case, ("all", f"{1000 * width:g} mm wide", f"twist at {level}"))


def knocks(job: Job) -> File:
    """Make a recording of one to three plucks with one to three knocks between them."""
    rng = job.rng()
    count = int(rng.integers(1, 4))
    case = simulator.draw(
        rng,
        plucks=count,
        scatter=0.001,
        knocks=int(rng.integers(1, 4)),
        knock_db=rng.uniform(-15, 6),
    )
    return _simulated(case, ("all", f"plucks: {count}"))


SNR_DB = (30, 20, 10, 5)
KEPT = Path(__file__).resolve().parent.parent / "tests" / "data"


def _real(
    job: Job,
    snr_db: float,
    highpass_hz: float,
    group: str,
    *,
    count: int = 1,
    shortened: bool = False,
    told: bool = False,
    turn: int = len(SNR_DB),
) -> File:
    assert job.folder is not None
    rng = job.rng()
    every, grounds = corpus.plucks(job.folder), corpus.noises(job.folder)
    # Files in turn, so that each counts as often as any other, in an order that mixes instruments.
    order = np.random.default_rng(len(every)).permutation(len(every))
    pluck = every[int(order[(job.index // turn) % len(every)])]
    ground = grounds[int(rng.integers(len(grounds)))]
    ring = math.exp(rng.uniform(math.log(0.05), math.log(0.3))) if shortened else None
    samples, rate = corpus.recording(
        pluck, ground, snr_db, highpass_hz, rng, count=count, shortened_s=ring
    )
    low = pluck.reference_hz / 3 ** rng.uniform(0.1, 0.9)
    note = (
        f"{pluck.path.name} {pluck.reference_hz:.2f} Hz in {ground.name}, {snr_db:g} dB"
        f"{'' if ring is None else f', shortened to {ring:.3f} s'}"
    )
    reach = (low, 3 * low) if told else None
    return File(samples, rate, pluck.truth, (group,), note, reach)


def _snr(job: Job) -> tuple[int, str]:
    snr_db = SNR_DB[job.index % len(SNR_DB)]
    return snr_db, f"{snr_db} dB"


def real(job: Job) -> File:
    """Make a real pluck in real noise behind a 100 Hz high-pass."""
    snr_db, group = _snr(job)
    return _real(job, snr_db, 100.0, group)


def real_150(job: Job) -> File:
    """Make the same behind 150 Hz."""
    snr_db, group = _snr(job)
    return _real(job, snr_db, 150.0, group)


def real_short(job: Job) -> File:
    """Make a real pluck damped to a time constant of 0.05 to 0.3 s."""
    snr_db, group = _snr(job)
    return _real(job, snr_db, 100.0, group, shortened=True)


def real_three(job: Job) -> File:
    """Make three plucks of the string in one recording."""
    snr_db, group = _snr(job)
    return _real(job, snr_db, 100.0, group, count=3)


def real_range(job: Job) -> File:
    """Make one pluck whose frequency is known within a factor of three."""
    snr_db, group = _snr(job)
    return _real(job, snr_db, 100.0, group, told=True)


def real_kept(job: Job) -> File:
    """Make a real pluck in real noise from the recordings that stand in tests/data."""
    snr_db, group = _snr(job)
    return _real(replace(job, folder=KEPT), snr_db, 100.0, group)


def clean(job: Job) -> File:
    """Take a file of the corpus as it is."""
    assert job.folder is not None
    pluck = corpus.plucks(job.folder)[job.index]
    samples, rate = corpus.sound(pluck.path)
    strict = ("spread up to 0.2 %",) if pluck.spread <= 0.002 else ()
    return File(
        samples, rate, pluck.truth, ("all", *strict), f"{pluck.path.name} {pluck.reference_hz}"
    )


NOTHING_S = 3.5
SIMULATED_EVERY = 4  # files: one is simulated, the others recorded


def no_pluck(job: Job) -> File:
    """Make a recording in which nobody plucks: a quarter simulated, the rest recorded in turn.

    Of the simulated, every second with one to three knocks.
    """
    rng = job.rng()
    turn, place = divmod(job.index, SIMULATED_EVERY)
    if place == 0:
        return _empty_room(rng, knocks=turn % 2 == 1)
    assert job.folder is not None
    grounds = corpus.noises(job.folder)
    ground = grounds[(turn * (SIMULATED_EVERY - 1) + place - 1) % len(grounds)]
    rate = simulator.RATES_HZ[0]
    samples = corpus.alone(ground, NOTHING_S, rate, 100.0, rng)
    kind, which = corpus.kind(ground)
    groups = ("recorded", f"recorded, {kind}", f"recorded, {kind}: {which}")
    return File(samples, rate, None, groups, ground.name)


def _empty_room(rng: np.random.Generator, *, knocks: bool) -> File:
    case = simulator.draw(rng)
    if knocks:
        case = replace(case, knocks=int(rng.integers(1, 4)), knock_db=rng.uniform(-15, 6))
    note = (
        f"slope {case.noise_slope:.2f}, hp {case.highpass_hz:.0f}/{case.highpass_order}, "
        f"hum {case.hum_db:.0f} dB, fans {case.fans}, knocks {case.knocks}"
    )
    kind = "knocks" if knocks else "no knocks"
    samples = simulator.render_room(case, NOTHING_S)
    return File(samples, case.rate_hz, None, ("simulated", f"simulated, {kind}"), note)


SWEEP_DB = tuple(range(30, -13, -3))


def threshold(job: Job) -> File:
    """Make a plain belt (no hum, no fans, no knocks) at one of a row of ratios."""
    rng = np.random.default_rng([job.seed, 77, job.index // len(SWEEP_DB)])
    snr_db = float(SWEEP_DB[job.index % len(SWEEP_DB)])
    case = simulator.draw(rng, snr_db=(snr_db, snr_db), hum_db=-math.inf, fans=0)
    return _simulated(case, (f"{snr_db:g} dB",))


def threshold_real(job: Job) -> File:
    """Make a real pluck in real noise, 100 Hz high-pass, at one of a row of ratios."""
    snr_db = float(SWEEP_DB[job.index % len(SWEEP_DB)])
    return _real(job, snr_db, 100.0, f"{snr_db:g} dB", turn=len(SWEEP_DB))


EVERY = tuple(peers.PEERS)


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its name, its heading, how its files are made, how many, how many the peers hear.

    In a ``silent`` one nothing was plucked: it counts who gives a number all the same.
    """

    name: str
    first: str
    make: Make
    count: int
    peers: int
    real: bool = False
    methods: tuple[str, ...] = EVERY
    sweep: bool = False
    silent: bool = False


PYIN = ("librosa.pyin",)

TABLES = (
    Table("clean", "files of the corpus as they are", clean, 121, 121, real=True),
    Table("belts", "simulated belts", belts, 2000, 200),
    Table("missing", "fundamental missing", missing, 2000, 40),
    Table("strands", "second strand", strands, 2000, 40),
    Table("twist", "twist and edgewise", twist, 2000, 40),
    Table("knocks", "knocks between plucks", knocks, 2000, 40),
    Table("real-kept", "real plucks of tests/data, 100 Hz high-pass", real_kept, 2000, 0),
    Table("real", "real plucks, 100 Hz high-pass", real, 4000, 400, real=True),
    Table("real-150", "real plucks, 150 Hz high-pass", real_150, 2000, 160, real=True),
    Table("real-short", "real plucks cut short", real_short, 2000, 160, real=True),
    Table("real-three", "three plucks", real_three, 2000, 80, real=True),
    Table("real-range", "range known", real_range, 2000, 160, real=True),
    Table("no-pluck", "nothing plucked", no_pluck, 2000, 160, real=True, silent=True),
    Table("threshold", "simulated belts at", threshold, 2100, 450, methods=PYIN, sweep=True),
    Table(
        "threshold-real",
        "real plucks at",
        threshold_real,
        2100,
        450,
        real=True,
        methods=PYIN,
        sweep=True,
    ),
)
