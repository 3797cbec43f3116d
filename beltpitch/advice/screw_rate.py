"""What a turn of the screw really does: the rate learnt from readings, catalogue first.

Model: tension = start + rate x (turns that took hold). A screw that changes direction, or starts
on a slack belt, first loses some turns (play); the rate is constant to within a few per cent. Both
are unknown; readings are noisy. The posterior of rate and play is taken on a grid (Bayes), with
the catalogue's EA as the prior of the rate and the start profiled out.

Conventions: rates in N per turn, positive turns tighten. Priors and scatter are named constants
with their reason; none was measured on a belt of ours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from beltpitch.uncertainty import Estimate

# Catalogue EA against what a machine does: users' tests of like belts differ by 1.6 to 1.9
# (belt-data section 2c), a frame gives on top. A factor of two lies at two of these.
RATE_SPREAD = 0.35
UNKNOWN_SPREAD = 1.0  # no EA at all: a factor of 2.7 either way from the first turn's own rate
# Turns lost in play or slack: mostly a few degrees, now and then a whole turn. Project's choice.
PLAY_MEAN = 0.10
PLAY_MOST = 1.5
# Readings after a settle repeat within this share, and within this force: common practice, no
# source (rails hold some of the belt back).
SETTLE_SHARE, SETTLE_N = 0.007, 0.3
STIFFENING = 0.05  # rate drifts by this share over a step: cords straighten, teeth seat
RATES, PLAYS = 41, 19  # grid
NEGLIGIBLE = -16.0  # log of a weight, against the largest, that is left out: 1 in 10 million
REACH = 4.0  # of the grid, in standard deviations


@dataclass(frozen=True, slots=True)
class RateCell:
    """One possible screw: its weight, rate, and turns that the next move would lose first."""

    weight: float
    newtons_per_turn: float
    lost_tightening: float
    lost_loosening: float

    def turns_to(self, rise_n: float) -> float:
        """Return the turns that change the tension by `rise_n`, lost ones included."""
        if rise_n >= 0:
            return rise_n / self.newtons_per_turn + self.lost_tightening
        return rise_n / self.newtons_per_turn - self.lost_loosening


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is believed of the screw: cells with weights that add to one."""

    cells: tuple[RateCell, ...]

    @property
    def rate(self) -> Estimate:
        """The rate with its standard uncertainty, N per turn (log-normal about its mean)."""
        logs = [(c.weight, math.log(c.newtons_per_turn)) for c in self.cells]
        centre = sum(w * x for w, x in logs)
        spread = math.sqrt(sum(w * (x - centre) ** 2 for w, x in logs))
        value = math.exp(centre)
        return Estimate.single(value, value * spread, name="rate of the screw", key="screw")

    def turns(self, rise_n: float, doubt: float) -> float:
        """Return turns with probability `doubt` that fewer already change T by `rise_n`."""
        ranked = sorted(
            ((c.turns_to(rise_n), c.weight) for c in self.cells), key=lambda pair: abs(pair[0])
        )
        total = 0.0
        for turns, weight in ranked:
            total += weight
            if total >= doubt:
                return turns
        return ranked[-1][0]

    def rise(self, turns: float) -> tuple[float, float, float]:
        """Return the change of tension by `turns`: 5 %, 50 % and 95 % quantiles."""
        ranked = sorted((_rise(c, turns), c.weight) for c in self.cells)
        return _three_quantiles(ranked)


def _three_quantiles(ranked: Sequence[tuple[float, float]]) -> tuple[float, float, float]:
    """Return the 5 %, 50 % and 95 % quantiles of (value, weight) pairs in rising order."""
    found: list[float] = []
    total = 0.0
    for value, weight in ranked:
        total += weight
        while len(found) < len(_QUANTILES) and total >= _QUANTILES[len(found)] - 1e-12:
            found.append(value)
    found += [ranked[-1][0]] * (len(_QUANTILES) - len(found))
    return found[0], found[1], found[2]


_QUANTILES = (0.05, 0.5, 0.95)


def _rise(cell: RateCell, turns: float) -> float:
    if turns >= 0:
        return cell.newtons_per_turn * max(0.0, turns - cell.lost_tightening)
    return cell.newtons_per_turn * min(0.0, turns + cell.lost_loosening)


