"""How well one series explains the lines: its log likelihood ratio against unrelated lines alone.

The score of a candidate (f_s, B) is the log likelihood of all lines, each either one of its
partials ``f_n = n f_s sqrt(1 + B n^2)`` or unrelated to it, minus a penalty for expected partials
that are absent:

- a line at the right place counts by how much more likely it stands there than an unrelated line
  would; unrelated lines are as dense as the lines are, most of them chance peaks that hardly stand
  out;
- its level and its decay count by how well they fit those of the other partials;
- a partial that should be heard and is not costs by how far it ought to have stood above the
  noise, judged from its neighbours in the series (a broad prior on a pluck's envelope, with room
  for a node at the plucked point and for a microphone that is deaf below LOW_HZ);
- the series may end anywhere; above its end every line is unrelated.

A small fundamental explains any set of lines; here its many absent partials cost it. The numbers
are broad priors chosen from physics, not fitted to recordings.

Conventions: scores in nats, 0 is "unrelated lines only"; levels in dB.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.pitch.peaks import FASTEST, OFF_SERIES, SLOWEST, SpectralLines

STIFFNESS_FREE = 2e-4  # of long ones
STIFFNESS_COST = 1.0  # prior: falls as 1 / B above that
OFF_SPACING = 0.12
REACH = 3.0  # in standard deviations
STRANGERS_OVER_HZ = 1000.0  # strangers are looked for over this much at least
LOUD_STRANGER = 0.25  # nats a dB by which a stranger is louder than every partial
# Strangers' strength: chance peaks stand out little, sounds from elsewhere as they like (means of
# two exponentials).
CHANCE_DB, STRANGER_DB = 1.0, 8.0
CHANCE_PEAKS = 0.6  # of strangers
ENVELOPE_DB = 6.0  # scatter of partials about a smooth envelope
SHAPE_MEAN = np.array([-6.0, -1.0, -0.5])  # dB: an octave, 100 Hz, dB of deafness
SHAPE_SD = np.array([20.0, 5.0, 1.5, 0.35])  # the same, after the overall level
CHANCE_SHARE = 0.03  # of partials silent for no reason known
NODES = (2, 3, 4, 5, 6, 7)
NODE_SHARE = 0.6  # of the partials with a node where it is plucked or heard
NODE_PRIOR = -1.5  # log probability that it is one of these
LOW_HZ = 150.0
LOW_DB_PER_OCTAVE = 24.0
LOW_DEEPEST_DB = 60.0
ENDS = 2
# Where it is plucked and where it is heard have each a comb of nodes of their own.
COMBS = np.array([(m, k) for m in NODES for k in NODES if m <= k])
COMBS_PRIOR = NODE_PRIOR * (1 + (COMBS[:, 0] != COMBS[:, 1]))
DECAY_MEAN = (2.2, 0.45)  # of ln(decay in 1/s): level, and slope an octave
DECAY_SD = np.array([1.2, 0.3])
DECAY_SCATTER = 0.35
DECAY_TAIL = 3.0  # degrees of freedom: some partials beat and die as they like
BEATING = 0.7  # 1/s: what beating does to a measured decay
STEADY = 0.3  # 1/s: slower is not told from steady
STEADY_SHARE = 0.35  # of strangers
DECAYING = 0.3  # 1/s: strings ring for three seconds at most
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


def dies(lines: SpectralLines, candidate: Candidate) -> bool:
    """Whether the lines of a candidate, the strongest counting most, die away at all."""
    k = candidate.line[candidate.numbers - 1]
    if len(k) == 0:
        return False
    weight = np.log(lines.gain[k])
    decay = np.maximum(lines.decay_per_s[k], 0.0)
    return float((weight * decay).sum() / weight.sum()) > DECAYING


def nearest(
    lines: SpectralLines, string_hz: Samples, stiffness: Samples, off: float, count: int
) -> NDArray[np.intp]:
    """Index of the line at each of the first ``count`` places of series, -1 for none.

    A row for each series, ``string_hz`` and ``stiffness`` as columns. Places lie at least
    ``string_hz`` apart and reach less than half of that, so that each line is within reach of one
    place at most; of several lines at one place, the clearest and nearest counts.
    """
    place = numbers(lines.frequency_hz / string_hz, stiffness)
    where = place * string_hz * np.sqrt(1.0 + stiffness * place**2)
    sigma = spread(lines.u_hz, where, string_hz, off)
    distance = np.abs(where - lines.frequency_hz)
    inside = (distance < REACH * sigma) & (place <= count)
    merit = np.log(lines.gain) - 0.5 * (distance / sigma) ** 2
    row, line = np.nonzero(inside)
    order = np.argsort(-merit[row, line], kind="stable")[::-1]  # the best is written last
    row, line = row[order], line[order]
    out = np.full((len(string_hz), count), -1, dtype=np.intp)
    out[row, place[row, line].astype(np.intp) - 1] = line
    return out


def numbers(ratio: Samples, stiffness: Samples) -> Samples:
    """Return the whole n, at least 1, whose n sqrt(1 + B n^2) is near a ratio."""
    n = np.rint(ratio * np.sqrt(2.0 / (1.0 + np.sqrt(1.0 + 4.0 * stiffness * ratio**2))))
    return np.maximum(n, 1.0)


def spread(u_hz: Samples, where: Samples, string_hz: float | Samples, off: float) -> Samples:
    """Return the standard deviation of a line about its place, of that u."""
    apart = np.sqrt(2.0) * OFF_SPACING / REACH * np.asarray(string_hz)
    out: Samples = np.minimum(np.hypot((off * where), u_hz), apart)
    return out


def scored(lines: SpectralLines, string_hz: Samples, stiffness: Samples) -> list[Candidate]:
    """Score several series in full, all at once; shape (series,) each."""
    count = max(1, int(lines.top_hz / float(string_hz.min())))
    n = np.arange(1, count + 1)
    f, b = string_hz[:, None], stiffness[:, None]
    where = n * f * np.sqrt(1.0 + b * n**2)
    line = np.where(where <= lines.top_hz, nearest(lines, f, b, OFF_SERIES, count), -1)
    ends = [(c, end) for c, row in enumerate(line) for end in _ends(np.flatnonzero(row >= 0))]
    of = np.array([c for c, _ in ends], dtype=np.intp)
    last = np.array([end for _, end in ends], dtype=np.intp)[:, None]
    cut = np.where(n <= last, line[of], -1)
    limit_db = lines.limit_db(where.ravel()).reshape(where.shape)
    total = _explained(lines, where[of], cut, f[of], limit_db[of]) if ends else np.zeros(0)
    total -= STIFFNESS_COST * np.log1p(stiffness[of] / STIFFNESS_FREE)
    out = []
    for c, (f_c, b_c) in enumerate(zip(string_hz.tolist(), stiffness.tolist(), strict=True)):
        rows = np.flatnonzero(of == c)
        best = rows[int(total[rows].argmax())] if len(rows) else None
        most, kept = (-math.inf, line[c]) if best is None else (float(total[best]), cut[best])
        out.append(Candidate(f_c, b_c, most, kept[: max(1, int((where[c] <= lines.top_hz).sum()))]))
    return out


def _ends(found: NDArray[np.intp]) -> list[int]:
    """Partial numbers at which the series may end: where the gaps are widest, and the last."""
    if len(found) == 0:
        return []
    n = found + 1
    gaps = n[1:] / n[:-1] * np.where(n[1:] - n[:-1] > 1, 1.0, 0.0)
    widest = np.argsort(gaps)[::-1][:ENDS]
    return [int(n[-1]), *(int(n[g]) for g in widest if gaps[g] > 0)]


def _explained(
    lines: SpectralLines,
    where: Samples,
    line: NDArray[np.intp],
    string_hz: Samples,
    limit_db: Samples,
) -> Samples:
    """Log likelihood ratio of series with these lines for partials, against strangers only.

    A row for each series: ``where``, ``line`` and ``limit_db`` of shape (series, places), at least
    one line in each, ``string_hz`` a column.
    """
    found = line >= 0
    sigma = spread(lines.u_hz[line], where, string_hz, OFF_SERIES)
    off = (lines.frequency_hz[line] - where) / sigma
    place = -0.5 * off**2 - np.log(sigma * math.sqrt(2 * math.pi)) - _strange(lines.above_db[line])
    n = np.arange(1, line.shape[1] + 1)
    highest = (n * found).max(axis=1, keepdims=True)
    strong, mean, scatter = _envelope(lines, where, line)
    gone = ~found & (n <= 2 * highest) & (where <= lines.top_hz)
    total = (place * found).sum(axis=1) + strong
    total += _missing(gone, highest, limit_db, mean, scatter)
    total += _dying(lines, line)
    strange = np.ones((len(line), len(lines.gain)), dtype=np.bool_)
    strange[np.nonzero(found)[0], line[found]] = False
    stranger = np.where(strange, lines.level_db, -np.inf).max(axis=1)
    loudest = np.where(found, lines.level_db[line], -np.inf).max(axis=1)
    total -= LOUD_STRANGER * np.maximum(0.0, stranger - loudest)
    all_strange = _strangers(lines, len(lines.gain))
    out: Samples = total + [_strangers(lines, int(left)) - all_strange for left in strange.sum(1)]
    return out


def _strange(above_db: Samples) -> Samples:
    """Log probability density of a stranger's strength."""
    chance = CHANCE_PEAKS / CHANCE_DB * np.exp(-above_db / CHANCE_DB)
    out: Samples = np.log(
        chance + (1 - CHANCE_PEAKS) / STRANGER_DB * np.exp(-above_db / STRANGER_DB)
    )
    return out


