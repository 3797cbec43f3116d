"""What is counted, with its limits: outcomes, binomial shares, lines of a table.

A share is printed with its 95 % limits (Clopper and Pearson 1934, exact); shares within a
tolerance and wrong ones are shares of the answered recordings, the count stands beside them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

COVERAGE = 0.95
NORMAL_95 = 1.959964  # quantile of the normal distribution for 95 %
TOLERANCES = (0.002, 0.005, 0.01)
WRONG = 0.02


@dataclass(frozen=True, slots=True)
class Truth:
    """What is right: the frequency, and everything between `low_hz` and `high_hz` as well.

    ``spread`` is the reference's own doubt, relative; 0 where the truth is made.
    """

    frequency_hz: float
    low_hz: float
    high_hz: float
    spread: float = 0.0

    def error(self, answer_hz: float) -> float:
        """Return the relative error, 0 between the limits."""
        if self.low_hz <= answer_hz <= self.high_hz:
            return 0.0
        return abs(answer_hz / self.frequency_hz - 1)

    def covered(self, answer_hz: float, half_width_hz: float) -> bool:
        """Return whether answer +/- half width, widened by the spread, meets what is right."""
        reach = half_width_hz + self.spread * self.frequency_hz
        return self.low_hz - reach <= answer_hz <= self.high_hz + reach


def exactly(frequency_hz: float) -> Truth:
    """Return a truth that is one number."""
    return Truth(frequency_hz, frequency_hz, frequency_hz)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One recording judged: error None if no answer, the others None if no interval is given.

    The error is infinite where there is no pluck: no number is right. ``covered``: truth within
    1.96 u of the fit; ``stated``: within the interval of the reading.
    """

    error: float | None
    covered: bool | None = None
    stated: bool | None = None

    @property
    def answered(self) -> bool:
        """Whether a number was given."""
        return self.error is not None


def judge(
    truth: Truth | None,
    answer_hz: float | None,
    u_hz: float | None = None,
    interval_hz: tuple[float, float] | None = None,
) -> Outcome:
    """Return the outcome of an answer; `u_hz` and `interval_hz` are None where none is given.

    The truth is None where nothing was plucked.
    """
    if answer_hz is None:
        return Outcome(None)
    if truth is None:
        return Outcome(math.inf)
    covered = None if u_hz is None else truth.covered(answer_hz, NORMAL_95 * u_hz)
    stated = None
    if interval_hz is not None:
        low, high = interval_hz
        stated = truth.covered((low + high) / 2, (high - low) / 2)
    return Outcome(truth.error(answer_hz), covered, stated)


@dataclass(frozen=True, slots=True)
class Share:
    """A count of hits among tries."""

    hits: int
    of: int

    @property
    def value(self) -> float:
        """Hits over tries; NaN if nothing was tried."""
        return self.hits / self.of if self.of else math.nan

    def limits(self, coverage: float = COVERAGE) -> tuple[float, float]:
        """Return the Clopper-Pearson limits."""
        from scipy.stats import beta

        if self.of == 0:
            return 0.0, 1.0
        tail = (1 - coverage) / 2
        low = float(beta.ppf(tail, self.hits, self.of - self.hits + 1)) if self.hits else 0.0
        full = self.hits == self.of
        high = 1.0 if full else float(beta.ppf(1 - tail, self.hits + 1, self.of - self.hits))
        return low, high

    def __str__(self) -> str:
        if self.of == 0:
            return "-"
        low, high = self.limits()
        return f"{100 * self.value:.1f} ({100 * low:.1f} to {100 * high:.1f})"


@dataclass(frozen=True, slots=True)
class Summary:
    """Many outcomes of one method under one condition."""

    count: int
    answered: Share
    within: tuple[Share, ...]
    wrong: Share
    covered: Share
    stated: Share

    def counts(self) -> dict[str, int]:
        """Return the bare counts, for the record in the document."""
        return {
            "count": self.count,
            "answered": self.answered.hits,
            "within_half_percent": self.within[1].hits,
            "wrong": self.wrong.hits,
            "covered": self.covered.hits,
            "stated": self.stated.hits,
        }


def summarise(outcomes: Sequence[Outcome]) -> Summary:
    """Return the shares of a list of outcomes."""
    errors = [each.error for each in outcomes if each.error is not None]
    covered = [each.covered for each in outcomes if each.covered is not None]
    stated = [each.stated for each in outcomes if each.stated is not None]
    return Summary(
        count=len(outcomes),
        answered=Share(len(errors), len(outcomes)),
        within=tuple(Share(sum(e <= limit for e in errors), len(errors)) for limit in TOLERANCES),
        wrong=Share(sum(e > WRONG for e in errors), len(errors)),
        covered=Share(sum(covered), len(covered)),
        stated=Share(sum(stated), len(stated)),
    )


HEAD = (
    "| {first} | method | files | answered % | within 0.2 % | within 0.5 % | within 1 % "
    "| wrong by > 2 % | truth within 1.96 u of the fit | truth in the reading's 95 % interval |\n"
    "|---|---|---|---|---|---|---|---|---|---|"
)


def line(first: str, method: str, outcomes: Sequence[Outcome]) -> str:
    """Return one line of a table under :data:`HEAD`."""
    got = summarise(outcomes)
    cells = [str(got.answered), *(str(share) for share in got.within), str(got.wrong)]
    return (
        f"| {first} | {method} | {got.count} | "
        + " | ".join([*cells, str(got.covered), str(got.stated)])
        + " |"
    )


SILENT_HEAD = "| {first} | method | files | gives a number % |\n|---|---|---|---|"


def silent_line(first: str, method: str, outcomes: Sequence[Outcome]) -> str:
    """Return one line of a table under :data:`SILENT_HEAD`, where every number is wrong."""
    got = summarise(outcomes)
    return f"| {first} | {method} | {got.count} | {got.answered} |"
