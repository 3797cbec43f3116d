"""What the tests of the hearing share: samples in, what was heard out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from beltpitch.pitch.estimator import hear
from beltpitch.pitch.pluck_detector import PluckDetector
from beltpitch.pitch.results import FrequencyRange, PitchResult


def heard_at(
    rate_hz: float, samples: NDArray[np.float64], expected: FrequencyRange | None = None
) -> PitchResult:
    """Return what is heard in samples of that rate, fed whole."""
    listener = PluckDetector(rate_hz)
    plucks = listener.feed(Block(samples, rate_hz)) + listener.finish()
    return hear(plucks, expected or FrequencyRange())


def answers(found: PitchResult) -> list[float]:
    """Return the frequencies of the plucks that count, in Hz."""
    return [h.pitch.frequency_hz for h in found.plucks if h.used and h.pitch is not None]
