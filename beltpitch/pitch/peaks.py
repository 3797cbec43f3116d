"""The lines of one pluck: peaks of its spectrum above the noise, and those that must be explained.

A pluck is a sum of damped sinusoids. The window matched to one that decays at ``b`` is exp(-b t);
its sharp start smears a line over the whole spectrum. The windows here are ``t exp(-b t)``: they
cost a little in noise and fall off as the fourth power of the distance (Harris, Proc. IEEE 66, 51,
1978, for the trade-off). `spectrum_of` computes the spectrum in several such windows. It takes each
line from the window in which it stands highest above the noise; that height is the log likelihood
ratio of "a damped tone is here" against "noise alone".

`lines_of` chooses the lines that every candidate series must explain: the thirty lowest, without
the faintest, without companions of a stronger neighbour and without the mains.

Conventions: ``gain`` is that ratio in nats (under noise alone it is exponential with mean 1);
``level`` is the natural logarithm of a line's power in one common window; ``level_db`` and
``above_db`` are in dB, the latter above the least that is taken for a line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.pitch.noise import Noise

WINDOW_DECAYS = (3.0, 8.0, 20.0, 50.0)  # 1/s; a long string to a belt dead in a tenth of a second
LOWEST_HZ = 12.0
HIGHEST_HZ = 4000.0
LEAST_GAIN = 8.0  # e^-8 of the bins go beyond it by chance: one or two in a spectrum
MOST_PEAKS = 48
SKIRT = 6.0  # a bump lower than this many times a stronger line's skirt belongs to it
SHOULDER = 0.6
TONE_MARGIN = 2.0
FAINT_LINE = 0.5  # below it a line does not stand out of the noise in that window
SKIRT_WIDTHS = 12.0  # beyond it a line's skirt is 40 dB down
DECAY_GRID = np.concatenate([np.linspace(-6.0, 8.0, 29), np.geomspace(9.0, 300.0, 25)])
END_TAPER = 0.2  # share of the record that fades out
CHUNK_HZ = 40.0  # some widths of the window that is widest across frequency
VALLEY = 0.5
COARSE_S = 0.0007
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
class Peaks:
    """The lines of one pluck, strongest first; arrays of shape (lines,).

    Parameters
    ----------
    frequency_hz, frequency_u_hz
        Where; the standard uncertainty is that of a damped tone in this noise (physics.md, 4).
    gain
        Evidence for each in nats.
    level
        Logarithm of the power in the common window.
    decay_per_s
        Measured decay of the amplitude; its uncertainty in 1/s is 2 pi ``frequency_u_hz``.
    amplitude
        At the onset, full scale 1.
    """

    frequency_hz: Samples
    frequency_u_hz: Samples
    gain: Samples
    level: Samples
    decay_per_s: Samples
    amplitude: Samples


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """The spectra of one pluck in all windows, over the noise.

    ``gain`` has shape (windows, bins), ``floor`` (bins,) is the level of noise of mean power in
    the common window, ``level`` (bins,) the sound's there.
    """

    step_hz: float
    first: int
    gain: Samples
    level: Samples
    floor: Samples
    common: int
    peaks: Peaks


def spectrum_of(sound: Samples, rate_hz: float, noise: Noise) -> Spectrum:
    """Return spectra and peaks of a sound that begins at its first sample."""
    n = len(sound)
    time = np.arange(n) / rate_hz
    windows = _windows(time)
    size = 1 << int(np.ceil(np.log2(2 * n)))
    step = rate_hz / size
    first = int(np.ceil(LOWEST_HZ / step))
    last = int(min(HIGHEST_HZ, 0.42 * rate_hz) / step)
    spectra = np.fft.rfft(windows * sound, size, axis=1)[:, first:last]
    power = spectra.real**2 + spectra.imag**2
    bins = step * np.arange(first, last, dtype=np.float64)
    energy = (windows**2).sum(axis=1)
    expected = noise.at(bins) * energy[:, None]
    _add_tones(expected, noise, windows, bins, rate_hz)
    expected += _between(power, expected, step)
    gain = power / expected
    common = _common(gain)
    level = np.log(power[common] / energy[common])
    floor = np.log(expected[common] / energy[common])
    coarse = max(1, int(COARSE_S * rate_hz))  # windows and decays are smooth
    thin = windows[:, ::coarse]
    responses = coarse * (thin @ _fading(thin.shape[1], coarse / rate_hz))
    peaks = _peaks(gain, power, responses, level, step, first)
    return Spectrum(step, first, gain, level, floor, common, peaks)


def _common(gain: Samples) -> int:
    """Return the window in which all lines together stand out most."""
    window, k = np.nonzero(gain > LEAST_GAIN)
    said = np.bincount(window, np.log1p(gain[window, k] - LEAST_GAIN), minlength=len(gain))
    return int(said.argmax())


def _between(power: Samples, expected: Samples, step: float) -> Samples:
    """Return what lies between the lines of the sound itself: the knock of its attack.

    A low quantile across frequency, chunk by chunk, scaled to the mean it would have for noise,
    less the noise that is known already; median of three chunks, joined by straight lines. The
    valleys between the lines of a low belt are deep enough not to be taken for noise.
    """
    bins = power.shape[1]
    chunk = round(CHUNK_HZ / step)
    count = max(1, bins // chunk)
    parts = power[:, : count * chunk].reshape(len(power), count, -1)
    rank = int(VALLEY * parts.shape[2])
    low = np.partition(parts, rank, axis=2)[..., rank] / -math.log1p(-VALLEY)
    known = expected[:, chunk // 2 : count * chunk : chunk][:, :count]
    low = np.maximum(0.0, low - known)
    left, right = low[:, [0, *range(count - 1)]], low[:, [*range(1, count), count - 1]]
    middle = np.maximum(np.minimum(left, right), np.minimum(low, np.maximum(left, right)))
    place = np.clip(np.arange(bins) / chunk - 0.5, 0.0, count - 1)
    under = place.astype(np.intp)
    share = place - under
    above = np.minimum(under + 1, count - 1)
    out: Samples = middle.take(under, axis=1) * (1.0 - share) + middle.take(above, axis=1) * share
    return out


def _windows(time: Samples) -> Samples:
    """Windows ``t exp(-b t)``, faded out at the end of the record."""
    decays = np.array(WINDOW_DECAYS)
    windows = time * np.exp(-np.outer(decays, time))
    fade = max(2, round(END_TAPER * len(time)))
    windows[:, -fade:] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(fade) + 1) / (fade + 1))
    out: Samples = windows / windows.max(axis=1, keepdims=True)
    return out


def _fading(count: int, step_s: float) -> Samples:
    """Return how tones of each decay of the grid fade, shape (count, decays)."""
    return _faded(1 << (count - 1).bit_length(), step_s)[:count]


@lru_cache(maxsize=8)
def _faded(count: int, step_s: float) -> Samples:
    out: Samples = np.exp(-np.outer(np.arange(count) * step_s, DECAY_GRID))
    return out


def _add_tones(
    expected: Samples, noise: Noise, windows: Samples, bins: Samples, rate_hz: float
) -> None:
    """Add what each steady tone puts into each window's spectrum."""
    if len(noise.line_hz) == 0:
        return
    step = float(bins[1] - bins[0])
    energy = (windows**2).sum(axis=1)
    sums = windows.sum(axis=1) ** 2
    shortest = 2.0 / (windows.shape[1] / rate_hz)
    for row, decay in enumerate(WINDOW_DECAYS):
        width = max(decay, shortest) / (2 * np.pi)
        reach = int(SKIRT_WIDTHS * width / step) + 1
        seen = (
            0.5 * noise.line_power * sums[row] > FAINT_LINE * noise.at(noise.line_hz) * energy[row]
        )
        tone = noise.line_hz[seen, None]
        place = np.rint((tone - bins[0]) / step).astype(np.intp) + np.arange(-reach, reach)
        away = 1.0 + ((bins[0] + step * place - tone) / width) ** 2
        skirt = TONE_MARGIN * 0.5 * noise.line_power[seen, None] * sums[row] / (away * away)
        inside = np.clip(place, -1, len(bins)) + 1  # what lies beyond either end goes to one more
        expected[row] += np.bincount(inside.ravel(), skirt.ravel(), len(bins) + 2)[1:-1]