def _dying(lines: SpectralLines, line: NDArray[np.intp]) -> Samples:
    """Log likelihood ratio of the decays: a smooth rise with number against anything at all.

    ln(decay) is a straight line in octaves of n with broad priors, plus scatter and what the
    measurement itself is unsure of; strangers die at any rate, or not at all.
    """
    count = (line >= 0).sum(axis=1)
    first = np.argsort(line < 0, axis=1, kind="stable")[:, : count.max()]  # those found
    there = np.arange(first.shape[1]) < count[:, None]
    k = np.take_along_axis(line, first, axis=1)
    decay = np.maximum(lines.decay_per_s[k], SLOWEST)
    doubt = np.hypot(2 * np.pi * lines.u_hz[k], BEATING) / decay
    octave = np.log2(first + 1.0)
    width = np.stack([np.ones_like(octave), octave], axis=-1) * DECAY_SD * there[..., None]
    left = (np.log(decay) - DECAY_MEAN[0] - DECAY_MEAN[1] * octave) * there
    known = width @ width.swapaxes(1, 2)
    each = np.arange(first.shape[1])
    known[:, each, each] += np.where(there, DECAY_SCATTER**2 + np.minimum(doubt, 2.0) ** 2, 1.0)
    factor = np.linalg.cholesky(known)
    z = np.linalg.solve(factor, left[..., None])[..., 0]
    tail = -0.5 * (DECAY_TAIL + 1) * np.log1p(z**2 / DECAY_TAIL)
    series = (tail - np.log(factor[:, each, each])).sum(axis=1)
    steady = np.exp(-0.5 * (lines.decay_per_s[k] / np.hypot(STEADY, doubt * decay)) ** 2)
    strange = np.log((1 - STEADY_SHARE) / math.log(FASTEST / SLOWEST) + STEADY_SHARE * steady)
    strange += 0.5 * math.log(2 * math.pi)
    out: Samples = series - (strange * there).sum(axis=1)
    return out


