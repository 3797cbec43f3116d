"""librosa's own estimate beside ours: an independent look at the same plucks, on request only.

Method: probabilistic YIN (Mauch & Dixon, ICASSP 2014) as librosa has it, on the stretch after each
onset, brought down to 8 kHz; the median over the frames it takes for voiced. It knows nothing of
stiff strings, hum or decays, and shares no code with `beltpitch.pitch.estimator`.

librosa is loaded inside the function; its first call costs many seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from beltpitch.audio.block import Block, Samples
from beltpitch.errors import RequestError
from beltpitch.pitch.results import FrequencyRange

RATE_HZ = 8000.0
BEGIN_S, LENGTH_S = 0.05, 0.8  # after the onset: past the finger, before most belts have died
PERIODS = 4.0  # of the lowest frequency in one frame
LEAST_VOICED = 3  # frames


def by_librosa(
    blocks: Sequence[Block], onsets_s: Sequence[float], expected: FrequencyRange
) -> tuple[float | None, ...]:
    """Return librosa's frequency in Hz for each pluck, None where it hears no pitch.

    Parameters
    ----------
    blocks
        The recording.
    onsets_s
        When each pluck begins.
    expected
        Limits of the search.

    Raises
    ------
    RequestError
        If librosa is not installed.
    """
    try:
        import librosa
    except ImportError:
        raise RequestError(
            "--cross-check needs librosa, which is not installed: pip install librosa "
            "(everything else works without it)"
        ) from None
    sound = np.concatenate([b.samples for b in blocks])
    rate_hz = blocks[0].rate_hz
    frame = 2 ** math.ceil(math.log2(PERIODS * RATE_HZ / expected.low_hz))
    found: list[float | None] = []
    for onset_s in onsets_s:
        stretch = _brought_down(sound, rate_hz, onset_s + BEGIN_S, frame)
        hertz, voiced, _ = librosa.pyin(
            stretch, sr=RATE_HZ, fmin=expected.low_hz, fmax=expected.high_hz, frame_length=frame
        )
        heard = hertz[voiced]
        found.append(float(np.median(heard)) if len(heard) >= LEAST_VOICED else None)
    return tuple(found)


def _brought_down(sound: Samples, rate_hz: float, begin_s: float, frame: int) -> Samples:
    """Return the stretch at `RATE_HZ`, at least one frame long."""
    from scipy.signal import resample_poly

    length_s = max(LENGTH_S, 1.5 * frame / RATE_HZ)
    begin = round(begin_s * rate_hz)
    part = sound[begin : begin + round(length_s * rate_hz)]
    common = math.gcd(round(RATE_HZ), round(rate_hz))
    low = resample_poly(part, round(RATE_HZ) // common, round(rate_hz) // common)
    return np.pad(np.asarray(low, np.float64), (0, max(0, frame - len(low))))