def _peaks(
    gain: Samples,
    power: Samples,
    responses: Samples,
    level: Samples,
    step: float,
    first: int,
) -> Peaks:
    best = gain.max(axis=0)
    inner = best[1:-1]
    top = (inner > best[:-2]) & (inner >= best[2:]) & (inner > LEAST_GAIN)
    at = np.flatnonzero(top) + 1
    at = at[np.argsort(best[at])[::-1]][: 4 * MOST_PEAKS]
    which = gain[:, at].argmax(axis=0)
    at = _summits(gain, power, at, which, step)
    which = gain[:, at].argmax(axis=0)
    decay, amplitude = _decays(power, responses, at, which)
    own_decay = np.asarray(WINDOW_DECAYS, np.float64)[which]
    width: Samples = (own_decay + np.maximum(decay, 0.5)) / (2 * np.pi)
    keep = _own(np.asarray(at * step, np.float64), best[at], width)
    at, which, decay, amplitude = at[keep], which[keep], decay[keep], amplitude[keep]
    width = width[keep]
    low, mid, high = (np.log(gain[which, at + d]) for d in (-1, 0, 1))
    bend = np.minimum(low - 2 * mid + high, -1e-9)
    place = at + np.clip(0.5 * (low - high) / bend, -0.5, 0.5)
    u = width / np.sqrt(2.0 * best[at])
    return Peaks(
        frequency_hz=(place + first) * step,
        frequency_u_hz=u,
        gain=best[at],
        level=np.maximum(level[at], np.maximum(level[at - 1], level[at + 1])),
        decay_per_s=decay,
        amplitude=amplitude,
    )