def _envelope(
    lines: SpectralLines, where: Samples, line: NDArray[np.intp]
) -> tuple[Samples, Samples, Samples]:
    """Log likelihood of the levels found; level and scatter to be expected of every partial.

    A Gaussian process: levels in dB are a broad straight line in octaves and in hertz (a strip's
    near field dies as exp(-k d)), less a microphone's unknown deafness below LOW_HZ, each
    coefficient with its own prior, and scatter (Rasmussen & Williams 2006, section 2.7; by the
    matrix inversion lemma only a matrix of the coefficients is inverted).
    """
    found = line >= 0
    octave = np.broadcast_to(np.log2(np.arange(1, line.shape[1] + 1)), where.shape)
    deaf = np.clip(LOW_DB_PER_OCTAVE * np.log2(LOW_HZ / where), 0.0, LOW_DEEPEST_DB)
    basis = np.stack([np.ones_like(where), octave, where / 100.0, deaf], axis=-1)
    mean = basis[..., 1:] @ SHAPE_MEAN + lines.level_db.max()
    width = basis * SHAPE_SD
    here = width * (found / ENVELOPE_DB)[..., None]
    left = np.where(found, lines.level_db[line] - mean, 0.0) / ENVELOPE_DB
    known = here.swapaxes(1, 2) @ here + np.eye(basis.shape[-1])
    inverse = np.linalg.inv(known)
    pull = (here * left[..., None]).sum(axis=1)
    z = np.einsum("sij,sj->si", inverse, pull)
    strong = -0.5 * ((left**2).sum(axis=1) - (pull * z).sum(axis=1) + np.linalg.slogdet(known)[1])
    strong -= found.sum(axis=1) * math.log(ENVELOPE_DB * math.sqrt(2 * math.pi))
    variance = ((width @ inverse) * width).sum(axis=-1) + ENVELOPE_DB**2
    return strong, mean + np.einsum("spi,si->sp", width, z), np.sqrt(variance)


def _strangers(lines: SpectralLines, count: int) -> float:
    """Log likelihood of the places of ``count`` strangers, their density unknown.

    Poisson with an exponential prior on the density, marginalised: count! / (width + scale)^count.
    """
    width = max(lines.top_hz, STRANGERS_OVER_HZ)
    return math.lgamma(count + 1) - count * math.log(width)


def _missing(
    gone: NDArray[np.bool_],
    highest: NDArray[np.intp],
    limit_db: Samples,
    mean: Samples,
    scatter: Samples,
) -> Samples:
    """Log probability that all partials that are gone lie below the noise, row by row."""
    below = _normal_below((limit_db - mean) / scatter)
    n = np.arange(1, gone.shape[1] + 1)
    weight = gone * np.where(n > highest, BEYOND_WEIGHT, 1.0)
    cost = weight * np.log(CHANCE_SHARE + (1 - CHANCE_SHARE) * below)
    at_node = weight * np.log(NODE_SHARE + (1 - NODE_SHARE) * below)
    # plucked, or heard, where the partials m, 2m, 3m ... have a node
    silent = (n % COMBS[..., None] == 0).any(axis=1)
    saved = (at_node - cost) @ silent.T + COMBS_PRIOR
    out: Samples = cost.sum(axis=1) + np.maximum(0.0, saved.max(axis=1))
    return out


def _normal_below(x: Samples) -> Samples:
    """Return the normal distribution function (logistic form, good to 0.01)."""
    out: Samples = 1.0 / (1.0 + np.exp(np.clip(-x * (1.5976 + 0.07056 * x * x), -60, 60)))
    return out
