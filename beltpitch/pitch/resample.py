"""From blocks of any size and rate to slabs of a fixed size at the analysis rate.

Everything behind this file sees the same slabs whether the sound came whole or in crumbs: raw
samples are collected until one slab is full, then brought to the analysis rate (8 to 20 kHz, by a
whole factor) through a linear-phase FIR filter (windowed sinc, Kaiser window; Oppenheim & Schafer,
"Discrete-Time Signal Processing", ch. 7). The partials that decide about a belt lie below 4 kHz.

Conventions: a slab is SLAB_HOPS hops of about 5.5 ms; slab k, sample i stands for raw sample
``(k * slab + i) * factor``: the filter's delay is taken out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block, Samples

Flags = NDArray[np.bool_]

LOWEST_ANALYSIS_HZ = 10_000.0  # twice 4 kHz and the filter's slope
HOPS_PER_S = 180.0
SLAB_HOPS = 16
AT_ONCE = SLAB_HOPS  # outputs of the filter; a slab is a whole number of them
TAPS_PER_FACTOR = 24  # length of the filter in samples of the analysis rate
KAISER_BETA = 7.0  # about 70 dB down where it folds
FULL_SCALE = 0.9985  # at or above: the converter's end stop (16 and 8 bit alike)
BEYOND_SCALE = 1.001  # float files may go beyond 1 without having been clipped


@dataclass(frozen=True, slots=True, eq=False)
class Slab:
    """One slab at the analysis rate and what was wrong with the raw samples under it.

    ``peak`` is its largest sample; ``clipped`` and ``bad`` (not a number, or sound lost before it)
    are per hop.
    """

    samples: Samples
    peak: float
    clipped: tuple[bool, ...]
    bad: tuple[bool, ...]


class Resampler:
    """Collects raw samples, yields slabs.

    Parameters
    ----------
    rate_hz
        Rate of the blocks to come.
    """

    def __init__(self, rate_hz: float) -> None:
        self.factor = max(1, int(rate_hz // LOWEST_ANALYSIS_HZ))
        self.raw_rate_hz = rate_hz
        self.rate_hz = rate_hz / self.factor
        self.hop = max(8, round(self.rate_hz / HOPS_PER_S))
        self._filter = _many_at_once(self.factor)
        self._delay = TAPS_PER_FACTOR * self.factor // 2 if self.factor > 1 else 0
        self._raw_slab = self.hop * SLAB_HOPS * self.factor
        # What the filter still needs of the past; ahead of the first sample there was silence.
        self._past = np.zeros(self._delay)
        self._waiting: list[Samples] = []
        self._waiting_count = 0
        self._gaps: list[int] = []  # raw positions, from the start of what waits
        self.fed = 0

    @property
    def total(self) -> int:
        """Samples at the analysis rate that have been fed, whole or in part."""
        return -(-self.fed // self.factor)

    def feed(self, block: Block) -> Iterator[Slab]:
        """Take one block and yield the slabs that are full."""
        if block.rate_hz != self.raw_rate_hz:
            raise ValueError(f"block at {block.rate_hz} Hz, listener at {self.raw_rate_hz} Hz")
        if block.overflow:
            self._gaps.append(self._waiting_count)
        self._waiting.append(block.samples)
        self._waiting_count += len(block.samples)
        self.fed += len(block.samples)
        need = self._raw_slab + self._delay
        if self._waiting_count < need:
            return
        raw = np.concatenate(self._waiting)
        start = 0
        while len(raw) - start >= need:
            yield self._slab(raw[start : start + need], start)
            start += self._raw_slab
        self._waiting = [raw[start:]]
        self._waiting_count = len(raw) - start
        self._gaps = [g - start for g in self._gaps if g >= start]

    def finish(self) -> Iterator[Slab]:
        """Yield what is left, the last slab filled up with silence."""
        raw = np.concatenate([*self._waiting, np.zeros(0)])
        start, end = 0, len(raw)
        while start < end:
            piece = np.zeros(self._raw_slab + self._delay)
            rest = raw[start : start + len(piece)]
            piece[: len(rest)] = rest
            yield self._slab(piece, start)
            start += self._raw_slab
        self._waiting, self._waiting_count, self._gaps = [], 0, []

    def _slab(self, raw: Samples, start: int) -> Slab:
        """Filter one slab; ``raw`` reaches the filter's delay beyond it."""
        clean, clipped, bad = raw, [False] * SLAB_HOPS, [False] * SLAB_HOPS
        peak = float(np.abs(raw).max())
        if not math.isfinite(peak):
            finite = np.isfinite(raw)
            clean = _mended(raw, finite)
            bad = self._hops(~finite)
        for gap in self._gaps:
            if start <= gap < start + self._raw_slab:
                bad[(gap - start) // (self.hop * self.factor)] = True
        if not peak < FULL_SCALE:
            clipped = self._hops(_clipped(clean))
        whole = np.concatenate([self._past, clean])
        if self._delay:
            self._past = clean[self._raw_slab - self._delay : self._raw_slab].copy()
        samples = self._decimated(whole)
        return Slab(samples, float(np.abs(samples).max()), tuple(clipped), tuple(bad))

    def _decimated(self, whole: Samples) -> Samples:
        if self.factor == 1:
            return whole
        windows = every(whole, AT_ONCE * self.factor, len(self._filter))[: self.hop]
        out: Samples = np.ascontiguousarray(windows) @ self._filter  # slow as it lies
        return out.ravel()

    def _hops(self, flags: Flags) -> list[bool]:
        """Tell for each hop of the slab itself whether any sample under it is flagged."""
        hops = np.asarray(flags[: self._raw_slab].reshape(SLAB_HOPS, -1).any(axis=1), np.bool_)
        out: list[bool] = hops.tolist()
        return out


def _mended(raw: Samples, finite: Flags) -> Samples:
    """Bridge what is not a number by a straight line, so that it makes no click of its own."""
    if not finite.any():
        return np.zeros(len(raw))
    at = np.arange(len(raw))
    out: Samples = np.interp(at, at[finite], raw[finite])
    return out


def every(sound: Samples, step: int, length: int) -> Samples:
    """Return a view of all stretches of that length, a step apart; shape (stretches, length)."""
    count = 1 + (len(sound) - length) // step
    (apart,) = sound.strides
    out: Samples = np.ndarray((count, length), sound.dtype, sound, 0, (step * apart, apart))
    out.flags.writeable = False
    return out


def _lowpass(factor: int) -> Samples:
    """Taps of the low-pass for a whole factor; one tap of 1 for factor 1."""
    if factor == 1:
        return np.ones(1)
    half = TAPS_PER_FACTOR * factor // 2
    n = np.arange(-half, half + 1)
    taps = np.sinc(n / factor) * np.kaiser(2 * half + 1, KAISER_BETA)
    out: Samples = taps / taps.sum()
    return out


@cache
def _many_at_once(factor: int) -> Samples:
    """Return the taps of AT_ONCE outputs side by side; shape (raw samples under them, AT_ONCE).

    The stretches of neighbouring outputs overlap nearly whole: taken together, most is read once.
    """
    taps = _lowpass(factor)
    out: Samples = np.zeros(((AT_ONCE - 1) * factor + len(taps), AT_ONCE))
    for k in range(AT_ONCE):
        out[k * factor : k * factor + len(taps), k] = taps
    out.flags.writeable = False
    return out


def _clipped(raw: Samples) -> Flags:
    """Mark samples in a run at the converter's end stop."""
    run: Flags = np.zeros(len(raw), dtype=np.bool_)
    size = np.abs(raw)
    stop = (size >= FULL_SCALE) & (size <= BEYOND_SCALE)
    run[1:] = stop[1:] & stop[:-1] & (np.sign(raw[1:]) == np.sign(raw[:-1]))
    return run
