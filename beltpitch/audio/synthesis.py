"""Plucks made from plain numbers, for the demo and the tests.

Method: a sum of decaying sines. A plucked string's partials lie at ``n f_s sqrt(1 + B n^2)``
(pinned stiff string; Fletcher, J. Acoust. Soc. Am. 36 (1964) 203); a pluck at the fraction ``at``
of the length leaves partial n with ``sin(n pi at) / n`` of the velocity, which is what a microphone
close by hears (textbook Fourier series of the plucked string). While the amplitude is large the
string is stretched and sharp: the relative rise goes with amplitude squared and so fades at twice
the rate of the amplitude.

Nothing here knows what is plucked. The same seed gives the same samples.

Conventions: amplitudes in units of full scale; ``frequency_hz`` of a pluck is mode 1 at vanishing
amplitude; decay times are those of the amplitude to 1/e.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beltpitch.audio.block import Samples

ATTACK_S = 0.001  # a finger lets go in about this time; a harder start would be a click
HIGHEST_SHARE = 0.45  # of the sampling rate: partials above it are left out
DULLNESS = 0.12  # partial n is weakened by exp(-(DULLNESS n)^2): fingertips are broad
FASTER = 0.15  # partial n fades (1 + FASTER (n - 1)) times as fast as the first


@dataclass(frozen=True, slots=True)
class SynthesisedTone:
    """One decaying sine.

    Parameters
    ----------
    frequency_hz
        At vanishing amplitude, above 0.
    amplitude
        At the onset, in units of full scale.
    decay_s
        Time to fall to 1/e, above 0; infinite for a steady tone.
    phase_rad
        Phase of the sine at the onset.
    """

    frequency_hz: float
    amplitude: float
    decay_s: float
    phase_rad: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.frequency_hz < math.inf:
            raise ValueError(f"frequency is {self.frequency_hz} Hz, must be positive")
        if not self.decay_s > 0:
            raise ValueError(f"decay time is {self.decay_s} s, must be positive")
        if not (math.isfinite(self.amplitude) and math.isfinite(self.phase_rad)):
            raise ValueError(f"amplitude {self.amplitude} or phase {self.phase_rad} is not finite")


def series_hz(frequency_hz: float, inharmonicity: float, count: int) -> list[float]:
    """Return the first partials of a stiff string whose mode 1 is at `frequency_hz`.

    Parameters
    ----------
    frequency_hz
        Mode 1, ``f_s sqrt(1 + B)``.
    inharmonicity
        B of ``f_n = n f_s sqrt(1 + B n^2)``; 0 for an ideal string.
    count
        How many partials.
    """
    flexible_hz = frequency_hz / math.sqrt(1.0 + inharmonicity)
    return [n * flexible_hz * math.sqrt(1.0 + inharmonicity * n**2) for n in range(1, count + 1)]


def pluck_tones(
    frequency_hz: float,
    *,
    inharmonicity: float = 0.0,
    at: float = 0.3,
    level: float = 0.3,
    decay_s: float = 0.3,
    count: int = 12,
) -> tuple[SynthesisedTone, ...]:
    """Return the partials of one pluck.

    Parameters
    ----------
    frequency_hz, inharmonicity
        Mode 1 and B, see `series_hz`.
    at
        Where it is plucked, as a fraction of the length, between 0 and 1.
    level
        Sum of the amplitudes: no sample is larger.
    decay_s
        Decay time of partial 1; the higher ones fade faster.
    count
        How many partials.
    """
    if not 0 < at < 1:
        raise ValueError(f"plucked at {at} of the length, must lie between 0 and 1")
    strengths = [
        math.sin(n * math.pi * at) / n * math.exp(-((DULLNESS * n) ** 2))
        for n in range(1, count + 1)
    ]
    scale = level / sum(abs(strength) for strength in strengths)
    return tuple(
        # Velocity starts at its largest only if the string is let go at once: a cosine.
        SynthesisedTone(hertz, strength * scale, decay_s / (1.0 + FASTER * n), math.pi / 2)
        for n, (hertz, strength) in enumerate(
            zip(series_hz(frequency_hz, inharmonicity, count), strengths, strict=True)
        )
    )


def synthesise(
    tones: Sequence[SynthesisedTone],
    duration_s: float,
    rate_hz: float,
    *,
    onset_s: float = 0.0,
    glide: float = 0.0,
    glide_s: float = 0.1,
) -> Samples:
    """Return the sound of decaying tones that begin together.

    Parameters
    ----------
    tones
        What sounds; each must lie below half the sampling rate, glide included.
    duration_s
        Length of the result.
    rate_hz
        Samples per second.
    onset_s
        When the tones begin; need not fall on a sample.
    glide
        Relative amount by which all frequencies begin sharp.
    glide_s
        Time in which the glide falls to 1/e.

    Returns
    -------
    Samples
        Shape (frames,).

    Raises
    ------
    ValueError
        If a tone cannot be sampled at this rate.
    """
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz - onset_s
    begun = time_s >= 0.0
    time_s = time_s[begun]
    # The integral of 1 + glide exp(-t / glide_s): how far the phase has come.
    run_s = time_s - glide * glide_s * np.expm1(-time_s / glide_s)
    sound = np.zeros(len(time_s))
    for tone in tones:
        if tone.frequency_hz * (1.0 + glide) >= rate_hz / 2:
            raise ValueError(f"{tone.frequency_hz:g} Hz cannot be sampled at {rate_hz:g} Hz")
        fading = tone.amplitude * np.exp(-time_s / tone.decay_s)
        sound += fading * np.sin(2.0 * np.pi * tone.frequency_hz * run_s + tone.phase_rad)
    rising = np.minimum(time_s / ATTACK_S, 1.0)
    samples = np.zeros(len(begun))
    samples[begun] = sound * np.sin(np.pi / 2 * rising) ** 2
    return samples


def room_noise(frames: int, level: float, seed: int) -> Samples:
    """Return noise like that of a quiet room: half its power white, half falling as 1/f.

    Parameters
    ----------
    frames
        Length in samples.
    level
        Root mean square, in units of full scale.
    seed
        The same seed gives the same noise.
    """
    if frames == 0:
        return np.zeros(0)
    white, source = np.random.default_rng(seed).normal(size=(2, frames))
    spectrum = np.fft.rfft(source)
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 1.0))
    pink = np.fft.irfft(spectrum, frames)
    both = white + pink / max(float(np.std(pink)), np.finfo(np.float64).tiny)
    return np.asarray(level * both / math.sqrt(float(np.mean(both**2))))


def hum(frames: int, rate_hz: float, mains_hz: float, level: float) -> Samples:
    """Return mains hum: the line and three multiples, `level` the amplitude of the first."""
    time_s = np.arange(frames) / rate_hz
    parts = ((1, 1.0, 0.3), (2, 0.6, 1.1), (3, 0.4, 2.0), (5, 0.15, 0.7))  # number, share, phase
    waves = [share * np.sin(2 * np.pi * n * mains_hz * time_s + at) for n, share, at in parts]
    return np.asarray(level * np.sum(waves, axis=0))


def pluck_recording(
    frequency_hz: float,
    *,
    rate_hz: float = 48_000.0,
    plucks: int = 5,
    first_s: float = 1.0,
    apart_s: float = 1.5,
    inharmonicity: float = 0.0,
    at: float = 0.3,
    level: float = 0.3,
    decay_s: float = 0.3,
    glide: float = 0.0,
    scatter: float = 0.0,
    noise: float = 3e-4,
    mains_hz: float = 50.0,
    hum_level: float = 0.0,
    seed: int = 0,
) -> Samples:
    """Return a recording of several plucks of one string, as a laptop would hear it.

    From pluck to pluck the place and the strength change a little, as they do by hand.

    Parameters
    ----------
    frequency_hz, inharmonicity, at, level, decay_s
        One pluck, see `pluck_tones`.
    rate_hz
        Samples per second.
    plucks, first_s, apart_s
        How many, when the first begins, and from one to the next.
    glide
        Relative amount by which the strongest pluck begins sharp.
    scatter
        Relative standard deviation of the frequency from pluck to pluck.
    noise
        Root mean square of the room noise.
    mains_hz, hum_level
        Mains hum, see `hum`.
    seed
        The same seed gives the same samples.
    """
    chance = np.random.default_rng(seed)
    duration_s = first_s + plucks * apart_s
    frames = round(duration_s * rate_hz)
    sound = room_noise(frames, noise, seed + 1) + hum(frames, rate_hz, mains_hz, hum_level)
    for number in range(plucks):
        strength, place, off = chance.uniform(0.7, 1.0), chance.uniform(0.8, 1.2), chance.normal()
        frequency = frequency_hz * (1.0 + scatter * off)
        tones = pluck_tones(
            frequency,
            inharmonicity=inharmonicity,
            at=min(at * place, 0.5) if at <= 0.5 else at,  # noqa: PLR2004 (the middle)
            level=level * strength,
            decay_s=decay_s,
        )
        sound += synthesise(
            [tone for tone in tones if tone.frequency_hz < HIGHEST_SHARE * rate_hz],
            duration_s,
            rate_hz,
            onset_s=first_s + number * apart_s,
            glide=glide * strength**2,
            glide_s=decay_s / 2,  # amplitude squared fades twice as fast
        )
    return sound
