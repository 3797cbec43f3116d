"""Simulated belt plucks with a known truth.

Everything here is built from the mechanics of a stretched stiff strip and from what a microphone
in a workshop does to its sound; nothing is taken from, or shared with, the estimator. Sources:
physics notes of the project, sections 1 (modes), 2 (losses), 3 (amplitude), design page (twist).

Conventions
-----------
* SI units, suffix in the name; ``*_db`` are 20 log10 of an RMS or amplitude ratio; minus infinity
  means absent.
* Modes of a span of tension T, mass mu, stiffness EI between equal end springs
  kappa = k_r / sqrt(T EI): exact roots, so the partials do not follow
  ``n f_s sqrt(1 + B n^2)`` to the last digit; the truth states the B nearest to them.
* Truth is mode 1 as it oscillates at vanishing amplitude (the shift by damping, 0.03 % at Q = 20,
  belongs to the tone and is not taken out).
* Amplitude: f_n^2 = f_n0^2 (1 + c [n^2 a_n^2 / 4 + sum_m m^2 a_m^2 / 2]) (Kirchhoff, Carrier;
  several modes as in physics section 3), so the dominant mode glides half as much again as the
  others. ``coherent=True`` drops the first term: all partials glide together.
* Signal-to-noise ratio: RMS of the first 0.3 s of the pluck over RMS of the broadband noise, both
  after the microphone's high-pass. Hum and fans are given relative to that noise; neighbour, twist
  and edgewise mode relative to the belt, all as the microphone hears them.
* What is drawn from where: see :func:`draw`. Bending stiffness, loss and frame gain of small
  belts have no measured source; the ranges are wide and stand in one place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ABSENT_DB = -math.inf
SNR_WINDOW_S = 0.3  # the stretch of the pluck that counts for the signal-to-noise ratio
MOST_MODES = 40
INAUDIBLE = 1e-4  # of the strongest partial: not rendered
UNHEARD_GLIDE = 1e-6  # relative: a mode whose own stretch is less glides with the others
DECAY_SCATTER = 0.2  # relative, partial to partial
RING_TIMES = 9.0  # a partial is followed for this many time constants (-78 dB)


@dataclass(frozen=True, slots=True)
class Case:
    """One simulated recording, complete: the same case always renders to the same samples.

    Belt and span: ``tension_n``, ``linear_mass_kg_m``, ``span_m``, ``bending_n_m2``, ``hold`` (0
    pinned to 1 clamped: kappa/(1+kappa)), ``far_hold`` (of the other end, None: the same),
    ``width_m``.
    Ring: ``quality_1`` (Q of mode 1), ``decay_power`` (alpha_n grows as n to this power),
    ``rubber_loss`` (loss factor of bending, adds B n^2 of itself).
    Pluck: ``pluck_at`` (of the span), ``finger_m``, ``glide`` (relative rise of mode 1 at the
    start), ``finger_db`` and ``thump_db`` (attack noise and knock of the frame against the ring).
    Microphone: ``heard_at`` (of the span), ``distance_m``, ``frame_gain`` (structure-borne part),
    ``highpass_hz``, ``highpass_order`` (0 none), ``rate_hz``, ``peak`` (of full scale), ``bits``.
    Room: ``snr_db``, ``noise_slope`` (power falls as f to minus this), ``hum_db``, ``mains_hz``,
    ``fan_db``, ``fans``, ``knock_db``, ``knocks``.
    Others: ``neighbour_db``, ``neighbour_ratio``; ``twist_db``, ``twist_ratio``; ``edge_db``,
    ``edge_ratio`` (frequency over mode 1 of the belt).
    Layout: ``plucks``, ``scatter`` (relative, pluck to pluck), ``gap_s``, ``lead_s``, ``tail_s``.
    ``coherent``: glide law without the own-mode term. ``first_partial_db``: extra level of mode 1.
    """

    seed: int
    tension_n: float
    linear_mass_kg_m: float
    span_m: float
    bending_n_m2: float
    hold: float = 0.0
    width_m: float = 0.009
    quality_1: float = 50.0
    decay_power: float = 1.0
    rubber_loss: float = 0.2
    pluck_at: float = 0.28
    finger_m: float = 0.012
    glide: float = 0.0
    finger_db: float = ABSENT_DB
    thump_db: float = ABSENT_DB
    heard_at: float = 0.33
    distance_m: float = 0.015
    frame_gain: float = 0.1
    highpass_hz: float = 80.0
    highpass_order: int = 2
    rate_hz: int = 48000
    peak: float = 0.5
    bits: int = 16
    snr_db: float = 30.0
    noise_slope: float = 1.0
    hum_db: float = ABSENT_DB
    mains_hz: float = 50.0
    fan_db: float = ABSENT_DB
    fans: int = 0
    knock_db: float = ABSENT_DB
    knocks: int = 0
    neighbour_db: float = ABSENT_DB
    neighbour_ratio: float = 1.2
    twist_db: float = ABSENT_DB
    twist_ratio: float = 1.03
    edge_db: float = ABSENT_DB
    edge_ratio: float = 1.6
    plucks: int = 1
    scatter: float = 0.0
    gap_s: float = 2.0
    lead_s: float = 0.6
    tail_s: float = 1.5
    coherent: bool = False
    first_partial_db: float = 0.0
    far_hold: float | None = None

    @property
    def frequency_hz(self) -> float:
        """Mode 1 at vanishing amplitude, in Hz: the truth."""
        return float(self.modes(1)[0])

    def modes(self, count: int) -> Array:
        """Return the first `count` natural frequencies in Hz, shape (count,)."""
        return _modes(
            self.tension_n,
            self.linear_mass_kg_m,
            self.span_m,
            self.bending_n_m2,
            self.hold,
            count,
            self.far_hold,
        )

    @property
    def inharmonicity(self) -> float:
        """B of ``f_n = n f_s sqrt(1 + B n^2)`` nearest to modes 1 to 5 (least squares)."""
        number = np.arange(1, 6)
        squared = (self.modes(5) / number) ** 2
        slope, level = np.polyfit(number**2, squared, 1)
        return float(slope / level)


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """A rendered case: samples of shape (frames,), full scale +/-1, and what is true of it.

    ``onsets_s`` and ``frequencies_hz`` hold one value a pluck (scatter included); ``partials_hz``
    and ``amplitudes`` are those of the first pluck as the microphone gives them, before noise;
    ``signal_rms`` and ``noise_rms`` make the stated ratio.
    """

    case: Case
    samples: Array
    rate_hz: float
    onsets_s: tuple[float, ...]
    frequencies_hz: tuple[float, ...]
    partials_hz: Array
    amplitudes: Array
    signal_rms: float
    noise_rms: float

    @property
    def fundamental_db(self) -> float:
        """Level of partial 1 against the strongest, behind the microphone."""
        return float(20 * np.log10(max(self.amplitudes[0], 1e-30) / self.amplitudes.max()))


# ---------------------------------------------------------------- the span


def span_modes(
    tension_n: float,
    mass_kg_m: float,
    span_m: float,
    bending_n_m2: float,
    hold: float,
    count: int,
    far_hold: float | None = None,
) -> Array:
    """Return exact natural frequencies of a tensioned beam between two springs.

    The equations below are those of equal springs; unequal ones are solved by `_unequal`.

    With h = L/2, a and b the two wave numbers, b^2 = a^2 + T/EI and s = sqrt(EI/T)/kappa:
    odd modes   a tan(ah) + b tanh(bh) + s (a^2 + b^2) = 0,
    even modes  a cot(ah) - b coth(bh) - s (a^2 + b^2) = 0; omega = a b sqrt(EI/mu).
    Solved by bisection for the phase of `ah` past the pinned root (derived; the pinned and clamped
    ends are those of physics section 1).

    Parameters
    ----------
    hold
        kappa/(1 + kappa), 0 pinned to 1 clamped.
    far_hold
        That of the other end; None: the same.

    Returns
    -------
    Array
        Shape (count,), in Hz.
    """
    number = np.arange(1, count + 1, dtype=float)
    if bending_n_m2 == 0:
        return number * math.sqrt(tension_n / mass_kg_m) / (2 * span_m)
    if far_hold is not None and far_hold != hold:
        return _unequal(tension_n, mass_kg_m, span_m, bending_n_m2, (hold, far_hold), count)
    stretch = tension_n / bending_n_m2
    half = span_m / 2
    spring = (1 - hold) / hold / math.sqrt(stretch) if hold > 0 else math.inf
    low = np.zeros(count)
    high = np.full(count, 0.8)  # the clamped root lies at most 0.795 past the pinned one
    if math.isfinite(spring):
        for _ in range(44):
            past = (low + high) / 2
            a = (number * np.pi / 2 + past) / half
            b = np.sqrt(a**2 + stretch)
            # tan(n pi/2 + x) is -cot(x) for odd n; cot(n pi/2 + x) is cot(x) for even n.
            grip = np.where(number % 2 == 1, np.tanh(b * half), 1 / np.tanh(b * half))
            too_low = a * np.cos(past) - (b * grip + spring * (a**2 + b**2)) * np.sin(past) > 0
            low, high = np.where(too_low, past, low), np.where(too_low, high, past)
    else:
        high = low
    a = (number * np.pi / 2 + (low + high) / 2) / half
    b = np.sqrt(a**2 + stretch)
    return np.asarray(a * b * math.sqrt(bending_n_m2 / mass_kg_m) / (2 * np.pi))


def _unequal(
    tension_n: float,
    mass_kg_m: float,
    span_m: float,
    bending_n_m2: float,
    holds: tuple[float, float],
    count: int,
) -> Array:
    """Return `span_modes` for two different springs, by bisection of the whole determinant.

    ``y = P sin ax + Q cos ax + R exp(-bx) + S exp(-b(L - x))``; at x = 0 and L rest, and a moment
    ``(1 - s) sqrt(EI/T) y'' = +/- s y'``. Derived; the tests hold it against finite elements.
    """
    number = np.arange(1, count + 1, dtype=float)
    stretch = tension_n / bending_n_m2
    (near, far), soft = holds, 1 / math.sqrt(stretch)

    def left(past: Array) -> Array:
        a = (number * np.pi + past) / span_m
        b = np.sqrt(a**2 + stretch)
        sin, cos, e = np.sin(a * span_m), np.cos(a * span_m), np.exp(-b * span_m)
        zero, one, bend = np.zeros(count), np.ones(count), (1 - far) * soft
        rows = (
            (zero, one, one, e),
            (sin, cos, e, one),
            (
                -near * a,
                -(1 - near) * soft * a**2,
                (1 - near) * soft * b**2 + near * b,
                ((1 - near) * soft * b**2 - near * b) * e,
            ),
            (
                far * a * cos - bend * a**2 * sin,
                -far * a * sin - bend * a**2 * cos,
                (bend * b**2 - far * b) * e,
                bend * b**2 + far * b,
            ),
        )
        matrices = np.moveaxis(np.array([np.array(row) for row in rows]), 2, 0)
        return np.asarray(np.linalg.det(matrices))

    low, high = np.zeros(count), np.full(count, 1.6)  # clamped at both ends: 1.59 at most
    above = np.sign(left(high))
    for _ in range(44):
        past = (low + high) / 2
        too_low = np.sign(left(past)) != above
        low, high = np.where(too_low, past, low), np.where(too_low, high, past)
    a = (number * np.pi + (low + high) / 2) / span_m
    b = np.sqrt(a**2 + stretch)
    return np.asarray(a * b * math.sqrt(bending_n_m2 / mass_kg_m) / (2 * np.pi))


@lru_cache(maxsize=64)
def _modes(
    tension_n: float,
    mass_kg_m: float,
    span_m: float,
    bending_n_m2: float,
    hold: float,
    count: int,
    far_hold: float | None,
) -> Array:
    found = span_modes(tension_n, mass_kg_m, span_m, bending_n_m2, hold, count, far_hold)
    found.flags.writeable = False
    return found


def span_for(
    frequency_hz: float,
    tension_n: float,
    mass_kg_m: float,
    bending_n_m2: float,
    hold: float,
    far_hold: float | None = None,
) -> float:
    """Return the span in metres whose mode 1 is `frequency_hz`, to some 0.1 %."""
    span = math.sqrt(tension_n / mass_kg_m) / (2 * frequency_hz)
    for _ in range(10):
        # Frequency falls as L^-1 (string) to L^-2 (bar): this step shrinks the error in between.
        mode_1 = span_modes(tension_n, mass_kg_m, span, bending_n_m2, hold, 1, far_hold)[0]
        span *= (mode_1 / frequency_hz) ** 0.75
    return span


# ---------------------------------------------------------------- the ring


def _shape(case: Case, number: Array) -> Array:
    """Return displacement amplitudes of the modes, a finger of some width letting go of a kink."""
    kink = np.sin(number * np.pi * case.pluck_at) / number**2
    return np.asarray(kink * np.sinc(number * case.finger_m / case.span_m))


def _own(case: Case, count: int, which: int) -> Array:
    """Return `count` normal deviates that belong to this belt, the same at every pluck."""
    return np.asarray(np.random.default_rng([case.seed, which]).standard_normal(count))


def _radiated(case: Case, number: Array, shape: Array, which: int = 1) -> Array:
    """Return pressure amplitudes: acceleration near the strip, plus force through the frame.

    Near field of a strip slower than sound: pressure follows acceleration (n^2 a_n) and dies with
    distance as exp(-k d), k = n pi / L. The ends pull the frame with force n a_n; its answer
    differs from partial to partial by chance.
    """
    near = (
        number**2
        * shape
        * np.sin(number * np.pi * case.heard_at)
        * np.exp(-number * np.pi * case.distance_m / case.span_m)
    )
    frame = case.frame_gain * number * shape * _own(case, number.size, which)
    return np.asarray(near + frame)


def _decays(case: Case, number: Array, partials_hz: Array) -> Array:
    """Return decay rates alpha_n in 1/s: air and cord as n to a power, rubber as B n^2 f_n.

    What the ends and the frame take differs from partial to partial: a fifth, by chance, except
    for mode 1, whose Q is the case's own.
    """
    first = np.pi * case.frequency_hz / case.quality_1
    bending = max(case.inharmonicity, 0.0) * (number**2 - 1) * case.rubber_loss
    scatter = np.exp(DECAY_SCATTER * _own(case, number.size, 2) * (number > 1))
    return np.asarray((first * number**case.decay_power + np.pi * partials_hz * bending) * scatter)


def _cosine(cycles: Array) -> Array:
    """Return cos(2 pi cycles): whole cycles taken off in double, the rest in single precision."""
    rest = (2 * np.pi * (cycles - np.floor(cycles))).astype(np.float32)
    return np.asarray(np.cos(rest))


def _fade(decay: float, time: Array) -> Array:
    return np.asarray(np.exp((-decay * time).astype(np.float32)))


def _passed(frequency: Array, rate_hz: float) -> Array:
    """Return cycles passed up to each sample (trapezoid sum)."""
    return np.asarray((np.cumsum(frequency) - 0.5 * (frequency + frequency[0])) / rate_hz)


def _ring(
    amplitudes: Array, partials_hz: Array, decays: Array, swing: Array, rate_hz: float, case: Case
) -> Array:
    """Return the sum of gliding damped partials, shape (frames,); `swing` is displacement."""
    frames = int(rate_hz * min(RING_TIMES / decays.min(), case.gap_s + 2.0))
    time = np.arange(frames) / rate_hz
    number = np.arange(1, partials_hz.size + 1)
    own = 0.0 if case.coherent else 0.25
    slope_sq = number**2 * swing**2
    stretch = np.zeros(frames)
    for each_sq, decay in zip(slope_sq, decays, strict=True):
        stretch += 0.5 * each_sq * _fade(2 * decay, time)
    start = stretch[0] + own * slope_sq[0]
    strength = ((1 + case.glide) ** 2 - 1) / start if start > 0 else 0.0
    common = _passed(np.sqrt(1 + strength * stretch), rate_hz)
    sound = np.zeros(frames)
    keep = np.abs(amplitudes) > INAUDIBLE * np.abs(amplitudes).max()
    for index in np.flatnonzero(keep):
        last = min(frames, int(rate_hz * RING_TIMES / decays[index]) + 1)
        fade = _fade(decays[index], time[:last])
        passed = common[:last]
        if strength * own * slope_sq[index] > UNHEARD_GLIDE:
            mine = strength * own * slope_sq[index] * fade.astype(float) ** 2
            passed = _passed(np.sqrt(1 + strength * stretch[:last] + mine), rate_hz)
        sound[:last] += amplitudes[index] * fade * _cosine(partials_hz[index] * passed)
    return sound


def pluck_sound(case: Case, rng: np.random.Generator, factor: float = 1.0) -> Array:
    """Return one pluck without noise, from its release on: ring, twist, edge, neighbour, attack.

    Parameters
    ----------
    factor
        All frequencies are multiplied by it: the scatter from pluck to pluck.
    """
    count = max(1, min(MOST_MODES, int(0.45 * case.rate_hz / case.frequency_hz)))
    partials = case.modes(count) * factor
    count = max(1, int(np.sum(partials < 0.45 * case.rate_hz)))
    number, partials = np.arange(1, count + 1, dtype=float), partials[:count]
    swing = _shape(case, number)
    decays = _decays(case, number, partials)
    loud = _radiated(case, number, swing)
    loud[0] *= 10 ** (case.first_partial_db / 20)
    sound = _ring(loud, partials, decays, swing, case.rate_hz, case)
    level = _early_rms(sound, case.rate_hz)
    heard = _early_rms(_microphone(case, sound), case.rate_hz)
    for ratio, relative_db, share in (
        (case.twist_ratio, case.twist_db, 6),
        (case.edge_ratio, case.edge_db, 3),
        (case.neighbour_ratio, case.neighbour_db, count),
    ):
        if relative_db > ABSENT_DB:
            also = _companion(case, ratio, factor, share, rng)
            sound = _sum(sound, also * (heard * 10 ** (relative_db / 20)))
    if case.finger_db > ABSENT_DB:
        sound = _sum(sound, _finger(case, rng) * (level * 10 ** (case.finger_db / 20)))
    if case.thump_db > ABSENT_DB:
        sound = _sum(sound, _knock(case, rng) * (level * 10 ** (case.thump_db / 20)))
    return sound


def _companion(
    case: Case, ratio: float, factor: float, count: int, rng: np.random.Generator
) -> Array:
    """Return another series (twist, edgewise, neighbour), early RMS 1 behind the microphone."""
    number = np.arange(1, count + 1, dtype=float)
    partials = case.modes(count) * ratio * factor
    number, partials = (each[partials < 0.45 * case.rate_hz] for each in (number, partials))
    if number.size == 0:
        return np.zeros(1)
    loud = _radiated(case, number, _shape(case, number), 3 + count)
    quality = case.quality_1 * rng.uniform(0.6, 1.6)
    decays = np.pi * partials[0] / quality * number**case.decay_power
    still = replace(case, glide=0.0)
    sound = _ring(loud, partials, decays, np.zeros(number.size), case.rate_hz, still)
    rms = _early_rms(_microphone(case, sound), case.rate_hz)
    return np.asarray(sound / rms) if rms > 0 else sound


def _microphone(case: Case, samples: Array) -> Array:
    return highpass(samples, case.rate_hz, case.highpass_hz, case.highpass_order)


def _finger(case: Case, rng: np.random.Generator) -> Array:
    """Return skin leaving the belt: 5 to 30 ms of noise, 200 Hz to 4 kHz, RMS 1 in 0.3 s."""
    frames = int(0.25 * case.rate_hz)
    time = np.arange(frames) / case.rate_hz
    noise = _band(rng.standard_normal(frames), case.rate_hz, 200.0, 4000.0)
    sound = noise * np.exp(-time / rng.uniform(0.003, 0.015))
    return np.asarray(sound / _early_rms(sound, case.rate_hz))


def _knock(case: Case, rng: np.random.Generator) -> Array:
    """Return a knock or clank: three to six damped modes of some panel, RMS 1 in 0.3 s."""
    time = np.arange(int(0.4 * case.rate_hz)) / case.rate_hz
    sound = np.zeros(time.size)
    for _ in range(int(rng.integers(3, 7))):
        frequency = math.exp(rng.uniform(math.log(120.0), math.log(3000.0)))
        decay = 1 / rng.uniform(0.004, 0.04)
        phase = rng.uniform(0, 2 * np.pi)
        sound += (
            rng.lognormal(0, 0.7)
            * np.exp(-decay * time)
            * np.sin(2 * np.pi * frequency * time + phase)
        )
    return np.asarray(sound / _early_rms(sound, case.rate_hz))


# ---------------------------------------------------------------- the room


def coloured(frames: int, rate_hz: float, slope: float, rng: np.random.Generator) -> Array:
    """Return noise of RMS 1 whose power falls as f^-slope above 30 Hz, on a floor 30 dB down."""
    from scipy.fft import next_fast_len

    size = int(next_fast_len(frames, real=True))
    frequency = np.fft.rfftfreq(size, 1 / rate_hz)
    power = (np.maximum(frequency, 30.0) / 30.0) ** -slope + 1e-3
    spectrum = np.fft.rfft(rng.standard_normal(size)) * np.sqrt(power)
    noise = np.fft.irfft(spectrum, size)[:frames]
    return np.asarray(noise / np.sqrt(np.mean(noise**2)))


def _hum(case: Case, frames: int, rng: np.random.Generator) -> Array:
    """Return mains hum of RMS 1: 50 or 60 Hz within its grid's wander, and harmonics."""
    time = np.arange(frames) / case.rate_hz
    mains = case.mains_hz * (1 + rng.normal(0, 4e-4))
    fall = rng.uniform(0.5, 1.5)
    sound = np.zeros(frames)
    for harmonic in range(1, 11):
        level = harmonic**-fall * rng.lognormal(0, 0.6)
        sound += level * _cosine(harmonic * mains * time + rng.uniform())
    return np.asarray(sound / np.sqrt(np.mean(sound**2)))


