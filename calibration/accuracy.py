"""How well the program hears, beside peers and the physical bound: the tables of docs/accuracy.md.

    python -m calibration.accuracy --corpus DIR         all tables, written into the document
    python -m calibration.accuracy --quick              a few files of each, on the terminal
    python -m calibration.accuracy --table real --count 200 --failures --corpus DIR

A table is written if it was made with its full count, or on --write. Every file of a table is
made from (seed, table, index) alone, so that a part of a table is the same as in the whole.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import json
import math
import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import beltpitch  # noqa: F401  (asks for one BLAS thread, before numpy is loaded)

# isort: split
import numpy as np
from numpy.typing import NDArray

from beltpitch.pitch.results import FrequencyRange
from calibration import corpus, efficiency, evidence, ours, peers, targets
from calibration.files import SWEEP_DB, TABLES, Job, Table
from calibration.measures import (
    HEAD,
    SILENT_HEAD,
    WRONG,
    Outcome,
    judge,
    line,
    silent_line,
    summarise,
)
from calibration.parallel import shared_out

Array = NDArray[np.float64]
OURS = "beltpitch"
SEED = 2026


@dataclass(frozen=True, slots=True)
class Result:
    """What each method made of one file."""

    groups: tuple[str, ...]
    outcomes: dict[str, Outcome]
    note: str
    told: str


# ---------------------------------------------------------------- hearing


def _peers_answer(name: str, samples: Array, low: float, high: float, cache: Path | None) -> float:
    """Return a peer's answer, NaN for none; kept by the digest of what it heard."""
    if cache is None:
        return peers.PEERS[name](samples, low, high) or math.nan
    key = hashlib.sha256(samples.tobytes() + f"{name} {low} {high}".encode()).hexdigest()
    place = cache / key[:2] / f"{key}.json"
    if place.exists():
        return float(json.loads(place.read_text()))
    answer = peers.PEERS[name](samples, low, high) or math.nan
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(json.dumps(answer))
    return answer


def hear(job: Job) -> Result:
    """Make one file and have it heard."""
    table = next(each for each in TABLES if each.name == job.table)
    file = table.make(job)
    low, high = file.reach or (peers.LOW_HZ, peers.HIGH_HZ)
    expected = FrequencyRange(low, high, (), "told") if file.reach else FrequencyRange()
    mine = ours.answer(file.samples, file.rate_hz, expected)
    outcomes = {OURS: judge(file.truth, mine.frequency_hz, mine.u_hz, mine.interval_hz)}
    if job.with_peers:
        common = peers.at_common_rate(file.samples, file.rate_hz)
        for name in table.methods:
            value = _peers_answer(name, common, low, high, job.cache)
            outcomes[name] = judge(file.truth, None if math.isnan(value) else value)
    return Result(file.groups, outcomes, f"{job.index}: {file.note}", ours.describe(mine))


def _jobs(table: Table, options: Options) -> list[Job]:
    count = options.count or table.count
    folder = options.corpus
    if table.name == "clean" and folder is not None:
        count = min(count, len(corpus.plucks(folder)))
    with_peers = round(table.peers * min(1.0, count / table.count))
    if options.peers is not None:
        with_peers = min(options.peers, count)
    return [
        Job(table.name, index, options.seed, folder, index < with_peers, options.cache)
        for index in range(count)
    ]


def heard_all(jobs: Sequence[Job], processes: int) -> Iterator[Result]:
    """Return the results in order, as they come."""
    return shared_out(hear, jobs, processes, 4)


def grouped(results: Iterable[Result]) -> dict[tuple[str, str], list[Outcome]]:
    """Return outcomes by (group, method), groups in natural order."""
    found: dict[tuple[str, str], list[Outcome]] = {}
    for result in results:
        for group in result.groups:
            for method, outcome in result.outcomes.items():
                found.setdefault((group, method), []).append(outcome)
    return found


def _order(key: tuple[str, str]) -> tuple[bool, str, float, bool, str]:
    group, method = key
    words = group.split()
    numbers = [float(word) for word in words if word.lstrip("-").replace(".", "").isdigit()]
    letters = " ".join(word for word in words if not any(c.isdigit() for c in word))
    return group != "all", letters, numbers[0] if numbers else 0.0, method != OURS, method


def tabulate(table: Table, results: Sequence[Result]) -> str:
    """Return the table as Markdown: every group for ours, the peers where they heard enough."""
    by = grouped(results)
    head, one = (SILENT_HEAD, silent_line) if table.silent else (HEAD, line)
    lines = [head.format(first=table.first)]
    main = {result.groups[0] for result in results}
    for group, method in sorted(by, key=_order):
        if method == OURS or group in main:
            lines.append(one(group, method, by[group, method]))
    return "\n".join(lines)


# ---------------------------------------------------------------- threshold


BREAKS = 0.10  # share of answers off by more than 2 % that makes the threshold


def threshold_text(results: Sequence[Result]) -> str:
    """Return, for each method, the highest ratio at which a tenth of the answers are wrong.

    Linear between the ratios measured, from the top down; "below" and "above" where the row of
    ratios does not reach it.
    """
    by = grouped(results)
    methods = list(dict.fromkeys(method for _, method in by))
    lines = ["| method | 10 % of the answers wrong at | half of the files answered down to |"]
    lines.append("|---|---|---|")
    for method in methods:
        rows = [(db, summarise(by.get((f"{db:g} dB", method), []))) for db in SWEEP_DB]
        rows = [(db, got) for db, got in rows if got.count]
        wrong = _crossing([(db, got.wrong.value) for db, got in rows], BREAKS)
        silent = _crossing([(db, 1 - got.answered.value) for db, got in rows], 0.5)
        lines.append(f"| {method} | {wrong} | {silent} |")
    return "\n".join(lines)


