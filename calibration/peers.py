"""Other ways to a pitch, on the very same samples.

Each is given what its documentation asks for and nothing more: the range searched, and frames long
enough for its lowest frequency. All hear the recording at 22 050 Hz, the rate librosa loads at.
A track of frames becomes one number as a user would make it: the median of the voiced frames in
the second that starts with the loudest tenth (YIN knows no voicing: all frames there).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
RATE_HZ = 22050
LOW_HZ, HIGH_HZ = 15.0, 700.0
PYIN_RATE = 35.92  # octaves a second, librosa's default


def at_common_rate(samples: Array, rate_hz: float) -> Array:
    """Return the recording at the peers' rate (polyphase)."""
    from scipy.signal import resample_poly

    rate = round(rate_hz)
    if rate == RATE_HZ:
        return samples
    divisor = math.gcd(rate, RATE_HZ)
    return np.asarray(resample_poly(samples, RATE_HZ // divisor, rate // divisor))


def loudest_second(samples: Array) -> tuple[float, float]:
    """Return start and end in seconds of the second that begins with the loudest 0.1 s."""
    frame = RATE_HZ // 10
    power = np.convolve(samples**2, np.ones(frame), "valid")
    start = float(np.argmax(power)) / RATE_HZ
    return start, start + 1.0


def _frame(low_hz: float) -> int:
    """Return a power of two that holds more than two periods of the lowest frequency."""
    return int(2 ** np.ceil(np.log2(2.2 * RATE_HZ / low_hz)))


def _middle(times: Array, values: Array, span: tuple[float, float]) -> float | None:
    inside = values[(times >= span[0]) & (times <= span[1])]
    inside = inside[np.isfinite(inside) & (inside > 0)]
    return float(np.median(inside)) if inside.size else None


def yin(samples: Array, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ) -> float | None:
    """Return librosa.yin's answer (de Cheveigne and Kawahara 2002)."""
    import librosa

    frame = _frame(low_hz)
    track = librosa.yin(samples, fmin=low_hz, fmax=high_hz, sr=RATE_HZ, frame_length=frame)
    times = librosa.times_like(track, sr=RATE_HZ, hop_length=frame // 4)
    return _middle(times, track, loudest_second(samples))


def pyin(samples: Array, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ) -> float | None:
    """Return librosa.pyin's answer (Mauch and Dixon 2014)."""
    import librosa

    frame = _frame(low_hz)
    track, _, _ = librosa.pyin(
        samples,
        fmin=low_hz,
        fmax=high_hz,
        sr=RATE_HZ,
        frame_length=frame,
        max_transition_rate=_transition_rate(low_hz, high_hz, frame // 4),
    )
    times = librosa.times_like(track, sr=RATE_HZ, hop_length=frame // 4)
    return _middle(times, track, loudest_second(samples))


def _transition_rate(low_hz: float, high_hz: float, hop: int) -> float:
    """Return pYIN's own rate of change in octaves a second, or what a narrow range has room for.

    From one frame to the next it may go no further than the whole range: librosa fails otherwise.
    """
    semitones = math.floor(12 * math.log2(high_hz / low_hz))
    return min(PYIN_RATE, semitones * RATE_HZ / (12 * hop))


def praat(samples: Array, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ) -> float | None:
    """Return the answer of Praat's autocorrelation method (Boersma 1993)."""
    import parselmouth

    pitch = parselmouth.Sound(samples, RATE_HZ).to_pitch_ac(
        pitch_floor=low_hz, pitch_ceiling=high_hz
    )
    track = np.asarray(pitch.selected_array["frequency"])
    return _middle(np.asarray(pitch.xs()), track, loudest_second(samples))


def tallest_peak(samples: Array, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ) -> float | None:
    """Return the tallest line of the loudest second: Hann window, parabola through 3 bins in dB."""
    start, end = loudest_second(samples)
    part = samples[int(start * RATE_HZ) : int(end * RATE_HZ)]
    size = 2 ** int(np.ceil(np.log2(part.size)) + 2)
    power = np.abs(np.fft.rfft(part * np.hanning(part.size), size)) ** 2
    bins = np.arange(power.size) * RATE_HZ / size
    allowed = np.where((bins >= low_hz) & (bins <= high_hz), power, 0.0)
    peak = int(np.argmax(allowed))
    if not 0 < peak < power.size - 1 or allowed[peak] == 0:
        return None
    left, top, right = np.log(power[peak - 1 : peak + 2] + 1e-300)
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float((peak + shift) * RATE_HZ / size)


Peer = Callable[[Array, float, float], float | None]
PEERS: dict[str, Peer] = {
    "librosa.yin": yin,
    "librosa.pyin": pyin,
    "Praat autocorrelation": praat,
    "tallest FFT peak": tallest_peak,
}
