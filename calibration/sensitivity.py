"""What every threshold of the sound path does: each is changed, and what moves is counted.

    python -m calibration.sensitivity beltpitch/pitch --kept FOLDER --jobs 2 --page PAGE.md
    python -m calibration.sensitivity beltpitch/pitch --kept FOLDER --only decision.CLEAR_SCORE

A threshold is a number at the top level of a module of the folders that are named. It is changed
in the source as it is loaded, so that all that is derived from it changes too, by -50 and +50 %;
by -15 and +15 % where that moved anything. Whole numbers stay whole. Recordings made from seeds of
their own, and the real plucks of the project, are heard with each change. Where a number enters
only after the plucks have been cut out, the plucks are cut once and kept. A run that was stopped
goes on from FOLDER.

Counted: files whose answer becomes another one of right, wrong (off by more than 2 %) and none;
and answers that stay right but move by more than a tenth of their standard uncertainty.
"""

from __future__ import annotations

import beltpitch  # noqa: F401  (asks for one BLAS thread, before numpy is loaded)

# isort: split
import argparse
import ast
import importlib
import json
import math
import pickle
import re
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

from calibration.measures import WRONG
from calibration.parallel import shared_out

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = "beltpitch"
FIRST, THEN = (-0.5, 0.5), (-0.15, 0.15)
SEED = 7  # not that of the tables
FILES = 120
MOVED = 0.1  # of the standard uncertainty
BLOCK_S = 0.25
REAL_EVERY = 7
# What hears a recording, as `module:name`: it cuts out plucks, then it hears what they tell.
CUTS = "calibration.ours:PluckDetector"
HEARS = "calibration.ours:hear"
RANGE, BLOCK = "calibration.ours:FrequencyRange", "calibration.ours:Block"


# ---------------------------------------------------------------- the thresholds


@dataclass(frozen=True, slots=True)
class Threshold:
    """One number at the top level of a module.

    ``index`` is its place in a tuple, None for a single number; ``words`` what its comment says;
    ``stage`` is "cut" or "hear" for where it enters first, "not here" if no recording meets it.
    """

    module: str
    name: str
    index: int | None
    value: float
    words: str
    stage: str

    @property
    def label(self) -> str:
        """Its name, with its place in a tuple."""
        place = "" if self.index is None else f"[{self.index}]"
        return f"{self.module.rpartition('.')[2]}.{self.name}{place}"


def thresholds(folders: Sequence[Path]) -> list[Threshold]:
    """Return the thresholds of the modules in some folders, in their order."""
    from calibration import syntax

    sources = syntax.Sources(ROOT)
    stages: dict[tuple[str, str], str] = {}
    for stage, root, called in (("hear", HEARS, ()), ("cut", CUTS, ("feed", "finish"))):
        for line in syntax.definitions(sources, [root], called):
            module, _, names = line.partition(":")
            stages |= {(module, name): stage for name in names.split(",")}
    found = []
    for path in sorted(file for folder in folders for file in folder.resolve().rglob("*.py")):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for name, index, value, words in _numbers(module, path):
            stage = stages.get((module, name), "not here")
            found.append(Threshold(module, name, index, value, words, stage))
    return found


def _numbers(module: str, path: Path) -> Iterator[tuple[str, int | None, float, str]]:
    text = path.read_text(encoding="utf-8")
    lines, loaded = text.splitlines(), importlib.import_module(module)
    for node in ast.parse(text).body:
        for name in _targets(node):
            value = getattr(loaded, name)
            words = _comment(lines, node)
            if _is_number(value):
                yield name, None, value, words
            elif isinstance(value, tuple) and all(map(_is_number, value)):
                for index, each in enumerate(value):
                    yield name, index, each, words