def _fan(case: Case, frames: int, rng: np.random.Generator) -> Array:
    """Return fan tones of RMS 1: blade passing with its double, wandering by some 0.1 %."""
    time = np.arange(frames) / case.rate_hz
    sound = np.zeros(frames)
    for _ in range(case.fans):
        base = math.exp(rng.uniform(math.log(70.0), math.log(900.0)))
        wander = rng.uniform(0.0, 1.5e-3)
        swing_hz = rng.uniform(0.1, 0.6)
        phase = base * (
            time
            + wander
            * np.sin(2 * np.pi * (swing_hz * time + rng.uniform()))
            / (2 * np.pi * swing_hz)
        )
        level = rng.lognormal(0, 0.5)
        sound += level * _cosine(phase + rng.uniform())
        sound += level * rng.uniform(0.0, 0.6) * _cosine(2 * phase + rng.uniform())
    return np.asarray(sound / np.sqrt(np.mean(sound**2)))


def highpass(samples: Array, rate_hz: float, corner_hz: float, order: int) -> Array:
    """Return what a microphone with a Butterworth high-pass passes, forward in time only."""
    from scipy.signal import butter, sosfilt

    if order == 0:
        return samples
    return np.asarray(sosfilt(butter(order, corner_hz, "high", fs=rate_hz, output="sos"), samples))


