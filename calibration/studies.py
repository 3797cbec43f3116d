"""Simulated machines: do studies of twelve trials find the best tension, and say so when not?

    OPENBLAS_NUM_THREADS=1 python -m calibration.studies     renew the table in docs/study.md
    python -m calibration.studies --count 100                fewer studies, nothing written

A machine is one curve of a result against tension, of one of these kinds:

parabola   lowest point anywhere in the middle half of the window
machine    forces of the cut scatter; where one is above what the slack strand can lose, only the
           tight strand pulls and the carriage gives more; bearings drag more with tension
falling    still falling at the upper edge: a straight line, a curve that levels off, or a parabola
           that turns beyond it
flat       tension changes nothing

A study plans twelve trials by `planned`, sets each tension within 2 %, reads it with an error that
all readings share (2 %) and one of its own (0.6 %), and measures with normal noise of a share of
the curve's range over the window. The mechanics are written here again, apart from the program's.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beltpitch.errors import CannotTell
from beltpitch.study.design import planned
from beltpitch.study.judgement import Finding, learn
from beltpitch.study.trials import Field, Measure, Trial
from beltpitch.uncertainty import Estimate, Part
from calibration import evidence
from calibration.measures import Share
from calibration.parallel import shared_out

Floats = NDArray[np.float64]
Curve = Callable[[Floats], Floats]

SEED = 20261125
COUNT = 1000
TRIALS = 12
NOISES = (0.05, 0.10, 0.20)  # of the curve's range over the window
LOWEST_N = 20.0
RATIOS = (2.0, 4.0)  # upper end of the window over the lower
SHARED_U, OWN_U, SETTING_U = 0.02, 0.006, 0.02
LOSS = 0.05  # of the curve's range
POINTS = 801
KINDS = ("parabola", "machine", "falling", "flat")
WITH_OPTIMUM = ("parabola", "machine")
EDGE = 0.8  # machines have their lowest point this far inside, in halves of the window


@dataclass(frozen=True, slots=True)
class Machine:
    """A curve scaled to run from 0 to 1 over its window, and where it is lowest."""

    low_n: float
    high_n: float
    tension_n: Floats
    result: Floats

    def at(self, tension_n: float | Floats) -> Floats:
        return np.asarray(np.interp(tension_n, self.tension_n, self.result))

    def best(self, low_n: float, high_n: float) -> float:
        inside = (self.tension_n >= low_n) & (self.tension_n <= high_n)
        return float(self.tension_n[inside][np.argmin(self.result[inside])])


def machine(kind: str, rng: np.random.Generator) -> Machine:
    """Return a machine of one kind."""
    high = LOWEST_N * rng.uniform(*RATIOS)
    # a little beyond the window, for trials set beyond it
    tension = np.linspace(0.9 * LOWEST_N, 1.1 * high, POINTS)
    z = 2 * (tension - LOWEST_N) / (high - LOWEST_N) - 1
    curve = CURVES[kind](tension, z, rng)
    inside = (tension >= LOWEST_N) & (tension <= high)
    reach = float(np.ptp(curve[inside]))
    scaled = (curve - curve[inside].min()) / (reach or 1.0)
    return Machine(LOWEST_N, high, tension, scaled)


def _parabola(_: Floats, z: Floats, rng: np.random.Generator) -> Floats:
    return np.asarray((z - rng.uniform(-0.5, 0.5)) ** 2)


def _falling(tension: Floats, z: Floats, rng: np.random.Generator) -> Floats:
    kind = rng.integers(3)
    if kind == 0:
        return -z
    if kind == 1:
        return 1 / tension
    return np.asarray((z - rng.uniform(1.1, 2.0)) ** 2)


def _flat(_: Floats, z: Floats, rng: np.random.Generator) -> Floats:  # noqa: ARG001
    return 0 * z


def _machine(tension: Floats, z: Floats, rng: np.random.Generator) -> Floats:
    """Return stretch of the slack side, averaged over the forces of a cut, plus drag."""
    from scipy.special import ndtr

    while True:
        force = rng.uniform(0.3, 1.6) * LOWEST_N + rng.uniform(0.0, 0.4) * float(tension.max())
        spread = rng.uniform(0.15, 0.45) * force
        share = rng.uniform(0.6, 0.95)  # of a force that the slack strand loses
        beyond = (share * force - tension) / (share * spread)
        density = np.exp(-(beyond**2) / 2) / math.sqrt(2 * math.pi)
        give = share * spread * (beyond * ndtr(beyond) + density)
        curve: Floats = give + rng.uniform(0.02, 0.5) * tension
        window = np.abs(z) <= 1
        if abs(z[window][np.argmin(curve[window])]) < EDGE:
            return curve


CURVES = {"parabola": _parabola, "machine": _machine, "falling": _falling, "flat": _flat}


@dataclass(frozen=True, slots=True)
class Outcome:
    """One study judged; `covered` and `covered_absolute` are None where no optimum is claimed."""

    word: str
    covered: bool | None
    covered_absolute: bool | None
    width: float | None
    close: bool
    process: bool


def study(kind: str, noise: float, index: int, seed: int = SEED) -> Outcome:
    """Make one study of one machine."""
    rng = np.random.default_rng([seed, KINDS.index(kind), round(1000 * noise), index])
    made = machine(kind, rng)
    field = Field(made.low_n, made.high_n, "the window", "the window")
    shared = 1 + SHARED_U * rng.standard_normal()
    trials, true_n = _trials(made, field, noise, shared, rng)
    measure = Measure("error", "um")
    try:
        found = learn(measure, 0, trials, field, both=False)
    except CannotTell:
        return Outcome("refused", None, None, None, close=False, process=False)
    return _judged(found, made, shared, true_n)


def _trials(
    made: Machine, field: Field, noise: float, shared: float, rng: np.random.Generator
) -> tuple[list[Trial], Floats]:
    trials, true_n = [], []
    for plan in planned(field, TRIALS, seed=int(rng.integers(2**31))):
        true = plan.tension_n / shared * (1 + SETTING_U * rng.uniform(-1, 1))
        read = true * shared * (1 + OWN_U * rng.standard_normal())
        parts = (
            Part("linear mass", "roll", SHARED_U * read),
            Part("plucks", f"pluck@{plan.order}", OWN_U * read),
        )
        result = float(made.at(true)) + noise * rng.standard_normal()
        trials.append(Trial(plan.order, (Estimate(read, parts),), (result,)))
        true_n.append(true)
    return trials, np.array(true_n)


def _judged(found: Finding, made: Machine, shared: float, true_n: Floats) -> Outcome:
    # right is what is best in the range that was tried, which is where the study may look
    best = made.best(max(made.low_n, true_n.min()), min(made.high_n, true_n.max()))
    covered = absolute = width = None
    if found.interval_n is not None and found.whole_interval_n is not None:
        low, high = found.interval_n
        covered = low <= best * shared <= high
        absolute = found.whole_interval_n[0] <= best <= found.whole_interval_n[1]
        width = (high - low) / (made.high_n - made.low_n)
    loss = float(made.at(found.best_n / shared)) - float(made.at(best))
    return Outcome(
        found.word, covered, absolute, width, loss <= LOSS, found.method == "gaussian process"
    )


# --- counting -----------------------------------------------------------------------------------

HEAD = (
    "| machines | noise | studies | claim an optimum % | of these, interval holds the best % "
    "| holds it as an absolute tension % | width, share of window "
    "| recommended loses <= 5 % of the range % | called falling at the edge % | process used % |\n"
    "|---|---|---|---|---|---|---|---|---|---|"
)


def counts(outcomes: Sequence[Outcome]) -> dict[str, int]:
    """Return the bare counts."""
    return {
        "count": len(outcomes),
        "optimum": sum(o.word == "optimum" for o in outcomes),
        "covered": sum(o.covered is True for o in outcomes),
        "covered_absolute": sum(o.covered_absolute is True for o in outcomes),
        "close": sum(o.close for o in outcomes),
        "upper_edge": sum(o.word == "upper edge" for o in outcomes),
        "process": sum(o.process for o in outcomes),
    }


def line(name: str, noise: float, outcomes: Sequence[Outcome]) -> str:
    """Return one line of the table."""
    got = counts(outcomes)
    widths = [o.width for o in outcomes if o.width is not None]
    flat, optimum = name == "flat", got["optimum"]
    cells = [
        name,
        f"{noise:.0%}" if not flat else "any",
        str(got["count"]),
        str(Share(optimum, got["count"])),
        "-" if flat else str(Share(got["covered"], optimum)),
        "-" if flat else str(Share(got["covered_absolute"], optimum)),
        f"{np.median(widths):.2f}" if widths and not flat else "-",
        "-" if flat else str(Share(got["close"], got["count"])),
        str(Share(got["upper_edge"], got["count"])) if name == "falling" else "-",
        f"{100 * got['process'] / got['count']:.0f}",
    ]
    return f"| {' | '.join(cells)} |"


def cells_of(count: int) -> list[tuple[str, float, int]]:
    """Return kinds with their noise and number of studies."""
    return [(k, n, count) for k in KINDS for n in (NOISES if k != "flat" else NOISES[1:2])]


def run(count: int, seed: int, jobs: int) -> dict[tuple[str, float], list[Outcome]]:
    """Make all studies."""
    found: dict[tuple[str, float], list[Outcome]] = {}
    for kind, noise, number in cells_of(count):
        one = partial(study, kind, noise, seed=seed)
        found[kind, noise] = [*shared_out(one, range(number), jobs, 20)]
        print(line(kind, noise, found[kind, noise]), flush=True)
    return found


def table(found: dict[tuple[str, float], list[Outcome]]) -> tuple[str, dict[str, Any]]:
    """Return the table and the bare counts."""
    lines = [HEAD, *(line(kind, noise, each) for (kind, noise), each in found.items())]
    for noise in NOISES:
        both = [o for kind in WITH_OPTIMUM for o in found[kind, noise]]
        lines.append(line("parabola and machine", noise, both))
    rows = {f"{kind} {noise:g}": counts(each) for (kind, noise), each in found.items()}
    return "\n".join(lines), {"rows": rows}


def main(arguments: Sequence[str] | None = None) -> None:
    """Make the table."""
    parser = argparse.ArgumentParser(prog="python -m calibration.studies")
    parser.add_argument("--count", type=int, help="studies of each kind; nothing is written then")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    given = parser.parse_args(arguments)
    found = run(given.count or COUNT, given.seed, given.jobs)
    text, record = table(found)
    print(text)
    if given.count is None:
        total = sum(len(each) for each in found.values())
        evidence.keep(
            evidence.STUDY, "studies", text, {"seed": given.seed, "count": total, **record}
        )


if __name__ == "__main__":
    main()
