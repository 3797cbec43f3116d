"""One block of samples, as it comes from a file or a microphone.

Samples are float, full scale +/-1, one channel, shape (frames,). Time is counted in samples.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


def read_only(samples: NDArray[np.floating]) -> Samples:
    """Return a float64 copy, shape kept, that cannot be written to."""
    copy = np.array(samples, dtype=np.float64)
    copy.flags.writeable = False
    return copy


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A stretch of sound.

    Parameters
    ----------
    samples
        Shape (frames,), full scale +/-1; copied and made read-only.
    rate_hz
        Samples per second.
    overflow
        True if sound was lost before this block (a live input that was not read in time).
    """

    samples: Samples
    rate_hz: float
    overflow: bool = False

    def __post_init__(self) -> None:
        if self.samples.ndim != 1:
            raise ValueError(f"a block is one channel, shape (frames,), got {self.samples.shape}")
        if not (math.isfinite(self.rate_hz) and self.rate_hz > 0):
            raise ValueError(f"rate is {self.rate_hz} Hz, must be positive")
        object.__setattr__(self, "samples", read_only(self.samples))