def _band(samples: Array, rate_hz: float, low_hz: float, high_hz: float) -> Array:
    from scipy.signal import butter, sosfilt

    top = min(high_hz, 0.45 * rate_hz)
    return np.asarray(sosfilt(butter(2, (low_hz, top), "band", fs=rate_hz, output="sos"), samples))


def _early_rms(samples: Array, rate_hz: float) -> float:
    """Return the RMS over the first 0.3 s; a shorter sound is silent after its end."""
    frames = int(SNR_WINDOW_S * rate_hz)
    return float(np.sqrt(np.sum(samples[:frames] ** 2) / frames))


def _sum(one: Array, other: Array) -> Array:
    longer, shorter = (one, other) if one.size >= other.size else (other, one)
    total = longer.copy()
    total[: shorter.size] += shorter
    return total


# ---------------------------------------------------------------- the recording


def render(case: Case) -> Simulated:
    """Return the recording of a case; the same case gives the same samples."""
    rng = np.random.default_rng(case.seed)
    onsets = tuple(case.lead_s + index * case.gap_s for index in range(case.plucks))
    frames = int(case.rate_hz * (onsets[-1] + case.tail_s))
    factors = np.exp(rng.normal(0, 1, case.plucks) * case.scatter)
    clean = np.zeros(frames)
    for onset, factor in zip(onsets, factors, strict=True):
        glide = case.glide * (rng.uniform(0.5, 1.5) if case.plucks > 1 else 1.0)
        sound = pluck_sound(replace(case, glide=glide), rng, float(factor))
        first = int(onset * case.rate_hz)
        sound = sound[: frames - first] * (rng.uniform(0.6, 1.0) if case.plucks > 1 else 1.0)
        clean[first : first + sound.size] += sound
    clean = _microphone(case, clean)
    signal = _early_rms(clean[int(onsets[0] * case.rate_hz) :], case.rate_hz)
    noise = _microphone(case, coloured(frames, case.rate_hz, case.noise_slope, rng))
    level = signal * 10 ** (-case.snr_db / 20)
    noise *= level / np.sqrt(np.mean(noise**2))
    total = clean + noise + _tones(case, frames, level, rng)
    if case.knocks and case.knock_db > ABSENT_DB:
        total += _knocks(case, onsets, frames, signal, rng)
    partials, amplitudes = _partials_heard(case)
    return Simulated(
        case,
        _recorded(case, total),
        float(case.rate_hz),
        onsets,
        tuple(float(case.frequency_hz * factor) for factor in factors),
        partials,
        amplitudes,
        signal,
        level,
    )


