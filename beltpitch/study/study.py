"""A whole study: each measure judged, where they disagree, what to try next, and why.

The record that is printed, drawn and put into the report; `as_json` is its contract.

Conventions: tensions in newtons on the study's own axis; results in the user's units.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from beltpitch.advice.axis import Layout
from beltpitch.advice.duty import Demand
from beltpitch.errors import CannotTell
from beltpitch.study.explanation import (
    Expectation,
    compared,
    doubts,
    expectation,
    expected_words,
    method_words,
    sentence,
)
from beltpitch.study.gaussian_process import GRID
from beltpitch.study.judgement import Finding, learn
from beltpitch.study.next_trial import Next, next_trial
from beltpitch.study.quadratic import COVERAGE
from beltpitch.study.trials import UNEQUAL, Field, Trial, Trials


@dataclass(frozen=True, slots=True, eq=False)
class StudyAnswer:
    """One measure: what was found, said in words, what to try next, what mechanics say of it."""

    finding: Finding
    sentence: str
    notes: tuple[str, ...]
    next: Next
    compared: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Study:
    """A study as it stands.

    Parameters
    ----------
    trials
        The table.
    field
        The range that may be recommended.
    answers
        One for each measure that could be judged.
    refused
        Why the others could not, by the name of the measure.
    agreement
        How several measures stand to each other; empty for one.
    chosen_n, chosen_why
        The tension to set, and why that one; None where there is none yet.
    expected, expected_words
        What the mechanics expect; None and empty without a duty.
    notes
        What concerns the trials as a whole.
    """

    trials: Trials
    field: Field
    answers: tuple[StudyAnswer, ...]
    refused: tuple[tuple[str, str], ...]
    agreement: str
    chosen_n: float | None
    chosen_why: str
    expected: Expectation | None
    expected_words: tuple[str, ...]
    notes: tuple[str, ...]


def study(
    trials: Trials,
    field: Field,
    *,
    demand: Demand | None = None,
    layout: Layout | None = None,
    ea_n: float | None = None,
) -> Study:
    """Return what the trials of a table have shown.

    Parameters
    ----------
    trials
        The table.
    field
        The range that may be recommended.
    demand, layout, ea_n
        For what the mechanics expect, where known.

    Raises
    ------
    CannotTell
        If no measure can be judged.
    """
    expected = expectation(demand, layout, ea_n, field)
    answers, refused = [], []
    for index, measure in enumerate(trials.measures):
        try:
            finding = learn(measure, index, trials.of(index), field)
        except CannotTell as error:
            refused.append((measure.name, error.message))
            continue
        answers.append(_answer(finding, field, expected, trials, index))
    if not answers:
        raise CannotTell(refused[0][1])
    chosen, why, agreement = _together([a.finding for a in answers])
    return Study(
        trials=trials,
        field=field,
        answers=tuple(answers),
        refused=tuple(refused),
        agreement=agreement,
        chosen_n=chosen,
        chosen_why=why,
        expected=expected,
        expected_words=() if expected is None else expected_words(expected, field),
        notes=_notes(trials),
    )


def _answer(
    finding: Finding, field: Field, expected: Expectation | None, trials: Trials, index: int
) -> StudyAnswer:
    return StudyAnswer(
        finding=finding,
        sentence=sentence(finding),
        notes=doubts(finding, _without_outliers(finding, field, trials, index)),
        next=next_trial(finding, field),
        compared=() if expected is None else compared(expected, finding, field),
    )


def _without_outliers(finding: Finding, field: Field, trials: Trials, index: int) -> Finding | None:
    """Return what would be found without the trials that stand apart, for comparison only."""
    if not finding.outliers:
        return None
    apart = {one.number for one in finding.outliers}
    rest = [t for t in trials.of(index) if t.number not in apart]
    try:
        return learn(finding.measure, index, rest, field, both=False)
    except CannotTell:
        return None


def _notes(trials: Trials) -> tuple[str, ...]:
    said = []
    later = [str(t.number) for t in trials.trials if not (t.planned or t.left_out)]
    if later:
        word = "trial" if len(later) == 1 else "trials"
        said.append(
            f"{word} {', '.join(later)}: chosen by what the earlier ones showed. That finds the "
            "better tension, but an interval is then too sure of itself (it held the best in about "
            "8 of 10 simulated studies, not 95 %); for an honest one plan a second study over a "
            "narrower range"
        )
    left = [str(t.number) for t in trials.trials if t.left_out]
    if left:
        said.append(f"left out by you: trial {', '.join(left)}")
    unequal = [t for t in trials.trials if t.unequal is not None and t.unequal > UNEQUAL]
    if unequal:
        which = ", ".join(f"{t.number} ({t.unequal or 0:.0%})" for t in unequal)
        said.append(
            f"the two belts differ in trial {which}: match the pair first, or the study tells of "
            "the mismatch as much as of the tension"
        )
    return tuple(said)


# --- several measures ---------------------------------------------------------------------------

TELLING = ("optimum", "upper edge", "lower edge", "hump")


def _together(findings: list[Finding]) -> tuple[float | None, str, str]:
    """Return the tension to set, why, and how the measures agree."""
    telling = [f for f in findings if f.word in TELLING]
    if not telling:
        flat = [f for f in findings if f.word == "flat"]
        if len(flat) == len(findings):
            return flat[0].best_n, "nothing measured changes with tension: the lower is kinder", ""
        return None, "nothing is shown yet", ""
    if len(telling) == 1:
        one = telling[0]
        rest = [f.measure.name for f in findings if f is not one]
        said = f"only {one.measure.name} tells; {', '.join(rest)} does not" if rest else ""
        return one.best_n, f"best for {one.measure.name}", said
    low, high = (max(_span(f)[0] for f in telling), min(_span(f)[1] for f in telling))
    names = " and ".join(f.measure.name for f in telling)
    middle, losses, worst = _compromise(telling)
    if low <= high:
        at = float(np.clip(middle, low, high))
        said = f"they agree: {low:.1f} to {high:.1f} N serves {names}"
        return at, f"serves {names}", said
    if worst <= LITTLE:
        each = ", ".join(f"{f.measure.name} {f.best_n:.1f} N" for f in telling)
        said = (
            f"they differ by little ({each}): at {middle:.1f} N none is worse than its best by "
            f"more than {worst:.0%} of its range"
        )
        return middle, f"serves {names}", said
    return (
        None,
        "the measures disagree: choose which matters",
        _disagreement(telling, middle, losses),
    )


def _span(finding: Finding) -> tuple[float, float]:
    """Return where the best tension of one measure lies, for holding against another."""
    if finding.interval_n is not None:
        return finding.interval_n
    low, high = finding.range_n
    reach = high - low
    if finding.word == "lower edge":
        return low, max(finding.best_n, low + EDGE * reach)
    if finding.word == "upper edge":
        return min(finding.best_n, high - EDGE * reach), high
    return finding.best_n, finding.best_n


LITTLE = 0.05  # of a measure's range: a loss that is no reason to disagree
EDGE = 0.1  # of the range: what counts as an edge beside another measure's interval


def _compromise(findings: list[Finding]) -> tuple[float, list[float], float]:
    """Return the tension at which the worst loss, in shares of each range, is least; and both."""
    low = max(f.range_n[0] for f in findings)
    high = min(f.range_n[1] for f in findings)
    grid = np.linspace(low, high, GRID)
    losses = np.stack([f.loss(grid) for f in findings])
    reach = np.array([max(float(np.ptp(f.curve(f.grid()))), 1e-300) for f in findings])
    worst = (losses / reach[:, None]).max(axis=0)
    at = int(np.argmin(worst))
    return float(grid[at]), [float(x) for x in losses[:, at]], float(worst[at])


def _disagreement(findings: list[Finding], middle: float, losses: list[float]) -> str:
    pairs = [
        (a, b)
        for a, b in combinations(findings, 2)
        if max(_span(a)[0], _span(b)[0]) > min(_span(a)[1], _span(b)[1])
    ]
    a, b = pairs[0] if pairs else (findings[0], findings[1])
    cost = ", ".join(
        f"{f.measure.name} {f.measure.value(loss, 2)} worse than its best"
        for f, loss in zip(findings, losses, strict=True)
    )
    return (
        f"they disagree: {a.measure.name} is best at {a.best_n:.1f} N, {b.measure.name} at "
        f"{b.best_n:.1f} N; in between, at {middle:.1f} N: {cost}. Choose which matters more"
    )


# --- JSON ---------------------------------------------------------------------------------------


def as_json(made: Study) -> dict[str, Any]:
    """Return the record as the JSON contract has it: every key, null if unknown, newtons."""
    field = made.field
    return {
        "name": made.trials.name,
        "table": made.trials.source or None,
        "window_n": [field.low_n, field.high_n],
        "low_rule": field.low_rule or None,
        "high_rule": field.high_rule or None,
        "trials": [trial_json(t) for t in made.trials.trials],
        "measures": [_answer_json(a) for a in made.answers],
        "refused": [{"measure": name, "why": why} for name, why in made.refused],
        "agreement": made.agreement or None,
        "chosen_n": made.chosen_n,
        "chosen_why": made.chosen_why,
        "coverage": COVERAGE,
        "expected": None if made.expected is None else _expected_json(made.expected),
        "expected_words": list(made.expected_words),
        "warnings": list(made.notes),
    }


def trial_json(trial: Trial) -> dict[str, Any]:
    """Return one trial as the JSON contract has it."""
    return {
        "trial": trial.number,
        "tension_n": trial.tension.value,
        "tension_u_n": trial.tension.u,
        "tensions_n": [one.value for one in trial.tensions],
        "results": list(trial.results),
        "left_out": trial.left_out,
        "planned": trial.planned,
    }


def _answer_json(answer: StudyAnswer) -> dict[str, Any]:
    found, fit = answer.finding, answer.finding.quadratic
    whole = found.whole_interval_n
    return {
        "measure": found.measure.name,
        "unit": found.measure.unit or None,
        "goal": found.measure.goal,
        "target": found.measure.target,
        "word": found.word,
        "said": answer.sentence,
        "method": found.method,
        "why_method": method_words(found),
        "best_n": found.best_n,
        "best_result": float(found.curve(np.array([found.best_n]))[0]),
        "interval_n": None if found.interval_n is None else list(found.interval_n),
        "interval_with_shared_n": None if whole is None else list(whole),
        "shared_error": found.shared.u,
        "shared_by": list(found.shared.names),
        "range_n": list(found.range_n),
        "scatter": fit.scatter,
        "lack_of_fit_p": fit.lack_of_fit_p,
        "curvature_p": fit.curvature_p,
        "trend_p": fit.trend_p,
        "outliers": [
            {"trial": o.number, "tension_n": o.tension_n, "result": o.result, "off": o.off}
            for o in found.outliers
        ],
        "next": {
            "tension_n": answer.next.tension_n,
            "trials": answer.next.trials,
            "teaches": answer.next.teaches,
            "expected_improvement": answer.next.expected_improvement,
            "half_width_n": None
            if answer.next.half_width_n is None
            else list(answer.next.half_width_n),
        },
        "compared": list(answer.compared),
        "notes": list(answer.notes),
    }


def _expected_json(expected: Expectation) -> dict[str, Any]:
    k = expected.stiffness_n_per_m
    return {
        "slack_below_n": expected.slack_n,
        "pull_n": expected.pull_n,
        "stiffness_n_per_mm": None if k is None else [one / 1e3 for one in k],
        "lost_motion_um": None if expected.lost_m is None else expected.lost_m * 1e6,
        "give_um": [[t, m * 1e6] for t, m in expected.give_m],
        "missing": list(expected.missing),
    }
