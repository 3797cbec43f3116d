"""Does the stated 95 % interval hold the true tension? From WAV to interval: docs/coverage.md.

    python -m calibration.coverage --jobs 2                 all tables, written into the document
    python -m calibration.coverage --share 0.05             a twentieth of each, on the terminal
    python -m calibration.coverage --kept FILE --jobs 2     all, resumed where it was stopped

Each case is a measurement drawn by `calibration.setups`, written as a sound file and read as a user
reads it: texts for belt, linear mass, span and travel in, the tension's interval out. Every case
follows from (seed, table, index) alone, so that a part of a table is the same as in the whole.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import beltpitch  # noqa: F401  (asks for one BLAS thread, before numpy is loaded)

# isort: split
import numpy as np

from calibration import evidence, simulator
from calibration.measures import COVERAGE, Share
from calibration.parallel import shared_out
from calibration.setups import CLASSES, OCTAVES_HZ, Setup, Wish, setup

SEED = 2026
EACH = 500  # of every class in every octave: 2,500 a class, 2,000 an octave
HELD = 400
PARKS = 500
HOLDS = (0.0, 0.5, 0.75)
XI_EDGES = (0.0, 25.0, 50.0, 100.0, 200.0, math.inf)
STRING_XI = 100.0  # from here on a span is much like a string
WIDE = 0.03  # half-width that is aimed at
SOUGHT, FLOOR = (0.93, 0.97), 0.90


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one case: relative half-width and error of the answer, None if withheld.

    ``tension_n`` is the true one; ``ruling`` the largest line of the budget.
    """

    tension_n: float
    xi: float
    frequency_hz: float
    weighed: bool
    clamped: bool
    plucks: int
    answer_n: float | None
    low_n: float | None
    high_n: float | None
    ruling: str

    @property
    def covered(self) -> bool | None:
        """Whether the interval holds the truth."""
        if self.low_n is None or self.high_n is None:
            return None
        return self.low_n <= self.tension_n <= self.high_n

    @property
    def half(self) -> float | None:
        """Half-width of the interval over the answer."""
        if self.low_n is None or self.high_n is None or self.answer_n is None:
            return None
        return (self.high_n - self.low_n) / 2 / self.answer_n


# ---------------------------------------------------------------- one case


def measure(made: Setup) -> Result:
    """Have a setup read from its sound file or files, as a user would."""
    from beltpitch import parsing
    from beltpitch.errors import BeltpitchError
    from beltpitch.reading import Reading, from_parks, read

    def heard(case: simulator.Case, span: str | None, name: str = "long") -> Reading:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"{name}.wav"
            _write(simulator.render(case), path)
            return read(path, belt=belt, span=span, ends=made.ends)

    belt = parsing.belt(
        made.name, construction=made.construction or None, linear_mass=made.linear_mass
    )
    found = None
    try:
        reading = heard(made.case, made.span)
        if made.second is not None and made.travel is not None:
            short = heard(made.second, made.span, "short")  # as the command does
            reading = from_parks(reading, short, parsing.travel(made.travel))
        found = reading.tension
    except BeltpitchError:
        pass
    low, high = found.interval(COVERAGE) if found else (None, None)
    return Result(
        tension_n=made.case.tension_n,
        xi=made.xi,
        frequency_hz=made.case.frequency_hz,
        weighed=made.weighed,
        clamped=made.ends == "clamp",
        plucks=made.case.plucks,
        answer_n=found.value if found else None,
        low_n=low,
        high_n=high,
        ruling=found.budget()[0].name if found else "",
    )


def _write(made: simulator.Simulated, path: Path) -> None:
    import soundfile

    soundfile.write(path, made.samples, round(made.rate_hz), subtype="PCM_16")


# ---------------------------------------------------------------- what is measured


