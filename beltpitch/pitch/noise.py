"""The noise a pluck stands in: its spectrum, and the steady tones in it.

The spectrum is Welch's (IEEE Trans. AU 15, 70, 1967) over the quiet before the pluck; lines are
looked for in one long window over all of that quiet, since that is how sharply the pluck will be
looked at. Where a file holds no quiet at all, the floor between the partials stands in for it: a
running median across frequency of the pluck's own last part.

Conventions: ``power`` is the variance per sample that white noise of that density would have, so
that for any window w the mean of ``|sum w y exp(-i w t)|^2`` is ``power * sum(w^2)``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples, read_only
from beltpitch.pitch.resample import every

WINDOW_S = 0.25  # 4 Hz apart
SHORTEST_QUIET_S = 0.06
FLOOR_SPAN_HZ = 80.0  # width of the running median across frequency
MEDIAN_OF_EXPONENTIAL = 0.6931  # median over mean of the power of noise in one bin
LINE_OVER_FLOOR = 3.5  # false lines only raise the noise floor in their own bins
TONE_OVER_FLOOR = 30.0  # no chance at all: named as a steady tone
STEADY_LEFT = 0.75  # of the amplitude, from one half of the quiet to the other
HIGHEST_LINE_HZ = 1500.0
STRUCTURE = 3.0  # of the floor: beyond it the noise itself has a hump there
LINE_LEFT = 2.0  # under a line the floor is taken this much higher
PREDICTION_ORDER = 32
SIDELOBES = 6.0  # bins of the long window
SIDELOBE_POWER = 2e-3  # of a Hann window's first
BURST_QUANTILE = 0.9
QUANTISED = 1e-11  # variance of 16-bit rounding, full scale 1: no noise is taken lower


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """Noise spectrum and steady tones.

    Parameters
    ----------
    step_hz, power
        Power at 0, step, 2 step ... (see the conventions of this file); shape (bins,). It is the
        floor: lines are not in it.
    line_hz, line_power
        Lines that stood before the pluck and their mean squares; shape (lines,).
    tones_hz
        Those of them that are beyond chance.
    measured
        False where no quiet was heard and the floor between the partials stands in.
    """

    step_hz: float
    power: Samples
    line_hz: Samples
    line_power: Samples
    tones_hz: tuple[float, ...]
    measured: bool

    def __post_init__(self) -> None:
        for name in ("power", "line_hz", "line_power"):
            object.__setattr__(self, name, read_only(getattr(self, name)))

    def at(self, frequency_hz: Samples) -> Samples:
        """Return the power at frequencies, shape kept."""
        where = np.asarray(frequency_hz) / self.step_hz
        out: Samples = np.interp(where, np.arange(len(self.power)), self.power)
        return out

    def near_tone(self, frequency_hz: float, within_hz: float) -> float | None:
        """Return the steady tone within that distance, if there is one."""
        for tone in self.tones_hz:
            if abs(tone - frequency_hz) <= within_hz:
                return tone
        return None


def from_quiet(quiet: Samples, rate_hz: float) -> Noise:
    """Measure the noise in a stretch of quiet."""
    length = min(round(WINDOW_S * rate_hz), len(quiet))
    frames = _frames(quiet, length)
    step = rate_hz / length
    mean = frames.mean(axis=0)
    floor = _floor(mean, step)
    if len(frames) == 1:
        floor = floor / MEDIAN_OF_EXPONENTIAL
    edged = np.concatenate([mean[:1], mean, mean[-1:]])
    smooth = 0.5 * mean + 0.25 * (edged[:-2] + edged[2:])
    power = np.where(smooth > STRUCTURE * floor, smooth, 0.5 * (smooth + floor))
    line_hz, height, over = _lines(quiet, rate_hz, floor, step)
    under = np.round(line_hz / step).astype(int)[:, None] + np.arange(-2, 3)
    under = under[(under >= 0) & (under < len(power))]
    power[under] = np.minimum(power[under], LINE_LEFT * floor[under])
    power = np.maximum(power * _burstiness(frames), QUANTISED)
    named = line_hz[over > TONE_OVER_FLOOR]
    tones = tuple(named[_holds(named, quiet, rate_hz)].tolist())
    hann_gain = 1.5 / len(quiet)  # sum(w^2) / sum(w)^2
    return Noise(step, power, line_hz, 2.0 * height * hann_gain, tones, measured=True)


def from_within(sound: Samples, rate_hz: float) -> Noise:
    """Take the floor between the partials of a sound that has no quiet around it."""
    length = min(round(WINDOW_S * rate_hz), len(sound))
    mean = _frames(sound, length).mean(axis=0)
    step = rate_hz / length
    power = np.maximum(_floor(mean, step) / MEDIAN_OF_EXPONENTIAL, QUANTISED)
    return Noise(step, power, np.zeros(0), np.zeros(0), (), measured=False)


def whitened(sound: Samples, quiet: Samples) -> Samples:
    """Return the sound through the prediction error filter of the quiet, shape kept.

    Linear prediction by the autocorrelation method (Makhoul, Proc. IEEE 63, 561, 1975); without
    quiet the sound is differenced once.
    """
    if len(quiet) < 8 * PREDICTION_ORDER:
        return np.diff(sound, prepend=sound[:1])
    correlation = np.correlate(np.pad(quiet, (0, PREDICTION_ORDER)), quiet)
    if correlation[0] <= 0:
        return np.diff(sound, prepend=sound[:1])
    lag = np.arange(PREDICTION_ORDER)
    matrix = correlation[np.abs(lag[:, None] - lag)]
    matrix[lag, lag] += 1e-9 * correlation[0]
    taps = np.linalg.solve(matrix, correlation[1:])
    out: Samples = np.convolve(sound, np.concatenate([[1.0], -taps]))[: len(sound)]
    out[:PREDICTION_ORDER] = 0.0
    return out


def turns(cycles: Samples, count: int) -> NDArray[np.complex128]:
    """Return exp(-2 pi i cycles n) for n = 0 ... count - 1, shape (count, frequencies).

    ``cycles`` are frequencies in cycles a sample. The turn of a sample is that of the piece it lies
    in times that within the piece, which spares most of the complex exponentials.
    """
    length = math.isqrt(count) + 1
    within = np.exp(-2j * np.pi * np.outer(np.arange(length), cycles))
    begun = np.exp(-2j * np.pi * length * np.outer(np.arange(-(-count // length)), cycles))
    out: NDArray[np.complex128] = (begun[:, None] * within).reshape(-1, len(cycles))[:count]
    return out


def hann(count: int) -> Samples:
    """Return a Hann window without its two zeros, shape (count,)."""
    turn = turns(np.array([1.0 / (count + 1)]), count + 1)[1:, 0]
    out: Samples = 0.5 - 0.5 * turn.real
    return out


def unknown(rate_hz: float) -> Noise:
    """Return a stand-in for where there is nothing to measure."""
    return Noise(rate_hz, np.ones(2), np.zeros(0), np.zeros(0), (), measured=False)


def _frames(sound: Samples, length: int) -> Samples:
    """Power of Hann frames, half overlapped, shape (frames, bins)."""
    window = hann(length)
    spectrum = np.fft.rfft(every(sound, max(1, length // 2), length) * window, axis=1)
    out: Samples = (spectrum.real**2 + spectrum.imag**2) / float(window @ window)
    return out


def _floor(power: Samples, step_hz: float) -> Samples:
    """Return the running median across frequency."""
    half = max(2, round(FLOOR_SPAN_HZ / step_hz / 2))
    padded = np.concatenate([power[half:0:-1], power, power[-2 : -half - 2 : -1]])  # mirrored
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    out: Samples = np.partition(windows, half, axis=1)[:, half]
    return out


def _burstiness(frames: Samples) -> float:
    """How far the noise rises above its mean at times, 1 for steady noise.

    The power of all frequencies together, frame by frame: for steady noise it hardly varies.
    """
    loud = np.log(frames + QUANTISED).mean(axis=1)
    place = BURST_QUANTILE * (len(loud) - 1)  # np.quantile does the same ten times as slowly
    high = float(np.interp(place, np.arange(len(loud)), np.sort(loud)))
    return math.exp(max(0.0, high - math.log(np.exp(loud).mean())))


def _lines(
    quiet: Samples, rate_hz: float, floor: Samples, step_hz: float
) -> tuple[Samples, Samples, Samples]:
    """Lines in one long window: frequency, height, height over the floor."""
    window = hann(len(quiet))
    size = 1 << int(np.ceil(np.log2(2 * len(quiet))))
    fine = rate_hz / size
    last = int(min(HIGHEST_LINE_HZ, 0.45 * rate_hz) / fine)
    spectrum = np.fft.rfft(quiet * window, size)[:last]
    power = (spectrum.real**2 + spectrum.imag**2) / float(window @ window) + QUANTISED
    inner = power[1:-1]
    at = np.flatnonzero((inner > power[:-2]) & (inner >= power[2:])) + 1
    under = np.interp(at * fine / step_hz, np.arange(len(floor)), floor)
    over = power[at] / np.maximum(under, QUANTISED)
    at, over = at[over > LINE_OVER_FLOOR], over[over > LINE_OVER_FLOOR]
    low, mid, high = (np.log(power[at + d]) for d in (-1, 0, 1))
    bend = np.minimum(low - 2 * mid + high, -1e-9)
    off = 0.5 * (low - high) / bend
    height: Samples = np.exp(mid - 0.25 * (low - high) * off)
    own = _own(at + off, height, SIDELOBES * size / len(quiet))
    return (at + off)[own] * fine, height[own], over[own]


def _holds(line_hz: Samples, quiet: Samples, rate_hz: float) -> NDArray[np.bool_]:
    """Mark lines that neither die nor swell in the quiet; the ring of the pluck before dies."""
    half = len(quiet) // 2
    if len(line_hz) == 0:
        return np.zeros(0, dtype=np.bool_)
    halves = quiet[: 2 * half].reshape(2, half) * hann(half)
    first, second = np.abs(halves @ turns(line_hz / rate_hz, half))
    out: NDArray[np.bool_] = np.minimum(first, second) > STEADY_LEFT * np.maximum(first, second)
    return out


def _own(place: Samples, height: Samples, reach: float) -> NDArray[np.bool_]:
    """Mark lines that are not sidelobes of a far stronger one near by."""
    near = np.abs(place[:, None] - place) < reach
    lesser = height[:, None] < SIDELOBE_POWER * height
    out: NDArray[np.bool_] = np.logical_not((near & lesser).any(axis=1))
    return out
