"""How well one series explains the lines: its log likelihood ratio against strangers alone.

A candidate (f_s, B) is asked to explain all the lines heard, as partials
``f_n = n f_s sqrt(1 + B n^2)`` or as strangers, and is held to what it promises:

- a line at the right place counts by how much more likely it stands there than a stranger would;
  strangers are as dense as the lines are, and rarely strong;
- its level and its decay count by how well they fit those of the other partials;
- a partial that should be heard and is not costs by how far it ought to have stood above the
  noise, judged from its neighbours in the series (a broad prior on a pluck's envelope, with room
  for a node at the plucked point and for a microphone that is deaf below LOW_HZ);
- the series may end anywhere; above its end everything is a stranger.

Small fundamentals explain any set of lines; here their many empty places cost them. The numbers
are broad priors chosen from physics, not fitted to recordings.

Conventions: scores in nats, 0 is "strangers only"; levels in dB.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beltpitch.sound.block import Samples
from beltpitch.sound.lines import FASTEST, OFF_SERIES, SLOWEST, Lines

STIFFNESS_FREE = 2e-4  # of long ones
STIFFNESS_COST = 1.0  # prior: falls as 1 / B above that
OFF_SPACING = 0.12
REACH = 3.0  # in standard deviations
STRANGERS_OVER_HZ = 1000.0  # strangers are looked for over this much at least
LOUD_STRANGER = 0.25  # nats a dB by which a stranger is louder than every partial
STRANGER_DB = 8.0  # strangers' strength: exponential, mean
ENVELOPE_DB = 6.0  # scatter of partials about a smooth envelope
SHAPE_MEAN = np.array([-6.0, -1.0, -0.5])  # dB: an octave, 100 Hz, dB of deafness
SHAPE_SD = np.array([20.0, 5.0, 1.5, 0.35])  # the same, after the overall level
CHANCE_SHARE = 0.015  # of partials silent for no reason known
NODES = np.array([2, 3, 4, 5, 6, 7])[:, None]
NODE_SHARE = 0.6  # of the partials with a node where it is plucked or heard
NODE_PRIOR = -1.5  # log probability that it is one of these
LOW_HZ = 150.0
LOW_DB_PER_OCTAVE = 24.0
LOW_DEEPEST_DB = 60.0
ENDS = 2
DECAY_MEAN = (2.2, 0.45)  # of ln(decay in 1/s): level, and slope an octave
DECAY_SD = np.array([1.2, 0.3])
DECAY_SCATTER = 0.35
DECAY_TAIL = 3.0  # degrees of freedom: some partials beat and die as they like
BEATING = 0.7  # 1/s: what beating does to a measured decay
STEADY = 0.3  # 1/s: slower is not told from steady
STEADY_SHARE = 0.35  # of strangers
BEYOND_WEIGHT = 0.35  # empty places above the highest line found say the same thing again


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One series and how it explains the lines.

    ``line`` holds for n = 1, 2, ... the index of the line taken for partial n, -1 for none.
    """

    string_hz: float
    stiffness: float
    score: float
    line: NDArray[np.intp]

    @property
    def frequency_hz(self) -> float:
        """Mode 1."""
        return self.string_hz * math.sqrt(1.0 + self.stiffness)

    @property
    def numbers(self) -> NDArray[np.intp]:
        """Numbers of the partials that were found."""
        out: NDArray[np.intp] = np.flatnonzero(self.line >= 0) + 1
        return out


def series_hz(string_hz: float, stiffness: float, top_hz: float) -> Samples:
    """Frequencies of the partials up to ``top_hz``."""
    count = max(1, int(top_hz / string_hz))
    n = np.arange(1, count + 1)
    f = n * string_hz * np.sqrt(1.0 + stiffness * n**2)
    out: Samples = f[f <= top_hz]
    return out


def match(lines: Lines, string_hz: float, stiffness: float, off: float) -> NDArray[np.intp]:
    """Index of the line nearest to each partial within reach, -1 for none."""
    where = series_hz(string_hz, stiffness, lines.top_hz)
    if len(where) == 0:
        return np.full(1, -1, dtype=np.intp)
    return nearest(lines, where, string_hz, off)


