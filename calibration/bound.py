"""The Cramer-Rao bound of the fitted model, numerically, and recordings made exactly by it.

The model: partials A_n exp(-alpha_n t) cos(theta_n + phi_n) with
f_n = n f_1 sqrt((1 + B n^2)/(1 + B)) sqrt(1 + q E(t)), E the squared sound envelope, 1 at t = 0.
Unknown: f_1, B, q and each A_n, phi_n, alpha_n. Noise: Gaussian with a known spectrum, white or
falling as 1/f. The Fisher matrix is D^T D / sigma^2 for derivatives D whitened by that spectrum
(Kay 1993, section 3; checked against the closed forms of physics section 4 in the tests).

Ratio here: peak amplitude of the pluck over the RMS of the noise, the whole band to half the rate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ringing:
    """One pluck of the model: mode 1, B, amplitudes, phases, decay rates in 1/s; no glide."""

    frequency_hz: float
    inharmonicity: float
    amplitudes: tuple[float, ...]
    phases: tuple[float, ...]
    decays_per_s: tuple[float, ...]

    def partials_hz(self) -> Array:
        """Return the frequencies, shape (partials,)."""
        n = np.arange(1, len(self.amplitudes) + 1)
        b = self.inharmonicity
        return np.asarray(n * self.frequency_hz * np.sqrt((1 + b * n**2) / (1 + b)))

    def parts(self, time: Array) -> tuple[Array, Array]:
        """Return partials and their quadratures (cosine and sine), shape (partials, frames)."""
        fade = np.exp(-np.outer(self.decays_per_s, time)) * np.array(self.amplitudes)[:, None]
        angle = 2 * np.pi * np.outer(self.partials_hz(), time) + np.array(self.phases)[:, None]
        return fade * np.cos(angle), fade * np.sin(angle)


def derivatives(ringing: Ringing, time: Array, *, glide: bool = True) -> Array:
    """Return derivatives of the samples: f_1, B, (q,) then all A_n, phi_n, alpha_n, as rows."""
    wave, quadrature = ringing.parts(time)
    n = np.arange(1, wave.shape[0] + 1)[:, None]
    b = ringing.inharmonicity
    angle = 2 * np.pi * ringing.partials_hz()[:, None] * time
    rows = [
        -(quadrature * angle / ringing.frequency_hz).sum(0),
        -(quadrature * angle * 0.5 * (n**2 / (1 + b * n**2) - 1 / (1 + b))).sum(0),
    ]
    if glide:
        amplitudes, decays = np.array(ringing.amplitudes), np.array(ringing.decays_per_s)
        # d theta/dq = 2 pi f_n times the integral of E/2, each term of E by itself.
        past = (1 - np.exp(-2 * np.outer(decays, time))) / (2 * decays[:, None])
        swept = (amplitudes[:, None] ** 2 * past).sum(0) / np.sum(amplitudes**2)
        rows.append(-(quadrature * 2 * np.pi * ringing.partials_hz()[:, None]).sum(0) * swept / 2)
    return np.vstack(
        [
            *rows,
            wave / np.array(ringing.amplitudes)[:, None],
            -quadrature,
            -wave * time,
        ]
    )


def spectrum(frames: int, rate_hz: float, slope: float) -> Array:
    """Return noise power over frequency, mean 1: level below 30 Hz, then falling as f^-slope."""
    frequency = np.fft.rfftfreq(frames, 1 / rate_hz)
    power = np.maximum(frequency, 30.0) ** -slope
    return np.asarray(power / power.mean())


def noise(frames: int, rate_hz: float, slope: float, rng: np.random.Generator) -> Array:
    """Return Gaussian noise of variance 1 with that spectrum."""
    white = np.fft.rfft(rng.standard_normal(frames))
    return np.asarray(np.fft.irfft(white * np.sqrt(spectrum(frames, rate_hz, slope)), frames))


def bound_hz(
    ringing: Ringing, sigma: float, rate_hz: float, slope: float, *, glide: bool = True
) -> float:
    """Return the least standard deviation of f_1 in Hz any unbiased estimate can have.

    The record is as long as the slowest partial is above 1e-4 of itself.
    """
    frames = int(rate_hz * 9.2 / min(ringing.decays_per_s))
    rows = derivatives(ringing, np.arange(frames) / rate_hz, glide=glide)
    size = 2 * frames  # room for the whitening filter's tail
    white = np.fft.irfft(np.fft.rfft(rows, size) / np.sqrt(spectrum(size, rate_hz, slope)), size)
    scale = np.sqrt((white**2).sum(1))  # conditioning: unit rows
    fisher = (white / scale[:, None]) @ (white / scale[:, None]).T
    return float(sigma * math.sqrt(np.linalg.inv(fisher)[0, 0]) / scale[0])


def plucked(
    frequency_hz: float, time_constant_s: float, rng: np.random.Generator, count: int = 6
) -> Ringing:
    """Return a pluck of six partials: plucked at 0.28, heard at 0.35, alpha_n = alpha_1 sqrt(n)."""
    n = np.arange(1, count + 1)
    loud = np.abs(np.sin(n * np.pi * 0.28) * np.sin(n * np.pi * 0.35)) / np.sqrt(n)
    return Ringing(
        frequency_hz,
        2e-4,
        tuple(loud / loud.max()),
        tuple(rng.uniform(0, 2 * np.pi, count)),
        tuple(np.sqrt(n) / time_constant_s),
    )


def recording(
    ringing: Ringing, ratio_db: float, rate_hz: float, slope: float, rng: np.random.Generator
) -> tuple[Array, float]:
    """Return a recording of one pluck after 0.7 s of noise, and the noise's RMS in its units.

    The pluck is scaled to a peak of 0.5; the ratio is peak over noise RMS.
    """
    lead = int(0.7 * rate_hz)
    time = np.arange(int(rate_hz * 9.2 / min(ringing.decays_per_s))) / rate_hz
    clean = ringing.parts(time)[0].sum(0)
    peak = float(np.abs(clean).max())
    sigma = peak * 10 ** (-ratio_db / 20)
    samples = sigma * noise(lead + time.size + int(0.3 * rate_hz), rate_hz, slope, rng)
    samples[lead : lead + time.size] += clean
    return np.asarray(np.clip(samples * (0.5 / peak), -1, 1)), sigma