def _summits(
    gain: Samples, power: Samples, at: NDArray[np.intp], which: NDArray[np.intp], step: float
) -> NDArray[np.intp]:
    """Return where the sound itself peaks beside peaks of the gain, strongest first, none twice.

    A steady tone, or what chance made look like one, dents the gain of a line that stands on it;
    the peaks beside the dent are its shoulders. Those of a line that is all the tone are left out.
    """
    out: list[int] = []
    for k, w in zip(at, which, strict=True):
        summit = _uphill(power[w], int(k))
        place = summit if gain[w, summit] > LEAST_GAIN else int(k)
        reach = int(WINDOW_DECAYS[w] / (2 * np.pi) / step) + 2
        tallest = power[w, max(0, place - reach) : place + reach + 1].max()
        if power[w, place] >= SHOULDER * tallest and place not in out:
            out.append(place)
    return np.array(out, dtype=np.intp)


def _uphill(power: Samples, k: int) -> int:
    """Return the bin of the maximum that is reached by going uphill, not the first or last one."""
    while k > 1 and power[k - 1] > power[k]:
        k -= 1
    while k < len(power) - 2 and power[k + 1] > power[k]:
        k += 1
    return k


def _own(place_hz: Samples, gain: Samples, width_hz: Samples) -> list[int]:
    """Return indices (strongest first) of lines that are not bumps on a stronger one's skirt."""
    kept: list[int] = []
    for k in range(len(place_hz)):
        if kept:
            off = place_hz[k] - place_hz[kept]
            skirt = gain[kept] / (1.0 + (off / width_hz[kept]) ** 2) ** 2
            if gain[k] < SKIRT * float(skirt.sum()):
                continue
        kept.append(k)
        if len(kept) == MOST_PEAKS:
            break
    return kept


def _decays(
    power: Samples,
    responses: Samples,
    at: NDArray[np.intp],
    which: NDArray[np.intp],
) -> tuple[Samples, Samples]:
    """Decay and amplitude from how a line's power changes between two neighbouring windows."""
    slow = np.minimum(which, len(WINDOW_DECAYS) - 2)
    decay = np.empty(len(at))
    amplitude = np.empty(len(at))
    log_response = np.log(responses)
    ratio = 0.5 * np.log(power[slow, at] / power[slow + 1, at])
    for s in range(len(WINDOW_DECAYS) - 1):
        curve = log_response[s] - log_response[s + 1]  # falls as the decay grows
        decay[slow == s] = np.interp(-ratio[slow == s], -curve, DECAY_GRID)
    for w in range(len(WINDOW_DECAYS)):
        here = which == w
        reply = np.interp(decay[here], DECAY_GRID, responses[w])
        amplitude[here] = 2.0 * np.sqrt(power[w, at[here]]) / reply
    return decay, amplitude


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
