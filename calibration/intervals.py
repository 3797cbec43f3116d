"""Which interval is nearer 95 %: the linear budget's, or that of Monte Carlo (JCGM 101)?

    python -m calibration.intervals [--trials N]

A trial is one whole measurement of a string: linear mass and span are off by errors of the law
they are stated with (mass: Student's with 8 degrees of freedom, as a catalogue's figure; span:
rectangular), and the tone is the mean of a few plucks that scatter normally. Both intervals are
made from what the trial knows; counted is how often each holds the true tension.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass

import numpy as np

from beltpitch.belt.propagate import propagate, strand_tension
from beltpitch.estimate import Estimate, combine, type_a

MASS, SPAN, TONE = 12.6e-3, 0.4, 66.3
TENSION = float(strand_tension(np.array(MASS), np.array(SPAN), np.array(TONE)))
SPAN_LIMIT = 1e-3 / math.sqrt(3)
DRAWS = 4000


@dataclass(frozen=True, slots=True)
class Case:
    """Relative u of the linear mass, relative scatter of plucks, number of plucks, span in m."""

    mass_u: float
    scatter: float
    plucks: int
    span_m: float = SPAN


CASES = (
    Case(0.005, 0.003, 3),
    Case(0.005, 0.01, 3),
    Case(0.005, 0.01, 2),
    Case(0.03, 0.003, 3),
    Case(0.10, 0.003, 3),
    Case(0.25, 0.003, 3),
    Case(0.005, 0.01, 8),
)


@dataclass(frozen=True, slots=True)
class Covered:
    """Share of trials in which each interval held the truth, and its mean width over T."""

    linear: float
    spread: float
    linear_width: float
    spread_width: float


def covered(case: Case, trials: int, seed: int = 101) -> Covered:
    """Return how often both intervals hold the true tension of a case."""
    rng = np.random.default_rng(seed)
    hits, widths = np.zeros(2), np.zeros(2)
    for trial in range(trials):
        intervals = _intervals(case, rng, trial)
        for k, (low, high) in enumerate(intervals):
            hits[k] += low <= TENSION <= high
            widths[k] += (high - low) / TENSION
    share, width = hits / trials, widths / trials
    return Covered(float(share[0]), float(share[1]), float(width[0]), float(width[1]))


def _intervals(
    case: Case, rng: np.random.Generator, seed: int
) -> tuple[tuple[float, float], tuple[float, float]]:
    mass_dof = 8.0
    shown_mass = MASS / (1 + case.mass_u * rng.standard_t(mass_dof))
    if shown_mass <= 0:
        shown_mass = MASS
    shown_span = SPAN + rng.uniform(-1e-3, 1e-3)
    plucks = TONE * (1 + case.scatter * rng.standard_normal(case.plucks))
    mass = Estimate.single(
        shown_mass, case.mass_u * shown_mass, name="linear mass", key="roll", dof=mass_dof
    )
    span = Estimate.single(shown_span, SPAN_LIMIT, name="span", key="tape")
    tone = type_a(plucks.tolist(), name="plucks", key="pluck")
    t = 4 * mass.value * span.value**2 * tone.value**2
    terms = [(t / mass.value, mass), (2 * t / span.value, span), (2 * t / tone.value, tone)]
    spread = propagate(
        strand_tension,
        [mass, span, tone],
        trials=DRAWS,
        seed=seed,
        shapes={"tape": "rectangular"},
    )
    return combine(t, terms).interval(), spread.interval()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=4000)
    trials = parser.parse_args().trials
    print("| u of mass | scatter | plucks | linear | Monte Carlo | linear width | MC width |")
    print("|---|---|---|---|---|---|---|")
    for case in CASES:
        found = covered(case, trials)
        print(
            f"| {case.mass_u:.1%} | {case.scatter:.1%} | {case.plucks} | {found.linear:.1%} "
            f"| {found.spread:.1%} | {found.linear_width:.2%} | {found.spread_width:.2%} |"
        )


if __name__ == "__main__":
    main()
