"""A PluckDetector on a live input: what must not be heard is left out, and time stays the input's.

A beep of our own is left out; so is an input that delivers nothing but one and the same sample
(muted, or not yet awake), since against digital silence the faintest hiss is a pluck. What spans
such a gap is refused by the PluckDetector as lost sound; after a dead stretch it begins anew.

Conventions: onsets are in seconds from the first sample that came, left out or not.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from beltpitch.audio.block import Block
from beltpitch.pitch.pluck_detector import Pluck, PluckDetector

GAPS_KEPT = 100  # beeps whose time is remembered; plucks are over long before


class LivePluckDetector:
    """Hears plucks in what a live input delivers.

    Parameters
    ----------
    rate_hz
        Rate of the blocks.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._came = 0  # samples of the input, left out or not
        self._fed = 0  # of them, samples that the present Listener heard
        self._listener: PluckDetector | None = None
        self._gaps: list[tuple[int, int]] = []  # fed so far, and how far the input is ahead
        self._broken = False

    @property
    def came_s(self) -> float:
        """Time by the input's own samples."""
        return self._came / self._rate_hz

    def hear(self, block: Block) -> list[Pluck]:
        """Take one block; return the plucks that are over."""
        if self._listener is None:
            block = self._awake(block)
            self._listener = PluckDetector(self._rate_hz)
            self._fed, self._gaps, self._broken = 0, [(0, self._came)], False
        if self._broken:
            self._broken = False
            self._gaps = [*self._gaps[-GAPS_KEPT:], (self._fed, self._came - self._fed)]
            block = replace(block, overflow=True)
        self._came += len(block.samples)
        self._fed += len(block.samples)
        return [self._timed(pluck) for pluck in self._listener.feed(block)]

    def _awake(self, block: Block) -> Block:
        """Leave out how a block begins before the input wakes: one and the same sample."""
        changed = np.flatnonzero(block.samples != block.samples[:1])
        lead = int(changed[0]) if len(changed) else 0
        self._came += lead
        return replace(block, samples=block.samples[lead:])

    @property
    def sounding_s(self) -> float | None:
        """For how long a pluck has been sounding; None if there is none."""
        return None if self._listener is None else self._listener.sounding_s

    def so_far(self) -> Pluck | None:
        """Return the pluck that is sounding, as far as it has been heard."""
        pluck = None if self._listener is None else self._listener.so_far()
        return None if pluck is None else self._timed(pluck)

    def skip(self, block: Block) -> None:
        """Leave out one block: a beep sounds in it."""
        self._came += len(block.samples)
        self._broken = True

    def sleep(self, block: Block) -> list[Pluck]:
        """Leave out one block of a dead input; return what was still being heard."""
        done = self.finish()
        self._came += len(block.samples)
        return done

    def finish(self) -> list[Pluck]:
        """Hear what is left; return the last plucks."""
        if self._listener is None:
            return []
        last = [self._timed(pluck) for pluck in self._listener.finish()]
        self._listener = None
        return last

    def _timed(self, pluck: Pluck) -> Pluck:
        """Return the pluck with its onset in the input's time."""
        if pluck.onset_s is None:
            return pluck
        at = pluck.onset_s * self._rate_hz
        ahead = [ahead for fed, ahead in self._gaps if fed <= at]
        return replace(pluck, onset_s=pluck.onset_s + (ahead[-1] if ahead else 0) / self._rate_hz)