def render_room(case: Case, duration_s: float) -> Array:
    """Return what a microphone hears of the room of a case where nobody plucks, shape (frames,).

    Noise, hum, fans and knocks at their levels: a knock is `knock_db` beside the pluck that
    `snr_db` would have set over this noise. The same case gives the same samples.
    """
    rng = np.random.default_rng(case.seed)
    frames = int(case.rate_hz * duration_s)
    noise = _microphone(case, coloured(frames, case.rate_hz, case.noise_slope, rng))
    level = float(np.sqrt(np.mean(noise**2)))
    total = noise + _tones(case, frames, level, rng)
    if case.knocks and case.knock_db > ABSENT_DB:
        total += _knocks(case, (), frames, level * 10 ** (case.snr_db / 20), rng)
    return _recorded(case, total)


def _recorded(case: Case, sound: Array) -> Array:
    """Return a sound at the peak and in the steps of the recording."""
    steps = 2 ** (case.bits - 1)
    samples = np.round(sound * (case.peak / np.abs(sound).max()) * steps) / steps
    return np.asarray(np.clip(samples, -1, 1 - 1 / steps))


def _tones(case: Case, frames: int, level: float, rng: np.random.Generator) -> Array:
    """Return hum (picked up by wire or by air) and fans at their levels against the noise."""
    tones = np.zeros(frames)
    if case.hum_db > ABSENT_DB:
        hum = _hum(case, frames, rng)
        if rng.uniform() < 0.5:  # by air: through the microphone's high-pass
            hum = _microphone(case, hum)
            hum /= np.sqrt(np.mean(hum**2))
        tones += level * 10 ** (case.hum_db / 20) * hum
    if case.fans and case.fan_db > ABSENT_DB:
        tones += level * 10 ** (case.fan_db / 20) * _fan(case, frames, rng)
    return tones