def _targets(node: ast.stmt) -> list[str]:
    """Return the names that a statement sets, if all they are set to is written as numbers."""
    if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
        return []
    if not any(isinstance(each, ast.Constant) for each in ast.walk(node.value)):
        return []  # derived from another, which is changed itself
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    return [
        each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)
    ]


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _comment(lines: Sequence[str], node: ast.stmt) -> str:
    """Return the comment on the lines of a statement, or else that right above it."""
    end = node.end_lineno or node.lineno
    on = [re.sub(r"^.*?#\s*", "", line) for line in lines[node.lineno - 1 : end] if "#" in line]
    above: list[str] = []
    for line in reversed(lines[: node.lineno - 1]):
        if not line.startswith("#"):
            break
        above.insert(0, line.lstrip("# "))
    return " ".join(on or above)


# ---------------------------------------------------------------- a changed program


class _Loader(SourceFileLoader):
    """Loads one module with one number changed."""

    def __init__(self, name: str, path: str, change: tuple[str, int | None, float]) -> None:
        super().__init__(name, path)
        self.change = change

    def get_code(self, fullname: str) -> CodeType:  # noqa: ARG002 (signature of the base)
        """Compile the changed source; what was compiled before is not used."""
        name, index, factor = self.change
        tree = ast.parse(self.get_data(self.path))
        for place, node in enumerate(tree.body):
            if name in _targets(node):
                words = f"{name} = _scaled({name}, {index!r}, {factor!r})"
                tree.body.insert(place + 1, ast.parse(words).body[0])
                break
        first = next(
            (n for n, node in enumerate(tree.body) if _targets(node)), 0
        )  # after docstring and __future__
        source = "from calibration.sensitivity import scaled as _scaled"
        tree.body.insert(first, ast.parse(source).body[0])
        code: CodeType = compile(ast.fix_missing_locations(tree), self.path, "exec")
        return code


def scaled(value: Any, index: int | None, factor: float) -> Any:
    """Return a number times a factor, or a tuple with one of its numbers so changed."""
    if index is not None:
        parts = list(value)
        parts[index] = scaled(parts[index], None, factor)
        return tuple(parts)
    if isinstance(value, int):
        new = round(value * factor)
        return new if new != value else value + (1 if factor > 1 else -1)
    return value * factor


