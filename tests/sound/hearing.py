"""What the tests of the hearing share: samples in, what was heard out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from beltpitch.sound.block import Block
from beltpitch.sound.heard import FrequencyRange, Heard
from beltpitch.sound.pitch import hear
from beltpitch.sound.pluck import Listener


def heard_at(
    rate_hz: float, samples: NDArray[np.float64], expected: FrequencyRange | None = None
) -> Heard:
    """Return what is heard in samples of that rate, fed whole."""
    listener = Listener(rate_hz)
    plucks = listener.feed(Block(samples, rate_hz)) + listener.finish()
    return hear(plucks, expected or FrequencyRange())


def answers(found: Heard) -> list[float]:
    """Return the frequencies of the plucks that count, in Hz."""
    return [h.pitch.frequency_hz for h in found.plucks if h.used and h.pitch is not None]