def _knocks(
    case: Case, onsets: tuple[float, ...], frames: int, signal: float, rng: np.random.Generator
) -> Array:
    """Return knocks anywhere but from 0.2 s before to 0.25 s after a pluck."""
    sound = np.zeros(frames)
    placed = 0
    for _ in range(200):
        at = rng.uniform(0.05, frames / case.rate_hz - 0.2)
        if placed == case.knocks:
            break
        if any(-0.2 < at - onset < 0.25 for onset in onsets):
            continue
        first = int(at * case.rate_hz)
        knock = _knock(case, rng)[: frames - first] * signal * 10 ** (case.knock_db / 20)
        sound[first : first + knock.size] += knock
        placed += 1
    return sound


def _partials_heard(case: Case) -> tuple[Array, Array]:
    """Return frequencies and amplitudes behind the microphone (near field only, no frame)."""
    count = max(1, min(MOST_MODES, int(0.3 * case.rate_hz / case.frequency_hz)))
    number = np.arange(1, count + 1, dtype=float)
    partials = case.modes(count)
    still = replace(case, frame_gain=0.0)
    loud = np.abs(_radiated(still, number, _shape(case, number)))
    loud[0] *= 10 ** (case.first_partial_db / 20)
    if case.highpass_order:
        weight = 1 / np.sqrt(1 + (case.highpass_hz / partials) ** (2 * case.highpass_order))
        loud = loud * weight
    return partials, np.maximum(loud, 1e-30)


