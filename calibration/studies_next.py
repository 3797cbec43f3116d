"""What following `study next` is worth: twelve planned trials, then six where it says.

    OPENBLAS_NUM_THREADS=1 python -m calibration.studies_next

The same simulated machines as `calibration.studies`, at 10 % noise.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

import numpy as np

from beltpitch.study.judgement import learn
from beltpitch.study.next_trial import next_trial
from beltpitch.study.trials import Field, Measure, Trial
from beltpitch.uncertainty import Estimate, Part
from calibration import evidence, studies
from calibration.measures import Share

COUNT = 120
NOISE = 0.10
MORE = 6
KINDS = ("machine",)
HEAD = (
    "| machines | trials | studies | claim an optimum % | of these, interval holds the best % "
    "| recommended loses <= 5 % of the range % |\n|---|---|---|---|---|---|"
)


def both(kind: str, index: int, seed: int = studies.SEED) -> tuple[studies.Outcome, ...]:
    """Return one study after its plan, and after following `next`."""
    rng = np.random.default_rng([seed, studies.KINDS.index(kind), round(1000 * NOISE), index])
    made = studies.machine(kind, rng)
    field = Field(made.low_n, made.high_n, "the window", "the window")
    shared = 1 + studies.SHARED_U * rng.standard_normal()
    trials, true = studies._trials(made, field, NOISE, shared, rng)
    measure, true_n = Measure("error", "um"), list(true)
    first = found = learn(measure, 0, trials, field)
    before = studies._judged(first, made, shared, np.array(true_n))
    for number in range(len(trials) + 1, len(trials) + 1 + MORE):
        aim = next_trial(found, field).tension_n or found.best_n
        set_n = aim / shared * (1 + studies.SETTING_U * rng.uniform(-1, 1))
        read = set_n * shared * (1 + studies.OWN_U * rng.standard_normal())
        parts = (
            Part("linear mass", "roll", studies.SHARED_U * read),
            Part("plucks", f"pluck@{number}", studies.OWN_U * read),
        )
        result = float(made.at(set_n)) + NOISE * rng.standard_normal()
        trials.append(Trial(number, (Estimate(read, parts),), (result,)))
        true_n.append(set_n)
        found = learn(measure, 0, trials, field)
    return before, studies._judged(found, made, shared, np.array(true_n))


def line(kind: str, trials: str, outcomes: Sequence[studies.Outcome]) -> str:
    """Return one line of the table."""
    got = studies.counts(outcomes)
    claimed = Share(got["optimum"], got["count"])
    covered, close = Share(got["covered"], got["optimum"]), Share(got["close"], got["count"])
    return f"| {kind} | {trials} | {got['count']} | {claimed} | {covered} | {close} |"


def main(arguments: Sequence[str] | None = None) -> None:
    """Make the table."""
    parser = argparse.ArgumentParser(prog="python -m calibration.studies_next")
    parser.add_argument("--count", type=int, help="fewer studies; nothing is written then")
    parser.add_argument("--seed", type=int, default=studies.SEED)
    given = parser.parse_args(arguments)
    lines, rows = [HEAD], {}
    for kind in KINDS:
        pairs = [both(kind, i, given.seed) for i in range(given.count or COUNT)]
        for name, at in ((f"{studies.TRIALS} planned", 0), (f"and {MORE} by `next`", 1)):
            outcomes = [pair[at] for pair in pairs]
            lines.append(line(kind, name, outcomes))
            rows[f"{kind} {at}"] = studies.counts(outcomes)
            print(lines[-1], flush=True)
    if given.count is None:
        record = {"seed": given.seed, "count": COUNT, "rows": rows}
        evidence.keep(evidence.STUDY, "next", "\n".join(lines), record)


if __name__ == "__main__":
    main()