def nearest(
    lines: Lines, where: Samples, string_hz: float | Samples, off: float
) -> NDArray[np.intp]:
    """Index of the line nearest to each place within reach, -1 for none; any shape of places.

    ``string_hz`` is that of the series the places belong to: one, or shaped to go with them.
    """
    distance = np.abs(where[..., None] - lines.frequency_hz)
    sigma = spread(lines, where, string_hz, off)
    inside = distance < REACH * sigma
    merit = np.where(inside, np.log(lines.gain) - 0.5 * (distance / sigma) ** 2, -np.inf)
    best = merit.argmax(axis=-1)
    return np.asarray(np.where(inside.any(axis=-1), best, -1), np.intp)


def spread(lines: Lines, where: Samples, string_hz: float | Samples, off: float) -> Samples:
    """Return the standard deviation of a line about its place, shape (..., partials, lines)."""
    width = np.minimum(off * where, OFF_SPACING / REACH * string_hz)[..., None]
    out: Samples = np.sqrt(width**2 + np.minimum(lines.u_hz, width) ** 2)
    return out


def score(lines: Lines, string_hz: float, stiffness: float) -> Candidate:
    """Score one series in full."""
    line = match(lines, string_hz, stiffness, OFF_SERIES)
    where = series_hz(string_hz, stiffness, lines.top_hz)
    found = np.flatnonzero(line >= 0)
    if len(found) == 0 or len(where) == 0:
        return Candidate(string_hz, stiffness, -np.inf, line)
    best, most = line, -np.inf
    limit_db = lines.limit_db(where)
    for highest in _ends(found):
        cut = line.copy()
        cut[highest:] = -1
        total = _explained(lines, where, cut, string_hz, limit_db)
        if total > most:
            best, most = cut, total
    most -= STIFFNESS_COST * math.log1p(stiffness / STIFFNESS_FREE)
    return Candidate(string_hz, stiffness, most, best)


def _ends(found: NDArray[np.intp]) -> list[int]:
    """Partial numbers at which the series may end: where the gaps are widest, and the last."""
    n = found + 1
    gaps = n[1:] / n[:-1] * np.where(n[1:] - n[:-1] > 1, 1.0, 0.0)
    widest = np.argsort(gaps)[::-1][:ENDS]
    return [int(n[-1]), *(int(n[g]) for g in widest if gaps[g] > 0)]


def _explained(
    lines: Lines, where: Samples, line: NDArray[np.intp], string_hz: float, limit_db: Samples
) -> float:
    """Log likelihood ratio of a series with these lines for partials, against strangers only."""
    found = np.flatnonzero(line >= 0)
    k = line[found]
    sigma = spread(lines, where[found], string_hz, OFF_SERIES)[np.arange(len(k)), k]
    off = (lines.frequency_hz[k] - where[found]) / sigma
    place = -0.5 * off**2 - np.log(sigma * math.sqrt(2 * math.pi))
    strange = -lines.above_db[k] / STRANGER_DB - math.log(STRANGER_DB)
    last = min(len(where), 2 * (int(found[-1]) + 1))
    strong, mean, scatter = _envelope(lines, where[:last], found, k)
    total = float((place - strange).sum()) + strong
    total += _missing(line[:last], limit_db[:last], mean, scatter)
    total += _dying(lines, found, k)
    strange_one = np.ones(len(lines.gain), dtype=np.bool_)
    strange_one[k] = False
    stranger = lines.level_db.max(initial=-np.inf, where=strange_one)
    total -= LOUD_STRANGER * max(0.0, float(stranger - lines.level_db[k].max()))
    total += _strangers(lines, int(strange_one.sum()))
    total -= _strangers(lines, len(lines.gain))
    return total


