"""One pluck as it is looked at: its waveform in outline, its spectrum in decibels, what was found.

For pictures only; nothing is decided here. The waveform is the smallest and the largest sample of
each column (what a pen of that width would draw); the spectrum is of the stretch that was used,
through a Hann window, zero-padded fourfold, the strongest line at 0 dB, and of each column the
largest.

Conventions: times in seconds from the onset; samples in units of full scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltpitch.audio.block import Samples
from beltpitch.pitch.pluck_detector import Pluck
from beltpitch.pitch.results import PluckResult

COLUMNS = 320  # as fine as a small screen shows
FLOOR_DB = -90.0
PADDED = 4
TOP_WITHOUT_PARTIALS_HZ = 750.0
BEYOND_TOP = 1.5  # times the highest partial is still drawn
LEAST_TOP_HZ = 150.0


@dataclass(frozen=True, slots=True, eq=False)
class WaveformView:
    """What is drawn of one pluck.

    Parameters
    ----------
    begins_s, ends_s
        The stretch of sound that is drawn, from the onset.
    low, high
        Outline of the waveform, shape (columns,), the largest sample being 1.
    used_s
        The part that was used; None if it was refused.
    top_hz
        Up to where the spectrum goes, from 0.
    level_db
        Its levels in equal steps, shape (columns,), not below `FLOOR_DB`.
    partials
        Pairs of number and frequency in Hz that were recognised.
    steady_hz
        Steady tones that were set aside and lie on the drawing.
    """

    begins_s: float
    ends_s: float
    low: Samples
    high: Samples
    used_s: tuple[float, float] | None
    top_hz: float
    level_db: Samples
    partials: tuple[tuple[int, float], ...]
    steady_hz: tuple[float, ...]


def portrait_of(pluck: Pluck, heard: PluckResult) -> WaveformView:
    """Return what is drawn of a pluck and of what was heard of it."""
    pitch = heard.pitch
    partials = tuple((p.number, p.frequency_hz) for p in pitch.partials) if pitch else ()
    top = max((hz for _, hz in partials), default=TOP_WITHOUT_PARTIALS_HZ / BEYOND_TOP)
    top = min(pluck.rate_hz / 2, max(LEAST_TOP_HZ, BEYOND_TOP * top))
    used_s = pitch.used_s if pitch else None
    first, last = used_s or (0.0, len(pluck.samples) / pluck.rate_hz)
    begin = pluck.onset + round(first * pluck.rate_hz)
    end = pluck.onset + round(last * pluck.rate_hz)
    hertz, level = levels_db(pluck.samples[begin:end], pluck.rate_hz)
    loudest = max(float(np.abs(pluck.samples).max(initial=0.0)), np.finfo(np.float64).tiny)
    low, high = outline(pluck.samples / loudest, COLUMNS)
    return WaveformView(
        begins_s=-pluck.onset / pluck.rate_hz,
        ends_s=(len(pluck.samples) - pluck.onset) / pluck.rate_hz,
        low=low,
        high=high,
        used_s=used_s,
        top_hz=top,
        level_db=outline(level[hertz <= top], COLUMNS)[1],
        partials=partials,
        steady_hz=tuple(hz for hz in pluck.noise.tones_hz if hz <= top),
    )


def levels_db(sound: Samples, rate_hz: float) -> tuple[Samples, Samples]:
    """Return frequencies and levels of a stretch of sound, the largest level being 0 dB."""
    sound = sound if len(sound) > 1 else np.zeros(2)
    padded = 1 << (len(sound) * PADDED - 1).bit_length()
    size: Samples = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), padded))
    size /= max(float(size.max()), np.finfo(np.float64).tiny)
    level: Samples = 20.0 * np.log10(np.maximum(size, 10 ** (FLOOR_DB / 20)))
    return np.arange(len(level)) * rate_hz / padded, level


def outline(values: Samples, columns: int) -> tuple[Samples, Samples]:
    """Return the smallest and the largest value in each column; shorter input is not stretched."""
    count = min(columns, len(values))
    starts = np.linspace(0, len(values), count, endpoint=False).astype(int)
    return np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