# ---------------------------------------------------------------- drawing cases

WIDTHS_M = (0.006, 0.009, 0.010, 0.015, 0.025)
RATES_HZ = (44100, 48000)


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


SHORTEST_M, SHORTEST_WIDTHS = 0.04, 2.5  # no finger plucks a shorter span, and none is parked so


def _belt(rng: np.random.Generator, target_hz: float, width_m: float | None) -> dict[str, float]:
    """Draw a belt and the span that sounds at `target_hz`.

    From small (2 mm pitch, rubber with glass) to big (8 mm pitch, steel cord) mass, tension and
    stiffness grow together. Per millimetre of width: linear mass 1.0 to 2.2 g/m, tension 1 to 9 N
    (slack to tight), bending stiffness 1.5e-6 to 5e-5 N m2 (cords of 0.3 to 0.6 mm, from loose
    filaments to nearly solid: EA d^2/16 at most; estimated here, no measured source). Spans under
    40 mm (small) or 80 mm (big), or under 2.5 widths, are drawn again.
    """
    for _ in range(1000):
        big = rng.uniform()
        width = float(rng.choice(WIDTHS_M)) if width_m is None else width_m
        broad = width / 1e-3
        mass = broad * (1.0e-3 + 1.1e-3 * big) * rng.uniform(0.9, 1.1)
        tension = broad * (1 + big) * _log_uniform(rng, 1.0, 4.5)
        bending = broad * 1.5e-6 * 20**big * _log_uniform(rng, 1.0, 1.7)
        hold = 1.0 if rng.uniform() < 0.2 else rng.uniform(0.0, 0.7)
        span = span_for(target_hz, tension, mass, bending, hold)
        if span >= max(SHORTEST_M * (1 + big), SHORTEST_WIDTHS * width):
            return {
                "tension_n": tension,
                "linear_mass_kg_m": mass,
                "span_m": span,
                "bending_n_m2": bending,
                "hold": hold,
                "width_m": width,
            }
    raise ValueError(f"no belt of the ranges sounds at {target_hz:.0f} Hz over a span of any use")


