"""The last seconds of sound at the input's own rate, so that a pluck can be kept as it came.

Conventions: seconds count from the first block fed.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from beltpitch.audio.block import Block, Samples, read_only

RING_S = 6.0  # the longest pluck, its lead, and the time until it is known to be over


class RingBuffer:
    """Keeps the last seconds of sound.

    Parameters
    ----------
    rate_hz
        Rate of the blocks.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._blocks: deque[Samples] = deque()
        self._held = 0
        self._end = 0
        self._gap_at = 0

    def feed(self, block: Block) -> None:
        """Keep one block and let go of the oldest."""
        self._blocks.append(block.samples)
        self._held += len(block.samples)
        self._end += len(block.samples)
        while self._held - len(self._blocks[0]) > RING_S * self._rate_hz:
            self._held -= len(self._blocks.popleft())

    def gap(self) -> None:
        """Note that sound was left out here."""
        self._gap_at = self._end

    @property
    def gap_s(self) -> float:
        """Where sound was last left out."""
        return self._gap_at / self._rate_hz

    def cut(self, begin_s: float, end_s: float) -> Samples:
        """Return the sound between two moments, as far as it is still there."""
        first = self._end - self._held
        whole = np.concatenate([*self._blocks, np.zeros(0)])
        begin = max(0, round(begin_s * self._rate_hz) - first)
        end = max(begin + 1, round(end_s * self._rate_hz) - first)
        return read_only(np.nan_to_num(whole[begin:end]))