def wishes(share: float = 1.0) -> dict[str, list[Wish]]:
    """Return what to measure, by table; of each a part, the same as in the whole."""
    return {
        "classes": _grid("classes", _part(EACH, share)),
        "held": _held(_part(HELD, share)),
        "parks": _grid("parks", _part(PARKS // len(CLASSES), share), octaves=range(1)),
    }


def _part(count: int, share: float) -> int:
    return max(1, round(count * share))


def _grid(table: str, each: int, octaves: Iterable[int] | None = None) -> list[Wish]:
    """Return wishes for every class and octave; parks want a long span, so that both are heard."""
    if table == "parks":
        kinds = [(kind, index) for index in range(each) for kind in CLASSES]
        return [
            Wish(
                f"parks {kind}",
                index,
                kind,
                1 + index % 2,
                weighed=True,
                clamped=False,
                plucks=5,
                parks=True,
            )
            for kind, index in kinds
        ]
    every = range(len(OCTAVES_HZ) - 1) if octaves is None else octaves
    return [
        Wish(f"{table} {kind} {octave}", index, kind, octave)
        for index in range(each)
        for kind in CLASSES
        for octave in every
    ]


def _held(each: int) -> list[Wish]:
    kinds = list(CLASSES)
    octaves = len(OCTAVES_HZ) - 1
    found = []
    for index in range(each):
        kind, octave = kinds[index % len(kinds)], index // len(kinds) % octaves
        for hold in HOLDS:
            found.append(Wish(f"held {hold:g}", index, kind, octave, hold=hold, clamped=False))
        found.append(Wish("held clamp", index, kind, octave, clamped=True))
        found.append(Wish("held mixed", index, kind, octave, clamped=False, mixed=True))
    return found


def _key(wish: Wish) -> str:
    return f"{wish.table}/{wish.index}"


def _one(job: tuple[Wish, int]) -> tuple[str, Result]:
    wish, seed = job
    return _key(wish), measure(setup(wish, seed))


def measured(
    every: Sequence[Wish], seed: int, processes: int, kept: Path | None = None
) -> dict[str, Result]:
    """Return the results by key; those in the file `kept` are not made again, new ones are added.

    A file that was made from other sources or another seed is begun anew.
    """
    found = _before(kept, seed)
    wanted = {_key(wish) for wish in every}
    jobs = [(wish, seed) for wish in every if _key(wish) not in found]
    started = time.perf_counter()
    with _Record(kept, seed, fresh=not found) as record:
        for done, (key, result) in enumerate(shared_out(_one, jobs, processes, 8), 1):
            found[key] = result
            record.add(key, result)
            if done % 50 == 0:
                pace = (time.perf_counter() - started) / done
                print(f"\r{done}/{len(jobs)}, {pace:.2f} s a case", end="", file=sys.stderr)
    print(file=sys.stderr)
    return {key: result for key, result in found.items() if key in wanted}


def _before(kept: Path | None, seed: int) -> dict[str, Result]:
    if kept is None or not kept.exists():
        return {}
    head, *lines = kept.read_text(encoding="utf-8").splitlines()
    if json.loads(head) != _head(seed):
        return {}
    found = {}
    for line in lines:
        if line.endswith("}"):  # a line that was cut off is made again
            values = json.loads(line)
            key = values.pop("key")
            found[key] = Result(**values)
    return found


def _head(seed: int) -> dict[str, object]:
    return {"digest": evidence.digest(evidence.COVERED), "seed": seed}


class _Record:
    """Writes each result as it comes, so that a run that was stopped goes on from there."""

    def __init__(self, path: Path | None, seed: int, *, fresh: bool) -> None:
        self.file = None if path is None else path.open("w" if fresh else "a", encoding="utf-8")
        if self.file is not None and fresh:
            self._line(_head(seed))

    def __enter__(self) -> _Record:
        return self

    def __exit__(self, *_: object) -> None:
        if self.file is not None:
            self.file.close()

    def add(self, key: str, result: Result) -> None:
        if self.file is not None:
            self._line({"key": key, **asdict(result)})

    def _line(self, values: Mapping[str, object]) -> None:
        assert self.file is not None
        self.file.write(json.dumps(values) + "\n")
        self.file.flush()


# ---------------------------------------------------------------- tables


@dataclass(frozen=True, slots=True)
class Row:
    """The counts of one line."""

    cases: int
    answered: int
    covered: int
    below: int
    above: int
    within: int
    half: float

    @property
    def share(self) -> Share:
        """Share of the intervals that hold the truth."""
        return Share(self.covered, self.answered)


def row(results: Sequence[Result]) -> Row:
    """Count a list of results."""
    told = [r for r in results if r.low_n is not None and r.high_n is not None]
    halves = [r.half for r in told if r.half is not None]
    return Row(
        cases=len(results),
        answered=len(told),
        covered=sum(bool(r.covered) for r in told),
        below=sum(r.low_n is not None and r.tension_n < r.low_n for r in told),
        above=sum(r.high_n is not None and r.tension_n > r.high_n for r in told),
        within=sum(half <= WIDE for half in halves),
        half=float(np.median(halves)) if halves else math.nan,
    )


HEAD = (
    "| {first} | cases | answered % | truth in the stated 95 % interval | truth below % "
    "| truth above % | median half-width |\n|---|---|---|---|---|---|---|"
)


def line(name: str, results: Sequence[Result]) -> str:
    """Return one line of a table under `HEAD`."""
    got = row(results)
    if not got.answered:
        return f"| {name} | {got.cases} | 0.0 | - | - | - | - |"
    return (
        f"| {name} | {got.cases} | {got.answered / got.cases:.1%} | {got.share} "
        f"| {got.below / got.answered:.1%} | {got.above / got.answered:.1%} | {got.half:.1%} |"
    )


WIDTH_HEAD = (
    f"| xi | plucks | cases | median half-width | at most {WIDE:.0%} |\n|---|---|---|---|---|"
)


def _table(first: str, groups: Mapping[str, Sequence[Result]]) -> str:
    return "\n".join(
        [HEAD.format(first=first), *(line(name, group) for name, group in groups.items() if group)]
    )


def _split(
    results: Sequence[Result], *ways: tuple[str, Callable[[Result], bool]]
) -> dict[str, list[Result]]:
    return {name: [r for r in results if test(r)] for name, test in ways}


def classes_table(by_key: Mapping[str, Result]) -> tuple[str, dict[str, Row]]:
    """Return the table of classes and octaves, and its counts."""
    every = list(by_key.values())
    octaves = len(OCTAVES_HZ) - 1
    groups: dict[str, list[Result]] = {"all": every}
    for kind in CLASSES:
        groups[kind] = [r for k, r in by_key.items() if k.startswith(f"classes {kind} ")]
    for at in range(octaves):
        name = f"{OCTAVES_HZ[at]:g} to {OCTAVES_HZ[at + 1]:g} Hz"
        groups[name] = [r for k, r in by_key.items() if k.partition("/")[0].endswith(f" {at}")]
    groups |= _split(
        every,
        ("between pulleys", lambda r: not r.clamped),
        ("between clamps", lambda r: r.clamped),
        ("mass weighed (u 0.5 %), span u 0.2 mm", lambda r: r.weighed),
        ("mass from the catalogue, span +/- 1 mm", lambda r: not r.weighed),
        ("one pluck", lambda r: r.plucks == 1),
        ("three plucks", lambda r: r.plucks > 1),
        *((f"xi {name}", _in_band(low, high)) for name, low, high in bands()),
    )
    return _table("cases", groups), {name: row(group) for name, group in groups.items()}


def bands() -> list[tuple[str, float, float]]:
    """Return the bands of xi: name, lowest, highest."""
    named = []
    for low, high in itertools.pairwise(XI_EDGES):
        words = f"{low:g} to {high:g}" if math.isfinite(high) else f"from {low:g}"
        named.append((f"below {high:g}" if low == 0 else words, low, high))
    return named


def _in_band(low: float, high: float) -> Callable[[Result], bool]:
    return lambda r: low <= r.xi < high


def held_table(by_key: Mapping[str, Result]) -> tuple[str, dict[str, Row]]:
    """Return the table of ends that are held at one place."""
    names = {f"held {hold:g}": f"pulleys held at {hold:g}" for hold in HOLDS}
    names["held clamp"] = "named clamps"
    names["held mixed"] = "named clamp and a pulley"
    groups = {
        words: [r for k, r in by_key.items() if k.partition("/")[0] == table]
        for table, words in names.items()
    }
    stiff = {
        f"{words}, xi below 50": [r for r in group if r.xi < 50] for words, group in groups.items()
    }
    groups |= stiff
    return _table("ends (0 pinned, 1 clamped)", groups), {n: row(g) for n, g in groups.items()}


def parks_table(by_key: Mapping[str, Result]) -> tuple[str, dict[str, Row]]:
    """Return the table of two parks, all with weighed belts and five plucks at each park."""
    every = list(by_key.values())
    groups = {"all": every}
    groups |= _split(every, *((f"xi {n}", _in_band(low, high)) for n, low, high in bands()))
    groups = {name: group for name, group in groups.items() if group}
    return _table("two parks", groups), {name: row(group) for name, group in groups.items()}


def width_table(
    classes: Mapping[str, Result], parks: Mapping[str, Result]
) -> tuple[str, dict[str, Row]]:
    """Return the curve of half-width against xi, for weighed belts and a fine span."""
    lines, rows = [WIDTH_HEAD], {}
    known = [r for r in classes.values() if r.weighed and not r.clamped]
    for name, low, high in bands():
        for count, words in ((1, "one"), (3, "three")):
            group = [r for r in known if r.plucks == count and low <= r.xi < high]
            rows[f"{name}, {words}"] = got = row(group)
            lines.append(_width_line(name, words, got))
    clamped = [r for r in classes.values() if r.weighed and r.clamped and r.xi >= STRING_XI]
    rows["between clamps"] = got = row(clamped)
    lines.append(_width_line(f"from {STRING_XI:g}, between clamps", "one or three", got))
    rows["two parks"] = got = row(list(parks.values()))
    lines.append(_width_line("two parks", "five at each", got))
    return "\n".join(lines), rows


def _width_line(name: str, plucks: str, got: Row) -> str:
    share = Share(got.within, got.answered)
    return f"| {name} | {plucks} | {got.answered} | {got.half:.1%} | {share} |"


# ---------------------------------------------------------------- the command


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m calibration.coverage", description=(__doc__ or "").split("\n", 1)[0]
    )
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument(
        "--share", type=float, default=1.0, help="of each table; a part is not kept"
    )
    parser.add_argument("--kept", type=Path, help="file of results, to go on from where it stopped")
    parser.add_argument("--write", action="store_true", help="write although --share is given")
    given = parser.parse_args(arguments)
    every = wishes(given.share)
    together = [wish for table in every.values() for wish in table]
    found = measured(together, given.seed, given.jobs, given.kept)
    by_table = {
        name: {k: found[k] for k in map(_key, table) if k in found} for name, table in every.items()
    }
    tables = {
        "classes": classes_table(by_table["classes"]),
        "held": held_table(by_table["held"]),
        "parks": parks_table(by_table["parks"]),
        "width": width_table(by_table["classes"], by_table["parks"]),
    }
    for name, (text, rows) in tables.items():
        print(f"\n## {name}\n\n{text}\n", flush=True)
        if given.share == 1.0 or given.write:
            count = sum(
                len(by_table[t]) for t in (("classes", "parks") if name == "width" else (name,))
            )
            counts = {key: asdict(value) for key, value in rows.items()}
            record = {"seed": given.seed, "count": count, "rows": counts}
            evidence.keep(evidence.COVERED, name, text, record)


if __name__ == "__main__":
    main()
