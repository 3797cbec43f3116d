"""The lines of one pluck that every candidate series must explain.

Chosen from the peaks of spectrum.py: not the faintest, not the companions of a stronger neighbour,
not the mains, and only the lowest thirty.

Conventions: levels in dB; ``above_db`` counts from the least that is taken for a line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.pitch.spectrum import LEAST_GAIN, Spectrum

DB = 10.0 / math.log(10.0)  # dB per neper of power
MAINS_HZ = (50.0, 60.0)
MAINS_MULTIPLES = 20
MAINS_OFF, MAINS_OFF_HZ = 1.5e-3, 0.15  # grids wander by less
STANDING = 0.25  # of the decay of the rest of the sound
STANDING_PER_S = 1.5
MOST_LINES = 30  # of the lowest that matter
WEAK_DB = 50.0  # lines this far below the strongest do not matter
COMPANION_HZ = 7.0  # a weaker line this near belongs to its stronger neighbour
COMPANION_RATIO = 0.3
OFF_SERIES = 0.0015  # real partials lie off the stiff series by this much
SLOWEST, FASTEST = 0.3, 300.0  # 1/s
HIDDEN_GAIN = 2.0
AROUND = np.linspace(-1.0, 1.0, 9)


@dataclass(frozen=True, slots=True, eq=False)
class SpectralLines:
    """The lines that count, rising in frequency; arrays of shape (lines,)."""

    frequency_hz: Samples
    u_hz: Samples
    level_db: Samples
    above_db: Samples  # above the least that is taken for a line
    gain: Samples
    decay_per_s: Samples
    amplitude: Samples
    top_hz: float
    spectrum: Spectrum

    def limit_db(self, frequency_hz: Samples) -> Samples:
        """Level above which no line can hide there: what stands there and some noise more."""
        s = self.spectrum
        where = frequency_hz / s.step_hz - s.first
        around = np.maximum(1.0, OFF_SERIES * where)[:, None] * AROUND
        last = s.gain.shape[1] - 1
        near = np.minimum(np.maximum((where[:, None] + around).astype(int), 0), last)
        over = np.minimum(LEAST_GAIN, s.gain[s.common][near].max(axis=1) + HIDDEN_GAIN)
        lower = np.minimum(np.maximum(where, 0.0), last - 1).astype(int)
        share = np.minimum(np.maximum(where - lower, 0.0), 1.0)
        floor = (1.0 - share) * s.floor[lower] + share * s.floor[lower + 1]
        out: Samples = DB * (floor + np.log(over))
        return out


def lines_of(spectrum: Spectrum) -> SpectralLines:
    """Choose the lines that every candidate must explain."""
    p = spectrum.peaks
    level = DB * p.level
    loud = level > level.max(initial=-np.inf) - WEAK_DB
    keep = np.flatnonzero(loud & ~_mains(spectrum))
    f, gain = p.frequency_hz[keep], p.gain[keep]
    weaker = gain[:, None] < COMPANION_RATIO * gain
    companion = (weaker & (np.abs(f[:, None] - f) < COMPANION_HZ)).any(axis=1)
    order = keep[~companion]
    order = order[np.argsort(p.frequency_hz[order])][:MOST_LINES]
    top = float(p.frequency_hz[order[-1]]) * (1 + OFF_SERIES) if len(order) else 0.0
    return SpectralLines(
        frequency_hz=p.frequency_hz[order],
        u_hz=p.frequency_u_hz[order],
        level_db=level[order],
        above_db=DB * np.log(p.gain[order] / LEAST_GAIN),
        gain=p.gain[order],
        decay_per_s=p.decay_per_s[order],
        amplitude=p.amplitude[order],
        top_hz=top,
        spectrum=spectrum,
    )


def _mains(spectrum: Spectrum) -> NDArray[np.bool_]:
    """Lines at a multiple of the mains that stand while the rest of the sound dies."""
    p = spectrum.peaks
    if len(p.gain) == 0:
        return np.zeros(0, dtype=np.bool_)
    on = np.zeros(len(p.gain), dtype=np.bool_)
    for mains in MAINS_HZ:
        multiple = np.clip(np.round(p.frequency_hz / mains), 1, MAINS_MULTIPLES)
        reach = np.maximum(MAINS_OFF_HZ, MAINS_OFF * p.frequency_hz)
        on |= np.abs(p.frequency_hz - multiple * mains) < reach
    weight = np.log(p.gain) * ~on
    if weight.sum() == 0:
        return np.asarray(on & (p.decay_per_s < STANDING_PER_S).all(), np.bool_)
    rest = float(np.exp((weight * np.log(np.maximum(p.decay_per_s, SLOWEST))).sum() / weight.sum()))
    return np.asarray(on & (p.decay_per_s < min(STANDING * rest, STANDING_PER_S)), np.bool_)
