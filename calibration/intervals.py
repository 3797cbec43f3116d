"""Which interval is nearer 95 %: the linear budget's, or that of Monte Carlo (JCGM 101)?

    python -m calibration.intervals [--trials N]        the table, written into docs/coverage.md

A trial is one whole measurement: linear mass and span are off by errors of the law they are stated
with (mass: Student's with 8 degrees of freedom, as a catalogue's figure; span: rectangular), the
tone is the mean of a few plucks that scatter normally, or one whose scatter is borrowed (Student's
with 4 degrees of freedom); where a span is stiff, its stiffness is
gamma of its mean and uncertainty, and its ends are held anywhere, as the square of a uniform
number. Both intervals are made from what the trial knows; counted is how often each holds the true
tension, and how often that one does which `Estimate.interval` uses.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, combine, student_quantile, type_a
from calibration.monte_carlo import propagate, strand_tension

Array = NDArray[np.float64]

MASS, SPAN, TONE = 12.6e-3, 0.4, 66.3
TENSION = float(strand_tension(np.array(MASS), np.array(SPAN), np.array(TONE)))
SPAN_LIMIT = 1e-3 / math.sqrt(3)
DRAWS = 4000
TRIALS = 2000
SEED = 101
STIFFNESS_U, STIFFNESS_DOF = 0.6, 8.0
BORROWED_DOF = 4.0
HOLDING, HOLDING_U = 1 / 3, 0.29
SMALL = 1e-4  # step of a derivative, relative to an input


@dataclass(frozen=True, slots=True)
class Case:
    """Relative u of the linear mass, relative scatter of plucks, number of plucks, xi of the span.

    ``xi`` is infinite for a string.
    """

    mass_u: float
    scatter: float
    plucks: int
    xi: float = math.inf

    @property
    def words(self) -> str:
        """Name of a line."""
        stiff = f", xi {self.xi:g}" if math.isfinite(self.xi) else ""
        several = f"{self.plucks} plucks that scatter" if self.plucks > 1 else "1 pluck, borrowed"
        return f"mass u {self.mass_u:.1%}, {several} by {self.scatter:.1%}{stiff}"


CASES = (
    Case(0.005, 0.003, 1),
    Case(0.01, 0.003, 1),
    Case(0.005, 0.003, 3),
    Case(0.005, 0.006, 3),
    Case(0.005, 0.01, 3),
    Case(0.005, 0.02, 3),
    Case(0.005, 0.01, 2),
    Case(0.005, 0.01, 5),
    Case(0.005, 0.01, 8),
    Case(0.03, 0.003, 3),
    Case(0.10, 0.003, 3),
    Case(0.25, 0.003, 3),
    Case(0.005, 0.003, 3, xi=30.0),
    Case(0.005, 0.003, 3, xi=60.0),
    Case(0.10, 0.003, 3, xi=30.0),
)


@dataclass(frozen=True, slots=True)
class Covered:
    """Share of trials in which each interval held the truth, and its mean width over T.

    ``used`` is that of the interval the program uses; ``few`` how often that was not the linear.
    """

    linear: float
    spread: float
    used: float
    few: float
    linear_width: float
    spread_width: float


def covered(case: Case, trials: int, seed: int = SEED) -> Covered:
    """Return how often the intervals hold the true tension of a case."""
    rng = np.random.default_rng(seed)
    hits, widths, few = np.zeros(3), np.zeros(2), 0
    for trial in range(trials):
        truth, linear, spread = _trial(case, rng, trial)
        rule = linear.ruled_by_few
        by = (_linear(linear), spread)
        held = [low <= truth <= high for low, high in by]
        hits += [*held, held[rule]]
        widths += [(high - low) / truth for low, high in by]
        few += rule
    share, width = (hits / trials).tolist(), (widths / trials).tolist()
    return Covered(share[0], share[1], share[2], few / trials, width[0], width[1])


def _linear(found: Estimate) -> tuple[float, float]:
    """Return the interval of the linear budget (GUM G.6.4), whichever the program would use."""
    half = student_quantile(0.975, found.dof) * found.u
    return found.value - half, found.value + half


def _trial(
    case: Case, rng: np.random.Generator, seed: int
) -> tuple[float, Estimate, tuple[float, float]]:
    """Return the true tension, the linear budget and the interval by Monte Carlo."""
    stated = 0.0 if math.isinf(case.xi) else TENSION * (SPAN / case.xi) ** 2
    shape = STIFFNESS_U**-2
    ei, hold = stated * rng.gamma(shape) / shape, float(rng.uniform() ** 2)
    truth = float(strand_tension(*map(np.array, (MASS, SPAN, TONE, ei, hold))))
    shown_mass = MASS / (1 + case.mass_u * rng.standard_t(8.0))
    shown_mass = shown_mass if shown_mass > 0 else MASS
    tone = _tone(case, rng)
    inputs = [
        Estimate.single(shown_mass, case.mass_u * shown_mass, name="mass", key="roll", dof=8.0),
        Estimate.single(SPAN + rng.uniform(-1e-3, 1e-3), SPAN_LIMIT, name="span", key="tape"),
        tone,
    ]
    if stated:
        u = STIFFNESS_U * stated
        inputs += [
            Estimate.single(stated, u, name="stiffness", key="stiffness", dof=STIFFNESS_DOF),
            Estimate.single(HOLDING, HOLDING_U, name="ends", key="ends"),
        ]
    linear = _budget(inputs)
    try:
        spread = propagate(
            _held_tension, inputs, trials=DRAWS, seed=seed, shapes={"tape": "rectangular"}
        ).interval()
    except RequestError:  # some draws have no tension: there is no such interval, it holds nothing
        spread = (linear.value, linear.value)
    return truth, linear, spread


def _tone(case: Case, rng: np.random.Generator) -> Estimate:
    """Return the tone as the trial's plucks tell it."""
    if case.plucks == 1:
        u, shown = case.scatter * TONE, TONE * (1 + case.scatter * rng.standard_t(BORROWED_DOF))
        return Estimate.single(shown, u, name="plucks", key="pluck", dof=BORROWED_DOF)
    plucks = TONE * (1 + case.scatter * rng.standard_normal(case.plucks))
    return type_a(plucks.tolist(), name="plucks", key="pluck")


