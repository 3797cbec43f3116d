"""The rate error of a sound device, from a tone whose frequency is known.

A device that samples a little too slowly makes every tone sound a little too high. The tone is
found by its line within `NEAR` of the stated frequency, then followed by its phase from one piece
of half a second to the next; the slope of the phase is the difference in frequency (the
phase-difference method; a straight line through n phases, GUM H.3 for its uncertainty).

Conventions: the error e is relative, heard = true (1 + e); a rate stated as r is really r/(1 + e).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from beltpitch.audio.block import Block, Samples
from beltpitch.errors import CannotTell
from beltpitch.uncertainty import Estimate

NEAR = 0.005  # a device further off than half a percent is broken, or the tone is another one
PIECE_S = 0.5
FEWEST = 6  # pieces that hold the tone
MOST_S = 60.0
STANDS_OUT = 100.0  # times the power beside it
BESIDE_HZ = 12.0  # clear of the window's own width
UNSTEADY_RAD = 0.5  # scatter of the phases about the line


def rate_error(blocks: Iterable[Block], tone_hz: float) -> Estimate | None:
    """Return the relative rate error that a known tone shows; None if the tone is not there.

    Parameters
    ----------
    blocks
        The recording; its first minute is used.
    tone_hz
        True frequency of the tone, taken as exact.

    Raises
    ------
    CannotTell
        If the tone is there but does not hold still.
    """
    pieces, rate_hz = _pieces(blocks)
    starts = [i for i, p in enumerate(pieces) if _stands_out(p, tone_hz, rate_hz)]
    if len(starts) < FEWEST or len(starts) < len(pieces) / 2:
        return None
    coarse_hz = _coarse(np.concatenate([pieces[i] for i in starts[:FEWEST]]), tone_hz, rate_hz)
    time_s = np.arange(len(pieces[0])) / rate_hz
    turn = np.exp(-2j * np.pi * coarse_hz * time_s) * np.hanning(len(time_s))
    hop_s = len(time_s) / rate_hz
    at_s = np.array(starts) * hop_s
    phase = np.array([np.angle(turn @ pieces[i]) for i in starts])
    phase = np.unwrap(phase - 2 * np.pi * coarse_hz * at_s)
    slope, u_slope, scatter = _line(at_s, phase)
    if scatter > UNSTEADY_RAD:
        raise CannotTell(
            f"the tone near {tone_hz:.6g} Hz does not hold still: play a steady tone from a "
            "generator, not from a string or a voice"
        )
    found_hz = coarse_hz + slope / (2 * np.pi)
    e, u = found_hz / tone_hz - 1, u_slope / (2 * np.pi) / tone_hz
    return Estimate.single(float(e), float(u), name="clock", key="clock", dof=len(starts) - 2)


def _pieces(blocks: Iterable[Block]) -> tuple[list[Samples], float]:
    """Return the sound in pieces of half a second, and its rate."""
    kept: list[Samples] = []
    rate_hz, total = 0.0, 0
    for block in blocks:
        kept.append(block.samples)
        rate_hz, total = block.rate_hz, total + len(block.samples)
        if total > MOST_S * rate_hz:
            break
    if not kept:
        return [], rate_hz
    sound = np.concatenate(kept)
    size = round(PIECE_S * rate_hz)
    return [sound[i : i + size] for i in range(0, len(sound) - size + 1, size)], rate_hz


def _spectrum(sound: Samples, rate_hz: float) -> tuple[Samples, Samples]:
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    hertz = np.arange(len(power)) * rate_hz / len(sound)
    return np.asarray(hertz, np.float64), np.asarray(power, np.float64)


def _stands_out(piece: Samples, tone_hz: float, rate_hz: float) -> bool:
    hertz, power = _spectrum(piece, rate_hz)
    near = np.abs(hertz - tone_hz) <= NEAR * tone_hz + 2 / PIECE_S
    beside = ~near & (np.abs(hertz - tone_hz) < NEAR * tone_hz + BESIDE_HZ)
    return bool(power[near].max() > STANDS_OUT * (np.median(power[beside]) + np.finfo(float).tiny))


def _coarse(sound: Samples, tone_hz: float, rate_hz: float) -> float:
    """Return the line's frequency by a parabola through its logarithm."""
    hertz, power = _spectrum(sound, rate_hz)
    near = np.flatnonzero(np.abs(hertz - tone_hz) <= NEAR * tone_hz)
    k = int(near[np.argmax(power[near])])
    low, mid, high = np.log(power[k - 1 : k + 2] + np.finfo(float).tiny)
    bend = low - 2 * mid + high
    off = 0.5 * (low - high) / bend if bend < 0 else 0.0
    return float(hertz[k] + off * (hertz[1] - hertz[0]))


def _line(x: Samples, y: Samples) -> tuple[float, float, float]:
    """Return slope, its standard uncertainty, and the scatter about the line."""
    away = x - x.mean()
    slope = float(away @ y / (away @ away))
    left = y - y.mean() - slope * away
    scatter = math.sqrt(float(left @ left) / (len(x) - 2))
    return slope, scatter / math.sqrt(float(away @ away)), scatter
