"""Real plucks and real noise, read from a folder that is not part of the project, and mixed.

The folder holds ``plucks.csv``, ``noise.csv`` and the files they name. Files under licences that
forbid copying stay there: nothing is written.

Conventions: the ratio of a mixture is the RMS of the first 0.3 s of the pluck over the RMS of the
whole noise stretch, before the microphone's high-pass (a Butterworth of second order). Noise
shorter than the recording is repeated with a cross-fade of 50 ms; knocks and clanks are noise like
any other. A mixture has 0.3 to 1.0 s of noise before the pluck.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache, lru_cache
from math import gcd
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.measures import Truth
from calibration.simulator import SNR_WINDOW_S, highpass

Array = NDArray[np.float64]
FADE_S = 0.05
HIGHPASS_ORDER = 2
FULL_SCALE = 32768


@dataclass(frozen=True, slots=True)
class StringPluck:
    """One line of plucks.csv: a file and what is right for it."""

    path: Path
    instrument: str
    reference_hz: float
    spread: float
    early_hz: float | None
    late_hz: float | None

    @property
    def truth(self) -> Truth:
        """Everything from early to late is right."""
        known = [f for f in (self.reference_hz, self.early_hz, self.late_hz) if f]
        return Truth(self.reference_hz, min(known), max(known), self.spread)


def _number(text: str) -> float | None:
    return float(text) if text.strip() else None


@cache
def plucks(folder: Path) -> tuple[StringPluck, ...]:
    """Return the plucks of a corpus, in the order of its list."""
    with (folder / "plucks.csv").open(encoding="utf-8", newline="") as file:
        return tuple(
            StringPluck(
                folder / row["file"],
                row["instrument"],
                float(row["reference_hz"]),
                float(row["spread_pct"]) / 100,
                _number(row["early_hz"]),
                _number(row["late_hz"]),
            )
            for row in csv.DictReader(file)
        )


@cache
def noises(folder: Path) -> tuple[Path, ...]:
    """Return the noise files of a corpus, in the order of its list."""
    with (folder / "noise.csv").open(encoding="utf-8", newline="") as file:
        return tuple(folder / row["file"] for row in csv.DictReader(file))


def kind(noise: Path) -> tuple[str, str]:
    """Return what a noise is and which, as its name says: bg_machine_ship_lift_07 is a machine."""
    _, sort, *which = noise.stem.split("_")
    return sort, " ".join(which)


@lru_cache(maxsize=256)
def sound(path: Path) -> tuple[Array, int]:
    """Return samples of shape (frames,), channels averaged, and the rate in Hz."""
    import soundfile

    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    return np.asarray(samples.mean(axis=1)), int(rate)


@lru_cache(maxsize=256)
def sound_at(path: Path, rate_hz: int) -> Array:
    """Return the samples at another rate (polyphase)."""
    from scipy.signal import resample_poly

    samples, rate = sound(path)
    if rate == rate_hz:
        return samples
    divisor = gcd(rate, rate_hz)
    return np.asarray(resample_poly(samples, rate_hz // divisor, rate // divisor))


def stretch_of(noise: Array, frames: int, rate_hz: int, rng: np.random.Generator) -> Array:
    """Return `frames` of a noise from a place drawn at random, repeated with a cross-fade."""
    fade = min(int(FADE_S * rate_hz), noise.size // 4)
    ramp = np.sin(0.5 * np.pi * np.arange(1, fade + 1) / (fade + 1))
    turn = noise[: noise.size - fade].copy()
    turn[:fade] = turn[:fade] * ramp + noise[noise.size - fade :] * ramp[::-1]
    first = int(rng.integers(turn.size))
    return np.asarray(np.resize(np.roll(turn, -first), frames))


def rms(samples: Array) -> float:
    """Return the root mean square."""
    return float(np.sqrt(np.mean(samples**2)))


def early_rms(samples: Array, rate_hz: float) -> float:
    """Return the RMS of the first 0.3 s."""
    return rms(samples[: int(SNR_WINDOW_S * rate_hz)])


def mix(pluck: Array, noise: Array, at: int, rate_hz: float, snr_db: float) -> Array:
    """Return `noise`, scaled to the ratio, with the pluck laid into it at sample `at`."""
    level = early_rms(pluck, rate_hz) * 10 ** (-snr_db / 20)
    mixed = noise * (level / max(rms(noise), 1e-12))
    part = pluck[: mixed.size - at]
    mixed[at : at + part.size] += part
    return mixed


def recording(
    pluck: StringPluck,
    noise: Path,
    snr_db: float,
    highpass_hz: float,
    rng: np.random.Generator,
    *,
    count: int = 1,
    shortened_s: float | None = None,
) -> tuple[Array, int]:
    """Return one recording: `count` plucks of a string in noise behind a microphone.

    Parameters
    ----------
    count
        The same pluck again 0.5 to 1 s after the last has ended, each up to 4 dB weaker.
    shortened_s
        Time constant of an extra exponential decay in seconds; None leaves the pluck alone.

    Returns
    -------
    samples, rate_hz
        16-bit steps, peak at 0.7 of full scale.
    """
    samples, rate = sound(pluck.path)
    if shortened_s is not None:
        samples = samples * np.exp(-np.arange(samples.size) / rate / shortened_s)
    lead = int(rng.uniform(0.3, 1.0) * rate)
    gaps = [int(rng.uniform(0.5, 1.0) * rate) for _ in range(count)]
    frames = lead + sum(samples.size + gap for gap in gaps)
    ground = stretch_of(sound_at(noise, rate), frames, rate, rng)
    mixed = mix(samples, ground, lead, rate, snr_db)
    at = lead
    for gap in gaps[:-1]:
        at += samples.size + gap
        mixed[at : at + samples.size] += samples * 10 ** (-rng.uniform(0, 4) / 20)
    return _recorded(mixed, rate, highpass_hz), rate


def alone(
    noise: Path, duration_s: float, rate_hz: int, highpass_hz: float, rng: np.random.Generator
) -> Array:
    """Return a stretch of a noise as `recording` holds it, with no pluck in it; shape (frames,)."""
    ground = stretch_of(sound_at(noise, rate_hz), int(duration_s * rate_hz), rate_hz, rng)
    return _recorded(ground, rate_hz, highpass_hz)


def _recorded(mixed: Array, rate_hz: int, highpass_hz: float) -> Array:
    heard = highpass(mixed, rate_hz, highpass_hz, HIGHPASS_ORDER)
    heard = heard * (0.7 / np.abs(heard).max())
    return np.asarray(np.round(heard * FULL_SCALE) / FULL_SCALE)
