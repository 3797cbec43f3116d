"""Which fundamentals may explain the lines: candidates, refined and ranked by their likelihood.

Every strong line is tried as partial 1, 2, 3 ... of series with several values of B. A quick merit
ranks these; the best are fitted to the lines they explain and scored in full (likelihood.py).

Conventions: scores in nats, 0 is "unrelated lines only".
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.pitch.likelihood import (
    LOW_DB_PER_OCTAVE,
    LOW_DEEPEST_DB,
    LOW_HZ,
    OFF_SPACING,
    REACH,
    STIFFNESS_COST,
    STIFFNESS_FREE,
    STRANGER_DB,
    STRANGERS_OVER_HZ,
    Candidate,
    nearest,
    numbers,
    scored,
)
from beltpitch.pitch.peaks import OFF_SERIES, SpectralLines
from beltpitch.pitch.results import FrequencyRange

ANCHORS = 12  # strongest lines tried as partials
ANCHOR_NUMBERS = 14  # as partial number 1 to this
STIFFNESSES = (0.0, 3e-4, 1e-3, 3e-3, 1e-2, 2.5e-2)
STIFFNESS_SCALE = 0.01  # of short spans (xi = 30); a Gaussian prior where B is fitted
ROUGH_OFF = 0.004
REFINING = ((5, 0.004), (10, 0.003), (20, 0.002), (200, 0.0015))  # number up to which, reach
STIFFNESS_APART = 0.02
HELD = 2  # steps of the refining
ALIKE = 1e-5  # relative; also of B
CANDIDATES = 10  # refined and scored in full
SAME = 0.006  # candidates this near are one
MOST_PLACES = 200
DEAREST = 1.5  # nats that an empty place costs at most


def candidates_of(
    lines: SpectralLines, expected: FrequencyRange, count: int = CANDIDATES
) -> list[Candidate]:
    """Return candidates with full scores, best first."""
    if len(lines.frequency_hz) == 0:
        return []
    rough = np.array(_rough(lines, expected, count)).reshape(-1, 2)
    if len(rough) == 0:
        return []
    each = _each_once(lines, _refined(lines, rough))
    best = [
        max(free, held, key=lambda c: c.score)
        for free, held in zip(each[: len(rough)], each[len(rough) :], strict=True)
    ]
    done: list[Candidate] = []
    for candidate in _whole(lines, best):
        inside = expected.low_hz <= candidate.frequency_hz <= expected.high_hz
        twin = any(abs(math.log(candidate.string_hz / d.string_hz)) < SAME / 2 for d in done)
        if inside and not twin:
            done.append(candidate)
    return sorted(done, key=lambda c: -c.score)


def _whole(lines: SpectralLines, candidates: list[Candidate]) -> list[Candidate]:
    """Put the series of every second partial where no other is heard, or of every third."""
    step = [int(np.gcd.reduce(c.numbers)) if len(c.numbers) > 1 else 1 for c in candidates]
    gapped = [k for k, every in enumerate(step) if every > 1]
    if not gapped:
        return candidates
    pairs = np.array(
        [
            (step[k] * candidates[k].string_hz, step[k] ** 2 * candidates[k].stiffness)
            for k in gapped
        ]
    )
    out = list(candidates)
    for k, whole in zip(gapped, _each_once(lines, pairs), strict=True):
        out[k] = whole
    return out


def octave_below(lines: SpectralLines, candidate: Candidate) -> Candidate:
    """Return the series that takes the same lines for its even partials, the odd ones unheard."""
    below = np.array([(candidate.string_hz / 2, candidate.stiffness / 4)])
    return _each_once(lines, below)[0]


def _each_once(lines: SpectralLines, pairs: Samples) -> list[Candidate]:
    """Score each (f_s, B), shape (pairs, 2), those that are alike only once."""
    keys = [(round(math.log(f) / ALIKE), round(b / ALIKE)) for f, b in pairs.tolist()]
    first = {key: k for k, key in reversed(list(enumerate(keys)))}
    f, b = pairs[list(first.values())].T
    found = dict(zip(first, scored(lines, f, b), strict=True))
    return [found[key] for key in keys]


def _refined(lines: SpectralLines, pairs: Samples) -> Samples:
    """Fit each (f_s, B), shape (pairs, 2), to the lines it explains, with B free, then held.

    Rows ``[pairs:]`` hold B = 0 for the first HELD steps: on long spans B is too small to estimate
    from the lowest partials, and one disturbed partial would give a false B that misses all higher
    ones.
    """
    f = np.tile(pairs[:, :1], (2, 1))
    b = np.concatenate([pairs[:, 1:], np.zeros((len(pairs), 1))])
    free = (np.arange(len(f)) < len(pairs))[:, None]
    for step, (highest, off) in enumerate(REFINING):
        count = min(highest, max(1, int(lines.top_hz / float(f.min(initial=lines.top_hz)))))
        n = np.arange(1, count + 1)
        where = n * f * np.sqrt(1.0 + b * n**2)
        line = np.where(where <= lines.top_hz, nearest(lines, f, b, off, count), -1)
        f, b = _fitted(lines, line, f, b, stiff=free | (step >= HELD))
    return np.concatenate([f, b], axis=1)


def _fitted(
    lines: SpectralLines,
    line: NDArray[np.intp],
    f: Samples,
    b: Samples,
    *,
    stiff: NDArray[np.bool_],
) -> tuple[Samples, Samples]:
    """Least squares of (f_n / n)^2 = f_s^2 + (f_s^2 B) n^2, with the prior on B.

    A row of ``line`` for each series; f, B and whether B may be other than nought as columns.
    """
    found = line >= 0
    n = np.arange(1, line.shape[1] + 1)
    hz = lines.frequency_hz[line]
    sigma = np.hypot(lines.u_hz[line], OFF_SERIES * hz)
    square = (hz / n) ** 2
    weight = np.where(found, (square * 2 * sigma / hz) ** -2.0, 0.0)
    prior = (f * f * STIFFNESS_SCALE) ** -2.0
    a11, a12, b1, b2 = (
        (weight * x).sum(axis=1, keepdims=True) for x in (1.0, n**2, square, square * n**2)
    )
    a22 = (weight * n**4).sum(axis=1, keepdims=True) + prior
    det = a11 * a22 - a12 * a12
    known = found.any(axis=1, keepdims=True)
    a11 = np.where(known, a11, 1.0)
    two = (found.sum(axis=1, keepdims=True) > 1) & (det > 0) & stiff
    slope = (a11 * b2 - a12 * b1) / np.where(two, det, 1.0)
    square_s = (b1 - a12 * slope) / a11
    rises = two & (slope > 0) & (square_s > 0)
    soft_f, soft_b = np.where(known, np.sqrt(b1 / a11), f), np.where(known, 0.0, b)
    square_s = np.where(rises, square_s, 1.0)
    return np.where(rises, np.sqrt(square_s), soft_f), np.where(rises, slope / square_s, soft_b)


def _rough(lines: SpectralLines, expected: FrequencyRange, count: int) -> list[tuple[float, float]]:
    """Candidates from the strongest lines taken as partial 1, 2, 3 ..., ranked roughly."""
    strong = np.argsort(lines.gain)[::-1][:ANCHORS]
    n = np.arange(1, ANCHOR_NUMBERS + 1)
    b = np.array(STIFFNESSES)
    f = lines.frequency_hz[strong][:, None, None] / (
        n[:, None] * np.sqrt(1.0 + b * n[:, None] ** 2)
    )
    pairs = np.stack(np.broadcast_arrays(f, b), axis=-1).reshape(-1, 2)
    slack = 1 + ROUGH_OFF
    pairs = pairs[
        (pairs[:, 0] > expected.low_hz / slack) & (pairs[:, 0] < expected.high_hz * slack)
    ]
    if len(pairs) == 0:
        return []
    pairs = pairs[np.argsort(pairs[:, 0])]
    merit = np.concatenate(
        [_quick(lines, part) for part in np.array_split(pairs, max(1, len(pairs) // 256))]
    )
    chosen: list[tuple[float, float]] = []
    for i in np.argsort(merit)[::-1]:
        f_i, b_i = float(pairs[i, 0]), float(pairs[i, 1])
        if all(
            abs(math.log(f_i / f_j)) > SAME or abs(b_i - b_j) > STIFFNESS_APART
            for f_j, b_j in chosen
        ):
            chosen.append((f_i, b_i))
        if len(chosen) == count:
            break
    return chosen


def _quick(lines: SpectralLines, pairs: Samples) -> Samples:
    """Rough merit of many candidates at once: strength explained, less the empty places.

    Each line is taken for the partial whose place is nearest, which leaves a matrix of series and
    lines; the empty places between are counted, not looked at.
    """
    f, b = pairs[:, :1], pairs[:, 1:]
    n = np.minimum(numbers(lines.frequency_hz / f, b), MOST_PLACES)
    where = n * f * np.sqrt(1.0 + b * n**2)
    sigma = np.minimum(ROUGH_OFF * where, OFF_SPACING / REACH * f)
    off = np.abs(where - lines.frequency_hz) / sigma
    hit = (off < REACH) & (where <= lines.top_hz)
    for apart in (1, 2):  # of lines at one place only the nearest counts
        same = hit[:, apart:] & hit[:, :-apart] & (n[:, apart:] == n[:, :-apart])
        nearer = off[:, apart:] < off[:, :-apart]
        hit[:, apart:] &= ~(same & ~nearer)
        hit[:, :-apart] &= ~(same & nearer)
    gap = max(lines.top_hz, STRANGERS_OVER_HZ) / len(lines.gain) * math.e
    worth = np.log(gap / (2.5 * sigma)) - 0.5 * off**2 + 1.0 + lines.above_db / STRANGER_DB
    lost, lost_before = _emptiness(lines, f, b, n.astype(np.intp))
    gathered = np.cumsum(np.where(hit, worth + lost, 0.0), axis=1) - lost_before
    merit = np.where(hit, gathered, -np.inf).max(axis=1)  # the series may end anywhere
    out: Samples = merit - STIFFNESS_COST * np.log1p(pairs[:, 1] / STIFFNESS_FREE)
    return out


def _emptiness(
    lines: SpectralLines, f: Samples, b: Samples, n: NDArray[np.intp]
) -> tuple[Samples, Samples]:
    """Return what an empty place n costs, and all the places up to there together."""
    strongest_db = float(lines.above_db.max())
    low = np.arange(1, min(MOST_PLACES, int(LOW_HZ / float(f.min())) + 1) + 1)
    deaf = LOW_DB_PER_OCTAVE * np.log2(LOW_HZ / (low * f * np.sqrt(1.0 + b * low**2)))
    deaf = np.clip(deaf, 0.0, LOW_DEEPEST_DB)
    each = np.clip((strongest_db - deaf) / 20.0, 0.0, DEAREST)
    dear = min(strongest_db / 20.0, DEAREST)  # above LOW_HZ
    spared = np.concatenate([np.zeros((len(f), 1)), np.cumsum(dear - each, axis=1)], axis=1)
    up_to = np.take_along_axis(spared, np.minimum(n, len(low)), axis=1)
    before = np.take_along_axis(spared, np.minimum(n - 1, len(low)), axis=1)
    return dear - (up_to - before), dear * n - up_to
