"""Which fundamentals may explain the lines: candidates, refined and ranked by their evidence.

Every strong line is tried as partial 1, 2, 3 ... of series of several stiffnesses; a quick merit
ranks these, the best are fitted to the lines they explain and weighed in full (evidence.py).

Conventions: scores in nats, 0 is "strangers only".
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from beltpitch.sound.block import Samples
from beltpitch.sound.evidence import (
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
    match,
    score,
)
from beltpitch.sound.heard import FrequencyRange
from beltpitch.sound.lines import OFF_SERIES, Lines

ANCHORS = 12  # strongest lines tried as partials
ANCHOR_NUMBERS = 14  # as partial number 1 to this
STIFFNESSES = (0.0, 3e-4, 1e-3, 3e-3, 1e-2, 2.5e-2)
STIFFNESS_SCALE = 0.01  # of short spans (xi = 30); a Gaussian prior where B is fitted
ROUGH_OFF = 0.004
REFINING = ((5, 0.004), (10, 0.003), (20, 0.002), (200, 0.0015))  # number up to which, reach
STIFFNESS_APART = 0.02
CANDIDATES = 10  # refined and scored in full
SAME = 0.006  # candidates this near are one


def candidates_of(
    lines: Lines, expected: FrequencyRange, count: int = CANDIDATES
) -> list[Candidate]:
    """Return candidates with full scores, best first."""
    if len(lines.frequency_hz) == 0:
        return []
    rough = _rough(lines, expected, count)
    done: list[Candidate] = []
    for rough_hz, rough_b in rough:
        f, b = _refined(lines, rough_hz, rough_b)
        inside = expected.low_hz <= f * math.sqrt(1.0 + b) <= expected.high_hz
        twin = any(abs(math.log(f / d.string_hz)) < SAME / 2 for d in done)
        if inside and not twin:
            done.append(score(lines, f, b))
    return sorted(done, key=lambda c: -c.score)


def _refined(lines: Lines, string_hz: float, stiffness: float) -> tuple[float, float]:
    """Fit (f_s, B) to the lines it explains."""
    f, b = string_hz, stiffness
    for highest, off in REFINING:
        f, b = _fitted(lines, match(lines, f, b, off, highest), f, b)
    return f, b


def _fitted(lines: Lines, line: NDArray[np.intp], f: float, b: float) -> tuple[float, float]:
    """Least squares of (f_n / n)^2 = f_s^2 + (f_s^2 B) n^2, with the prior on B."""
    found = np.flatnonzero(line >= 0)
    if len(found) == 0:
        return f, b
    n = found + 1.0
    hz = lines.frequency_hz[line[found]]
    sigma = np.hypot(lines.u_hz[line[found]], OFF_SERIES * hz)
    square = (hz / n) ** 2
    weight = (square * 2 * sigma / hz) ** -2.0
    prior = (f * f * STIFFNESS_SCALE) ** -2.0
    a11, a12 = weight.sum(), (weight * n**2).sum()
    a22 = (weight * n**4).sum() + prior
    b1, b2 = (weight * square).sum(), (weight * square * n**2).sum()
    det = a11 * a22 - a12 * a12
    if len(found) > 1 and det > 0:
        slope = (a11 * b2 - a12 * b1) / det
        square_s = (b1 - a12 * slope) / a11
        if slope > 0 and square_s > 0:
            return math.sqrt(square_s), slope / square_s
    return math.sqrt(b1 / a11), 0.0


def _rough(lines: Lines, expected: FrequencyRange, count: int) -> list[tuple[float, float]]:
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
        [_quick(lines, part) for part in np.array_split(pairs, max(1, len(pairs) // 64))]
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


def _quick(lines: Lines, pairs: Samples) -> Samples:
    """Rough merit of many candidates at once: strength explained, less the empty places."""
    count = int(min(200, lines.top_hz / pairs[:, 0].min()) + 1)
    n = np.arange(1, count + 1)
    where = n * pairs[:, :1] * np.sqrt(1.0 + pairs[:, 1:] * n**2)
    at = np.searchsorted(lines.frequency_hz, where)
    left = np.clip(at - 1, 0, len(lines.frequency_hz) - 1)
    right = np.clip(at, 0, len(lines.frequency_hz) - 1)
    to_left = np.abs(where - lines.frequency_hz[left])
    to_right = np.abs(where - lines.frequency_hz[right])
    near = np.where(to_left < to_right, left, right)
    sigma = np.minimum(ROUGH_OFF * where, OFF_SPACING / REACH * pairs[:, :1])
    off = np.minimum(to_left, to_right) / sigma
    hit = off < REACH
    gap = max(lines.top_hz, STRANGERS_OVER_HZ) / len(lines.gain) * math.e
    worth = np.log(gap / (2.5 * sigma)) - 0.5 * off**2
    worth = worth + 1.0 + lines.above_db[near] / STRANGER_DB
    inside = where <= lines.top_hz
    strongest = (lines.above_db * 1.0).max()
    deaf = np.clip(LOW_DB_PER_OCTAVE * np.log2(LOW_HZ / where), 0.0, LOW_DEEPEST_DB)
    empty = np.clip((strongest - deaf) / 20.0, 0.0, 1.5)
    gathered = np.cumsum(np.where(inside, np.where(hit, worth, -empty), 0.0), axis=1)
    merit = gathered.max(axis=1)  # the series may end anywhere
    out: Samples = merit - STIFFNESS_COST * np.log1p(pairs[:, 1] / STIFFNESS_FREE)
    return out