def _held_tension(
    mass: Array, span: Array, tone: Array, stiffness: Array | float = 0.0, hold: Array | float = 0.0
) -> Array:
    """Return `strand_tension` with draws of the holding beyond pinned and clamped put there."""
    return strand_tension(mass, span, tone, stiffness, np.clip(hold, 0.0, 1.0))


def _budget(inputs: list[Estimate]) -> Estimate:
    """Return the linear budget, by central differences."""
    at = np.array([x.value for x in inputs])
    step = SMALL * at
    shifts = np.vstack([np.zeros(at.size), np.diag(step), -np.diag(step)])
    found = strand_tension(*(at + shifts).T)
    slopes = (found[1 : at.size + 1] - found[at.size + 1 :]) / (2 * step)
    return combine(float(found[0]), zip(map(float, slopes), inputs, strict=True))


HEAD = (
    "| | linear | Monte Carlo | used | of it Monte Carlo | linear width | Monte Carlo width |\n"
    "|---|---|---|---|---|---|---|"
)


def line(case: Case, found: Covered) -> str:
    """Return one line of the table."""
    return (
        f"| {case.words} | {found.linear:.1%} | {found.spread:.1%} | {found.used:.1%} "
        f"| {found.few:.0%} | {found.linear_width:.1%} | {found.spread_width:.1%} |"
    )


def main() -> None:
    from calibration import evidence

    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--trials", type=int, default=TRIALS)
    trials = parser.parse_args().trials
    found = [(case, covered(case, trials)) for case in CASES]
    text = "\n".join([HEAD, *(line(*each) for each in found)])
    print(text)
    if trials == TRIALS:
        rows = {case.words: asdict(each) for case, each in found}
        evidence.keep(
            evidence.COVERED, "intervals", text, {"seed": SEED, "count": TRIALS, "rows": rows}
        )


if __name__ == "__main__":
    main()
