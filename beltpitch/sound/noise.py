"""The noise a pluck stands in: its spectrum, and the steady tones in it.

The spectrum is Welch's (IEEE Trans. AU 15, 70, 1967) over the quiet before the pluck. Where a file
holds no quiet at all, the floor between the partials stands in for it: a running median across
frequency of the pluck's own last part.

Conventions: ``power`` is the variance per sample that white noise of that density would have, so
that for any window w the mean of ``|sum w y exp(-i w t)|^2`` is ``power * sum(w^2)``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltpitch.sound.block import Samples, read_only

WINDOW_S = 0.25  # 4 Hz apart: tells mains harmonics from partials
SHORTEST_QUIET_S = 0.06
FLOOR_SPAN_HZ = 80.0  # width of the running median across frequency
MEDIAN_OF_EXPONENTIAL = 0.6931  # median over mean of the power of noise in one bin
TONE_OVER_FLOOR = 12.0  # a line this far above the floor around it, and steady, is a tone
TONE_UNSTEADY = 0.5  # its power may vary by this much (standard deviation over mean)
LINE_LEFT = 3.0  # under a tone the floor is taken this much higher
BURST_QUANTILE = 0.9
QUANTISED = 1e-11  # variance of 16-bit rounding, full scale 1: no noise is taken lower


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """Noise spectrum and steady tones.

    Parameters
    ----------
    step_hz, power
        Power at 0, step, 2 step ... (see the conventions of this file); shape (bins,).
    tones_hz, tone_power
        Steady tones that stood before the pluck, and their mean squares. ``power`` holds the floor
        under them, not the tones.
    measured
        False where no quiet was heard and the floor between the partials stands in.
    """

    step_hz: float
    power: Samples
    tones_hz: tuple[float, ...]
    tone_power: tuple[float, ...]
    measured: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "power", read_only(self.power))

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
    floor = _floor(mean, step) / MEDIAN_OF_EXPONENTIAL if len(frames) == 1 else _floor(mean, step)
    smooth = np.convolve(np.pad(mean, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    tones = _tones(frames, mean, floor)
    power = np.maximum(smooth, floor)
    for k, _, _ in tones:
        power[k - 2 : k + 3] = np.minimum(power[k - 2 : k + 3], LINE_LEFT * floor[k])
    power = np.maximum(power * _burstiness(frames), QUANTISED)
    hann_gain = 1.5 / length  # sum(w^2) / sum(w)^2
    return Noise(
        step,
        power,
        tuple(place * step for _, place, _ in tones),
        tuple(2.0 * height * hann_gain for _, _, height in tones),
        measured=True,
    )


def from_within(sound: Samples, rate_hz: float) -> Noise:
    """Take the floor between the partials of a sound that has no quiet around it."""
    length = min(round(WINDOW_S * rate_hz), len(sound))
    mean = _frames(sound, length).mean(axis=0)
    step = rate_hz / length
    power = _floor(mean, step) / MEDIAN_OF_EXPONENTIAL
    return Noise(step, np.maximum(power, QUANTISED), (), (), measured=False)


def _frames(sound: Samples, length: int) -> Samples:
    """Power of Hann frames, half overlapped, shape (frames, bins)."""
    window = np.hanning(length + 2)[1:-1]
    starts = range(0, len(sound) - length + 1, max(1, length // 2))
    stack = np.stack([sound[s : s + length] * window for s in starts])
    spectrum = np.fft.rfft(stack, axis=1)
    out: Samples = (spectrum.real**2 + spectrum.imag**2) / float(window @ window)
    return out


def _floor(power: Samples, step_hz: float) -> Samples:
    """Return the running median across frequency."""
    half = max(2, round(FLOOR_SPAN_HZ / step_hz / 2))
    padded = np.pad(power, half, mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    out: Samples = np.median(windows, axis=1)
    return out


def _burstiness(frames: Samples) -> float:
    """How far the noise rises above its mean at times, 1 for steady noise.

    The power of all frequencies together, frame by frame: for steady noise it hardly varies.
    """
    loud = np.log(frames + QUANTISED).mean(axis=1)
    rise = float(np.quantile(loud, BURST_QUANTILE) - np.log(np.exp(loud).mean()))
    return float(np.exp(max(0.0, rise)))


def _tones(frames: Samples, mean: Samples, floor: Samples) -> list[tuple[int, float, float]]:
    """Lines well above the floor around them that do not waver: bin, exact place, height."""
    inner = mean[1:-1]
    peak = (inner > mean[:-2]) & (inner >= mean[2:]) & (inner > TONE_OVER_FLOOR * floor[1:-1])
    tones = []
    for k in (np.flatnonzero(peak) + 1).tolist():
        line = frames[:, k - 1 : k + 2].sum(axis=1)
        if line.std() <= TONE_UNSTEADY * line.mean():
            low, mid, high = np.log(mean[k - 1 : k + 2] + QUANTISED)
            bend = low - 2 * mid + high
            off = 0.5 * (low - high) / bend if bend < 0 else 0.0
            tones.append((k, k + off, float(np.exp(mid - 0.25 * (low - high) * off))))
    return tones