def _crossing(rows: Sequence[tuple[float, float]], level: float) -> str:
    """Return where a share first reaches `level`, coming down from the highest ratio."""
    if rows and rows[0][1] >= level:
        return f"above {rows[0][0]:g} dB"
    for (db, share), (next_db, next_share) in itertools.pairwise(rows):
        if next_share >= level > share:
            return f"{db + (next_db - db) * (level - share) / (next_share - share):.1f} dB"
    return f"below {rows[-1][0]:g} dB" if rows else "-"


# ---------------------------------------------------------------- the command


@dataclass(frozen=True, slots=True)
class Options:
    """What was asked for on the command line."""

    corpus: Path | None
    names: tuple[str, ...]
    count: int | None
    peers: int | None
    seed: int
    jobs: int
    cache: Path | None
    write: bool
    failures: bool


def make_table(table: Table, options: Options) -> None:
    """Hear all files of a table, print it, and keep it if asked."""
    started = time.perf_counter()
    jobs = _jobs(table, options)
    results = []
    for done, result in enumerate(heard_all(jobs, options.jobs), 1):
        results.append(result)
        if done % 50 == 0:
            pace = (time.perf_counter() - started) / done
            print(
                f"\r{table.name} {done}/{len(jobs)}, {pace:.2f} s a file", end="", file=sys.stderr
            )
    print(file=sys.stderr)
    text = tabulate(table, results)
    if table.sweep:
        text = f"{text}\n\n{threshold_text(results)}"
    record = {
        "rows": {
            group: summarise(outcomes).counts()
            for (group, method), outcomes in grouped(results).items()
            if method == OURS
        }
    }
    publish(table.name, text, options, len(jobs), record)
    if options.failures:
        for result in results:
            failed = _failure(result.outcomes[OURS], table)
            if failed:
                print(f"{failed:8} {table.name} {result.note} -> {result.told}")


def _failure(outcome: Outcome, table: Table) -> str:
    if outcome.error is None:
        return "" if table.silent else "WITHHELD"
    if outcome.error > WRONG:
        return "WRONG"
    if outcome.error > 0.005:
        return "OFF"
    return "MISSED" if outcome.covered is False else ""


def make_efficiency(options: Options) -> None:
    """Make the efficiency table, print it, and keep it if asked."""
    settings = efficiency.SETTINGS
    total = options.count or efficiency.COUNT * len(settings)
    each = max(4, total // len(settings))
    jobs = [(options.seed, n, i) for n in range(len(settings)) for i in range(each)]
    scaled = np.array([*shared_out(efficiency.once, jobs, options.jobs, 4)]).reshape(
        len(settings), each
    )
    lines = [
        efficiency.line(setting, row, options.seed)
        for setting, row in zip(settings, scaled, strict=True)
    ]
    record = {
        "settings": [
            {"snr_db": setting.ratio_db, "ratio": efficiency.ratio_of(row)}
            for setting, row in zip(settings, scaled, strict=True)
        ]
    }
    publish("efficiency", "\n".join([efficiency.HEAD, *lines]), options, len(jobs), record)


def publish(
    name: str, text: str, options: Options, count: int, record: Mapping[str, object]
) -> None:
    """Print a table and, if asked, write it into docs/accuracy.md."""
    print(f"\n## {name}\n\n{text}\n", flush=True)
    if options.write:
        evidence.keep(
            evidence.ACCURACY, name, text, {"seed": options.seed, "count": count, **record}
        )


QUICK_COUNT = 40
QUICK_TABLES = ("efficiency", "clean", "belts", "real")


def parse(arguments: Sequence[str] | None = None) -> Options:
    """Return the options of the command line."""
    names = ("efficiency", *(table.name for table in TABLES))
    parser = argparse.ArgumentParser(
        prog="python -m calibration.accuracy", description=(__doc__ or "").split("\n", 1)[0]
    )
    parser.add_argument("--corpus", type=Path, help="folder with real plucks and noise")
    parser.add_argument("--table", action="append", choices=names, help="only this one; repeatable")
    parser.add_argument("--count", type=int, help="files a table instead of the full number")
    parser.add_argument("--peers", type=int, help="files the peers hear; 0 leaves them out")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--cache", type=Path, help="folder where the peers' answers are kept")
    parser.add_argument("--quick", action="store_true", help="a few files, nothing written")
    parser.add_argument("--write", action="store_true", help="write although --count is given")
    parser.add_argument("--failures", action="store_true", help="name each file that failed")
    given = parser.parse_args(arguments)
    quick = bool(given.quick)
    return Options(
        corpus=given.corpus,
        names=tuple(given.table or (QUICK_TABLES if quick else names)),
        count=given.count or (QUICK_COUNT if quick else None),
        peers=0 if quick and given.peers is None else given.peers,
        seed=given.seed,
        jobs=given.jobs,
        cache=given.cache,
        write=given.write or (given.count is None and not quick),
        failures=given.failures,
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Make the tables asked for."""
    options = parse(arguments)
    if "efficiency" in options.names:
        make_efficiency(options)
    for table in TABLES:
        if table.name not in options.names:
            continue
        if table.real and options.corpus is None:
            print(f"{table.name}: left out, it needs --corpus DIR", file=sys.stderr)
            continue
        make_table(table, options)
    if options.write:
        kept = [each for each in evidence.kept_tables(evidence.ACCURACY) if each.name != "targets"]
        publish("targets", targets.table(kept), options, len(kept), {})


if __name__ == "__main__":
    main()