class _Finder(MetaPathFinder):
    def __init__(self, module: str, change: tuple[str, int | None, float]) -> None:
        self.module, self.change = module, change

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return the one module, from its usual place but changed."""
        if fullname != self.module:
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        assert spec is not None
        assert spec.origin is not None
        spec.loader = _Loader(fullname, spec.origin, self.change)
        return spec


def _forget() -> None:
    for name in [n for n in sys.modules if n.partition(".")[0] == PACKAGE]:
        del sys.modules[name]
    sys.modules.pop("calibration.ours", None)


Told = tuple[float | None, float]  # frequency and its standard uncertainty, Hz


def told(folder: Path, files: int, change: tuple[str, str, int | None, float, str]) -> list[Told]:
    """Return what a program with one change makes of all files."""
    module, name, index, factor, stage = change
    finder = _Finder(module, (name, index, factor))
    _forget()
    sys.meta_path.insert(0, finder)
    try:
        return [_answer(folder, number, stage) for number in range(files)]
    finally:
        sys.meta_path.remove(finder)
        _forget()


def _answer(folder: Path, number: int, stage: str) -> Told:
    import numpy as np

    hear = _named(HEARS)
    if stage == "hear":
        plucks = pickle.loads((folder / f"{number}.plucks").read_bytes())
    else:
        with np.load(folder / f"{number}.npz") as made:
            plucks = _cut(made["samples"].astype(np.float64), float(made["rate_hz"]))
    heard = hear(plucks, _named(RANGE)())
    used = [each.pitch for each in heard.plucks if each.used and each.pitch is not None]
    if not used:
        return None, 0.0
    u = math.sqrt(sum(pitch.frequency_u_hz**2 for pitch in used)) / len(used)
    return sum(pitch.frequency_hz for pitch in used) / len(used), u


def _named(root: str) -> Any:
    """Return what a root names, imported as `calibration.ours` imports it."""
    from calibration import syntax

    piece = syntax.Sources(ROOT).root_piece(root)
    return getattr(importlib.import_module(piece.module.name), piece.names[0])


def _cut(samples: Any, rate_hz: float) -> list[Any]:
    listener = _named(CUTS)(rate_hz)
    step = int(BLOCK_S * rate_hz)
    plucks: list[Any] = []
    for start in range(0, samples.size, step):
        plucks += listener.feed(_named(BLOCK)(samples[start : start + step], rate_hz))
    return plucks + list(listener.finish())


# ---------------------------------------------------------------- files and counts


def prepare(folder: Path, number: int) -> float | None:
    """Make a file and its plucks, if they are not there; return what is right, None for nothing."""
    import numpy as np

    path = folder / f"{number}.npz"
    if not (folder / f"{number}.plucks").exists():
        samples, rate_hz, truth = _made(number)
        samples = samples.astype(np.float32)
        np.savez(path, samples=samples, rate_hz=rate_hz, truth=truth)
        plucks = _cut(samples.astype(np.float64), rate_hz)
        (folder / f"{number}.plucks").write_bytes(pickle.dumps(plucks))
    with np.load(path) as made:
        truth = float(made["truth"])
    return None if math.isnan(truth) else truth


def _made(number: int) -> tuple[Any, float, float]:
    """Return samples, rate and truth of a file: real plucks in noise now and then, else short."""
    from calibration import files, short

    if number % REAL_EVERY == REAL_EVERY - 1:
        file = files.real_kept(files.Job("real-kept", number // REAL_EVERY, SEED))
        assert file.truth is not None
        return file.samples, file.rate_hz, file.truth.frequency_hz
    case, room = short.drawn(SEED, number), short.is_room(number)
    truth = math.nan if room else case.frequency_hz
    return short.sound(case, room=room)(), short.RATE_HZ, truth


def word(truth: float | None, answer: Told) -> str:
    """Return "right", "wrong" or "none"."""
    if answer[0] is None:
        return "none"
    right = truth is not None and abs(answer[0] / truth - 1) <= WRONG
    return "right" if right else "wrong"


def count(
    truths: Sequence[float | None], before: Sequence[Told], after: Sequence[Told]
) -> dict[str, int]:
    """Return how many answers became another, by "from > to", and how many right ones moved."""
    found: Counter[str] = Counter()
    for truth, old, new in zip(truths, before, after, strict=True):
        was, now = word(truth, old), word(truth, new)
        if was != now:
            found[f"{was} > {now}"] += 1
        elif now == "right" and abs((new[0] or 0) - (old[0] or 0)) > MOVED * old[1]:
            found["moved"] += 1
    return dict(found)


def one(folder: Path, files: int, job: tuple[Threshold, float]) -> list[Told] | str:
    """Return the answers with one change; in words if the program cannot run with it."""
    each, by = job
    try:
        return told(folder, files, (each.module, each.name, each.index, 1 + by, each.stage))
    except Exception as error:  # noqa: BLE001 (any: it is what the change does)
        return f"{type(error).__name__}: {error}"


class Run:
    """The counts that are known, kept line by line so that a stopped run goes on."""

    def __init__(self, folder: Path, files: int, processes: int, wanted: list[Threshold]) -> None:
        self.folder, self.files, self.processes, self.wanted = folder, files, processes, wanted
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / "counts.jsonl"
        self.counts: dict[str, dict[str, int] | str] = {}
        if self.path.exists():
            for line in self.path.read_text(encoding="utf-8").splitlines():
                if line.endswith("}"):
                    self.counts |= json.loads(line)

    def measure(self) -> None:
        """Measure what is not known yet."""
        numbers = range(self.files)
        truths = [*shared_out(partial(prepare, self.folder), numbers, self.processes, 4)]
        unchanged = Threshold("", "", None, 1.0, "", "cut")
        before = one(self.folder, self.files, (unchanged, 0.0))
        assert not isinstance(before, str), before
        asked = [each for each in self.wanted if each.stage != "not here" and each.value]
        self._all([(each, by) for each in asked for by in FIRST], truths, before)
        moving = [each for each in asked if any(self.counts[key(each, by)] for by in FIRST)]
        self._all([(each, by) for each in moving for by in THEN], truths, before)

    def _all(
        self,
        jobs: list[tuple[Threshold, float]],
        truths: Sequence[float | None],
        before: Sequence[Told],
    ) -> None:
        jobs = [job for job in jobs if key(*job) not in self.counts]
        started = time.perf_counter()
        results = shared_out(partial(one, self.folder, self.files), jobs, self.processes)
        with self.path.open("a", encoding="utf-8") as kept:
            for done, (job, after) in enumerate(zip(jobs, results, strict=True), 1):
                found = after if isinstance(after, str) else count(truths, before, after)
                self.counts[key(*job)] = found
                kept.write(json.dumps({key(*job): found}) + "\n")
                kept.flush()
                pace = (time.perf_counter() - started) / done
                print(f"\r{done}/{len(jobs)}, {pace:.2f} s a change", end="", file=sys.stderr)
        print(file=sys.stderr)

    def page(self) -> str:
        """Return the table as Markdown."""
        lines = [
            "# Thresholds",
            "",
            f"Made by `python -m calibration.sensitivity`, from {self.files} recordings of seed "
            f"{SEED}. For each change: how many answers became another one of right, wrong and",
            "none, and how many right ones moved by more than a tenth of their uncertainty.",
            "A dash: not tried. The recordings hold one string each, simulated or real, with noise",
            "and hum: what a number does beside a voice, a machine or a second string does not",
            "show, so that `nothing` is no reason to take out a number of `interference`,",
            "`selection` or `out_of_range`.",
            "",
            "| threshold | value | what it is, how it was set | -50 % | -15 % | +15 % | +50 % |",
            "|---|---|---|---|---|---|---|",
        ]
        for each in self.wanted:
            words = each.words.replace("|", "\\|") or "**not said**"
            cells = [self._cell(each, by) for by in sorted((*FIRST, *THEN))]
            lines.append(f"| `{each.label}` | {each.value:g} | {words} | {' | '.join(cells)} |")
        return "\n".join(lines) + "\n"

    def _cell(self, each: Threshold, by: float) -> str:
        found = self.counts.get(key(each, by))
        if found is None:
            return "no recording meets it" if each.stage == "not here" else "-"
        if isinstance(found, str):
            return f"cannot run: {found}"
        return ", ".join(f"{number} {name}" for name, number in found.items()) or "nothing"


def key(each: Threshold, by: float) -> str:
    """Return the name of a change."""
    return f"{each.module}.{each.name}[{each.index}] {by:+.0%}"


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, and write the page if asked."""
    parser = argparse.ArgumentParser(
        prog="python -m calibration.sensitivity", description=(__doc__ or "").split("\n", 1)[0]
    )
    parser.add_argument("folders", nargs="+", type=Path, help="such as beltpitch/pitch")
    parser.add_argument("--kept", type=Path, required=True, help="folder of files and counts")
    parser.add_argument("--files", type=int, default=FILES)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--only", action="append", help="module.NAME; repeatable")
    parser.add_argument("--list", action="store_true", help="list the thresholds, measure nothing")
    parser.add_argument("--page", type=Path, help="where to write the table")
    given = parser.parse_args(arguments)
    wanted = thresholds(given.folders)
    if given.only:
        wanted = [each for each in wanted if each.label.partition("[")[0] in given.only]
    if given.list:
        for each in wanted:
            print(f"{each.stage:8} {each.label} = {each.value:g}  {each.words}")
        return
    run = Run(given.kept, given.files, given.jobs, wanted)
    run.measure()
    text = run.page()
    if given.page:
        given.page.write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    # As a module of its own name: the changed program imports `scaled` from it.
    from calibration import sensitivity

    sensitivity.main()