def draw(
    rng: np.random.Generator,
    frequency_hz: tuple[float, float] = (20.0, 400.0),
    snr_db: tuple[float, float] = (8.0, 35.0),
    highpass_hz: tuple[float, float] = (40.0, 120.0),
    width_m: float | None = None,
    **fixed: Any,
) -> Case:
    """Draw one plausible belt, pluck, microphone and room.

    Frequency is log-uniform, signal-to-noise ratio and high-pass uniform over what is given; the
    belt is that of :func:`_belt`. Q of mode 1 is 10 to
    150, but the time constant never below 0.03 s nor above 1.5 s. Glide is up to 3 % (EA/T 500 to
    1500, a/L up to 0.006, the rest of the loop giving way). Hum in half the cases, from 20 dB
    below the noise up to its level, fans in a third.

    Parameters
    ----------
    fixed
        Fields of :class:`Case` to hold at a value.
    """
    target = _log_uniform(rng, *frequency_hz)
    belt = _belt(rng, target, width_m)
    sound = draw_sound(rng, target, belt["span_m"], snr_db, highpass_hz)
    return Case(**{**belt, **sound, **fixed})


def draw_sound(
    rng: np.random.Generator,
    target_hz: float,
    span_m: float,
    snr_db: tuple[float, float],
    highpass_hz: tuple[float, float] = (40.0, 120.0),
) -> dict[str, Any]:
    """Draw all fields of a case but those of the belt and its span, as :func:`draw` says."""
    ring_s = min(max(_log_uniform(rng, 10, 150) / (math.pi * target_hz), 0.03), 1.5)
    order = int(rng.choice((1, 2, 4), p=(0.4, 0.4, 0.2)))
    return {
        "seed": int(rng.integers(2**62)),
        "quality_1": ring_s * math.pi * target_hz,
        "decay_power": rng.uniform(0.5, 1.3),
        "rubber_loss": rng.uniform(0.05, 0.3),
        "pluck_at": rng.uniform(0.15, 0.5),
        "finger_m": min(_log_uniform(rng, 0.004, 0.02), 0.3 * span_m),
        "glide": _log_uniform(rng, 1e-4, 0.03),
        "finger_db": rng.uniform(-30, -8),
        "thump_db": rng.uniform(-30, -8) if rng.uniform() < 0.5 else ABSENT_DB,
        "heard_at": rng.uniform(0.15, 0.5),
        "distance_m": _log_uniform(rng, 0.008, 0.05),
        "frame_gain": _log_uniform(rng, 0.03, 0.5),
        "highpass_hz": rng.uniform(*highpass_hz),
        "highpass_order": order,
        "rate_hz": int(rng.choice(RATES_HZ)),
        "peak": _log_uniform(rng, 0.05, 0.9),
        "snr_db": rng.uniform(*snr_db),
        "noise_slope": rng.uniform(0.0, 2.0),
        "hum_db": rng.uniform(-20, 0) if rng.uniform() < 0.5 else ABSENT_DB,
        "mains_hz": float(rng.choice((50.0, 60.0))),
        "fan_db": rng.uniform(-20, 0),
        "fans": int(rng.integers(1, 4)) if rng.uniform() < 1 / 3 else 0,
        "gap_s": rng.uniform(1.5, 2.5),
        "lead_s": rng.uniform(0.4, 1.0),
        "tail_s": min(max(5 * ring_s, 1.0), 2.5),
    }


def twist_ratio(rng: np.random.Generator, width_m: float) -> float:
    """Draw mode 1 of twist over mode 1 of bending: sqrt(1 + 12 GJ/(T b^2)), nearer when wide.

    A strip of thickness t has GJ = G b t^3 / 3, so the excess falls as t^3/(T b); with T growing
    as b it falls as b^-2, softened because wide belts are thicker: 4 % at 6 mm, 1 % at 25 mm.
    """
    excess = 0.08 * (0.006 / width_m) * rng.lognormal(0, 0.3)
    return math.sqrt(1 + min(max(excess, 0.016), 0.11))