def learn(
    readings: Sequence[Estimate], turned: Sequence[float], prior_n: float, spread: float
) -> Posterior:
    """Return the posterior of the screw after the readings so far.

    Parameters
    ----------
    readings
        Tension before the first turn and after each; what they all share cancels.
    turned
        Turns between them, positive tightening.
    prior_n
        Rate expected beforehand, N per turn.
    spread
        Standard deviation of its logarithm.
    """
    tensions = [r.value for r in readings]
    doubts = scatter(readings)
    first = _grid(math.log(prior_n), spread)
    coarse = _posterior(first, tensions, doubts, turned, (math.log(prior_n), spread))
    if not turned:
        return coarse
    # the data may pin the rate far finer than the first grid: lay a second over its bulk
    rate = coarse.rate
    step = first[1] - first[0]
    around = _grid(math.log(rate.value), max(rate.u / rate.value, step / 2))
    return _posterior(around, tensions, doubts, turned, (math.log(prior_n), spread))


def scatter(readings: Sequence[Estimate]) -> list[float]:
    """Return the u of each reading that it does not share with all others, and its settling."""
    shared = set.intersection(*({p.key for p in r.parts} for r in readings)) if readings else set()
    if len(readings) == 1:
        shared = set()
    return [
        math.sqrt(
            sum(p.u**2 for p in r.parts if p.key not in shared)
            + (SETTLE_SHARE * r.value) ** 2
            + SETTLE_N**2
        )
        for r in readings
    ]


def _grid(centre: float, spread: float) -> list[float]:
    half = (RATES - 1) / 2
    return [centre + spread * REACH * (i - half) / half for i in range(RATES)]


def _plays() -> list[float]:
    return [PLAY_MOST * (j / (PLAYS - 1)) ** 2 for j in range(PLAYS)]


def _posterior(
    log_rates: Sequence[float],
    tensions: Sequence[float],
    doubts: Sequence[float],
    turned: Sequence[float],
    prior: tuple[float, float],
) -> Posterior:
    plays = _plays()
    weights = _weights(tensions, doubts)
    found: list[tuple[float, float, float, float]] = []  # log weight, rate, lost up, lost down
    for j, play in enumerate(plays):
        held, gap = took_hold(turned, play)
        tt, th, hh = _sums(tensions, held, weights)
        # width of the play's own grid, which is not even
        width = (plays[min(j + 1, PLAYS - 1)] - plays[max(j - 1, 0)]) / 2
        before = math.log(width) - play / PLAY_MEAN
        for log_rate in log_rates:
            rate = math.exp(log_rate)
            fit = tt - 2 * rate * th + rate**2 * hh  # chi-square, the common start profiled out
            log_weight = before - 0.5 * (fit + ((log_rate - prior[0]) / prior[1]) ** 2)
            found.append((log_weight, rate, play - gap, gap))
    most = max(row[0] for row in found)
    rows = [(math.exp(w - most), *rest) for w, *rest in found if w - most > NEGLIGIBLE]
    total = sum(row[0] for row in rows)
    return Posterior(tuple(RateCell(w / total, *rest) for w, *rest in rows))


def took_hold(turned: Sequence[float], play: float) -> tuple[list[float], float]:
    """Return the turns that took hold up to each reading, and the gap now open for loosening.

    A screw with play: the tensioner follows only once the gap is closed. The gap starts open for
    tightening (whoever set it last may have let off), so a first tightening loses `play`.
    """
    screw = tensioner = 0.0
    held = [0.0]
    for turns in turned:
        screw += turns
        tensioner = min(max(tensioner, screw - play), screw)
        held.append(tensioner)
    return held, screw - tensioner


def _weights(tensions: Sequence[float], doubts: Sequence[float]) -> list[float]:
    start = tensions[0]
    pairs = zip(tensions, doubts, strict=True)
    return [1 / (u**2 + (STIFFENING * (t - start)) ** 2) for t, u in pairs]


def _sums(
    tensions: Sequence[float], held: Sequence[float], weights: Sequence[float]
) -> tuple[float, float, float]:
    """Return the weighted sums of squares and products of tension and held turns."""
    total = sum(weights)
    t_mean = sum(w * t for w, t in zip(weights, tensions, strict=True)) / total
    h_mean = sum(w * h for w, h in zip(weights, held, strict=True)) / total
    rows = [(w, t - t_mean, h - h_mean) for w, t, h in zip(weights, tensions, held, strict=True)]
    return (
        sum(w * t * t for w, t, _ in rows),
        sum(w * t * h for w, t, h in rows),
        sum(w * h * h for w, _, h in rows),
    )
