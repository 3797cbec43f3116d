"""When something begins to sound, and when it is over: spectral flux over a running noise floor.

A frame's power in each frequency bin is compared with the larger of the noise floor there and of
what sounded one frame length ago; the sum of the positive log ratios is the flux (log spectral
flux; Bello et al., IEEE Trans. SAP 13, 1035, 2005). Hum is part of the floor and drops out of the
ratio, however loud; a ringing pluck does not hide the next one.

Conventions: frames end at hop boundaries; frame j of a slab ends with hop j of that slab.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from beltpitch.audio.block import Samples
from beltpitch.pitch.resample import SLAB_HOPS, every

FRAME_HOPS = 8  # 44 ms: the shortest that resolves the partials of a short belt
LAG_HOPS = 9  # one frame and a hop
FLOOR_SLABS = 20  # about 1.8 s of quiet
OVER_FLOOR = 6.0  # one noise bin in 400 goes beyond it
OVER_PAST = 2.0  # beating partials rise by less within one frame
LOWEST_HZ = 30.0
HIGHEST_HZ = 4000.0
FREE_PER_SLAB = 4  # frames of a slab that do not overlap
SILENT = 1e-12  # power of a frame bin below 16-bit rounding


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """What one slab's frames say: shape (SLAB_HOPS,) each.

    ``flux``: how much is newly there; ``excess``: how much stands above the noise floor.
    """

    flux: Samples
    excess: Samples


class OnsetDetector:
    """Follows the noise floor and measures flux and excess slab by slab."""

    def __init__(self, rate_hz: float, hop: int) -> None:
        self._hop = hop
        self._length = FRAME_HOPS * hop
        self._window = np.hanning(self._length + 2)[1:-1]
        self._window /= np.sqrt(self._window @ self._window)
        size = quick_size(self._length)
        self._padded = np.zeros((SLAB_HOPS, size))  # padded by ourselves: the transform takes long
        step = rate_hz / size
        self._band = slice(max(1, round(LOWEST_HZ / step)), round(HIGHEST_HZ / step) + 1)
        self._past = np.zeros((FRAME_HOPS - 1) * hop)
        self._quiet: deque[Samples] = deque(maxlen=FLOOR_SLABS)
        self._level: Samples | None = None  # of the floor; None when it must be found anew
        self._before: Samples | None = None  # log power of the last LAG_HOPS frames

    def powers(self, samples: Samples) -> Samples:
        """Return the power of the slab's frames, shape (SLAB_HOPS, bins in the band)."""
        whole = np.concatenate([self._past, samples])
        self._past = whole[-len(self._past) :]
        frames = every(whole, self._hop, self._length)
        np.multiply(frames, self._window, out=self._padded[:, : self._length])
        spectrum = np.fft.rfft(self._padded, axis=1)[:, self._band]
        out: Samples = spectrum.real**2 + spectrum.imag**2 + SILENT
        return out

    def learn(self, power: Samples) -> None:
        """Take the frames of a quiet slab into the floor."""
        self._quiet.append(power.mean(axis=0))
        self._level = None

    def forget(self) -> None:
        """Drop the floor, as when a fan was switched on."""
        self._quiet.clear()
        self._level = None

    def measure(self, power: Samples) -> Frames:
        """Compare the slab's frames with the floor and with one frame length ago."""
        if self._level is None:
            self._level = np.log(self._floor())
        if self._before is None:
            self._before = np.repeat(self._level[None], LAG_HOPS, axis=0)
        now = np.log(power)
        floor = math.log(self._over()) + self._level
        history = np.concatenate([self._before, now])
        self._before = history[-LAG_HOPS:]
        past = np.maximum(history[:SLAB_HOPS], history[1 : SLAB_HOPS + 1])
        past += math.log(OVER_PAST)
        np.maximum(past, floor, out=past)
        return Frames(flux=_above(now, past), excess=_above(now, floor))

    def _over(self) -> float:
        """How far above a floor known from few frames noise goes as rarely as OVER_FLOOR says.

        Noise over a mean of m goes beyond r with probability (1 + r / m)^-m (F distribution).
        """
        m = FREE_PER_SLAB * len(self._quiet)
        return m * math.expm1(OVER_FLOOR / m)

    def _floor(self) -> Samples:
        """Median over the quiet slabs; smoothed across frequency where they are few."""
        if len(self._quiet) == 1:
            only = self._quiet[0]
            out: Samples = np.maximum(only, _smooth(only))
            return out
        ranked = np.sort(np.array(self._quiet), axis=0)  # quicker than a median of so few
        middle: Samples = 0.5 * (ranked[(len(ranked) - 1) // 2] + ranked[len(ranked) // 2])
        return middle


def quick_size(least: int) -> int:
    """Return the next length from ``least`` on that has no prime factor above 5."""
    best = 1 << (least - 1).bit_length()
    fives = 1
    while fives < best:
        odd = fives
        while odd < best:
            best = min(best, odd << ((least - 1) // odd).bit_length())
            odd *= 3
        fives *= 5
    return best


def _smooth(power: Samples) -> Samples:
    out: Samples = np.convolve(np.pad(power, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    return out


def _above(power: Samples, least: Samples) -> Samples:
    """Return the sum over the bins of how far each log power stands above the least."""
    over = power - least
    np.maximum(over, 0.0, out=over)
    out: Samples = over.sum(axis=1)
    return out