def _dying(lines: Lines, found: NDArray[np.intp], k: NDArray[np.intp]) -> float:
    """Log likelihood ratio of the decays: a smooth rise with number against anything at all.

    ln(decay) is a straight line in octaves of n with broad priors, plus scatter and what the
    measurement itself is unsure of; strangers die at any rate, or not at all.
    """
    decay = np.maximum(lines.decay_per_s[k], SLOWEST)
    doubt = np.hypot(2 * np.pi * lines.u_hz[k], BEATING) / decay
    octave = np.log2(found + 1.0)
    width = np.stack([np.ones_like(octave), octave], axis=1) * DECAY_SD
    left = np.log(decay) - DECAY_MEAN[0] - DECAY_MEAN[1] * octave
    known = width @ width.T
    known.flat[:: len(k) + 1] += DECAY_SCATTER**2 + np.minimum(doubt, 2.0) ** 2
    factor = np.linalg.cholesky(known)
    z = np.linalg.solve(factor, left)
    tail = -0.5 * (DECAY_TAIL + 1) * np.log1p(z**2 / DECAY_TAIL)
    series = float((tail - np.log(np.diag(factor))).sum()) - 0.5 * len(k) * math.log(2 * math.pi)
    steady = np.exp(-0.5 * (lines.decay_per_s[k] / np.hypot(STEADY, doubt * decay)) ** 2)
    strange = np.log((1 - STEADY_SHARE) / math.log(FASTEST / SLOWEST) + STEADY_SHARE * steady)
    return series - float(strange.sum())


def _envelope(
    lines: Lines, where: Samples, found: NDArray[np.intp], k: NDArray[np.intp]
) -> tuple[float, Samples, Samples]:
    """Log likelihood of the levels found; level and scatter to be expected of every partial.

    A Gaussian process: levels in dB are a broad straight line in octaves and in hertz (a strip's
    near field dies as exp(-k d)), less a microphone's unknown deafness below LOW_HZ, each
    coefficient with its own prior, and scatter (Rasmussen & Williams 2006, section 2.7; by the
    matrix inversion lemma only a matrix of the coefficients is inverted).
    """
    octave = np.log2(np.arange(1, len(where) + 1))
    deaf = np.clip(LOW_DB_PER_OCTAVE * np.log2(LOW_HZ / where), 0.0, LOW_DEEPEST_DB)
    basis = np.stack([np.ones_like(octave), octave, where / 100.0, deaf], axis=1)
    mean = basis[:, 1:] @ SHAPE_MEAN + lines.level_db.max()
    width = basis * SHAPE_SD
    here = width[found] / ENVELOPE_DB
    left = (lines.level_db[k] - mean[found]) / ENVELOPE_DB
    known = here.T @ here
    known.flat[:: len(known) + 1] += 1.0
    inverse = np.linalg.inv(known)
    pull = here.T @ left
    z = inverse @ pull
    strong = -0.5 * float(left @ left - pull @ z) - 0.5 * float(np.linalg.slogdet(known)[1])
    strong -= len(found) * math.log(ENVELOPE_DB * math.sqrt(2 * math.pi))
    variance = np.einsum("ni,ij,nj->n", width, inverse, width) + ENVELOPE_DB**2
    return strong, mean + width @ z, np.sqrt(variance)


def _strangers(lines: Lines, count: int) -> float:
    """Log likelihood of the places of ``count`` strangers, their density unknown.

    Poisson with an exponential prior on the density, marginalised: count! / (width + scale)^count.
    """
    width = max(lines.top_hz, STRANGERS_OVER_HZ)
    return math.lgamma(count + 1) - count * math.log(width)


def _missing(line: NDArray[np.intp], limit_db: Samples, mean: Samples, scatter: Samples) -> float:
    """Log probability that all partials that were not found lie below the noise."""
    gone = np.flatnonzero(line < 0)
    if len(gone) == 0:
        return 0.0
    below = _normal_below((limit_db[gone] - mean[gone]) / scatter[gone])
    highest = np.flatnonzero(line >= 0).max()
    weight = np.where(gone > highest, BEYOND_WEIGHT, 1.0)
    cost = weight * np.log(CHANCE_SHARE + (1 - CHANCE_SHARE) * below)
    at_node = weight * np.log(NODE_SHARE + (1 - NODE_SHARE) * below)
    # plucked, or heard, where the partials m, 2m, 3m ... have a node
    saved = ((gone + 1) % NODES == 0) @ (at_node - cost)
    return float(cost.sum()) + max(0.0, float(saved.max()) + NODE_PRIOR)


def _normal_below(x: Samples) -> Samples:
    """Return the normal distribution function (logistic form, good to 0.01)."""
    out: Samples = 1.0 / (1.0 + np.exp(np.clip(-1.5976 * x - 0.07056 * x**3, -60, 60)))
    return out
