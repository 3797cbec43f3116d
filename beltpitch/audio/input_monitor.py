"""What a live input does to the sound: dead, far too loud, cut to silence, level pumped.

A `InputMonitor` follows the level of the sound in frames of 20 ms, with no input or output of its
own. What a sound system does behind one's back is recognised by what it does:

- **a gate or noise suppression** cuts the decay of a pluck: from well above the room to digital
  silence within a tenth of a second, which no belt does;
- **automatic gain** turns the sound up while nothing happens: after a pluck the room is faint and
  rises steadily until the next one, which no room does time after time.

Own rules, tried on a gate and a compressor of the tests. Conventions: levels are the standard
deviation of a frame in units of full scale; times in seconds from the first sample fed.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from beltpitch.audio.block import Block, Samples

FRAME_S = 0.02
KEPT_S = 15.0
DEAD = 1e-6  # below a step of 16 bits: the samples do not change
SILENT = 2.0**-15  # one step of 16 bits
DEAD_AFTER_S = 1.0
TOO_LOUD = 0.1  # a room at -20 dB of full scale leaves no room for a pluck
QUIETER = 0.3  # so that a pluck within the second does not count
CUT_FRAMES = 3  # of digital silence
CUT_DB = 20.0  # in the tenth of a second before
CUT_LEAST = 3e-4
PUMPED_DB = 6.0
WOBBLE_DB = 1.0
SHORTEST_GAP_S = 1.0
SHORTEST_RISE_S = 0.4
SMOOTHED = 5  # frames
TELLING = 2  # plucks that must tell the same before it is said
REMEMBERED = 3


@dataclass(frozen=True, slots=True)
class _Frame:
    level: float
    peak: float


class InputMonitor:
    """Follows the level of blocks of sound.

    Parameters
    ----------
    rate_hz
        Rate of the blocks.
    """

    def __init__(self, rate_hz: float) -> None:
        self._size = max(1, round(FRAME_S * rate_hz))
        self._frame_s = self._size / rate_hz
        self._frames: deque[_Frame] = deque(maxlen=math.ceil(KEPT_S / FRAME_S))
        self._count = 0
        self._rest: Samples = np.zeros(0)
        self._dead = 0
        self._cut: deque[bool] = deque(maxlen=REMEMBERED)
        self._rose: deque[bool] = deque(maxlen=REMEMBERED)
        self._last_onset_s: float | None = None

    @property
    def heard_s(self) -> float:
        """Sound that has been followed."""
        return self._count * self._frame_s

    @property
    def level(self) -> float:
        """Level of the last frame."""
        return self._frames[-1].level if self._frames else 0.0

    @property
    def peak(self) -> float:
        """Largest sample of the last tenth of a second."""
        return max((f.peak for f in list(self._frames)[-5:]), default=0.0)

    @property
    def dead(self) -> bool:
        """Whether the samples have not changed for a second."""
        return self._dead * self._frame_s >= DEAD_AFTER_S

    @property
    def unborn(self) -> bool:
        """Whether the samples have not changed since the beginning."""
        return self._dead == self._count and (not len(self._rest) or np.ptp(self._rest) == 0)

    @property
    def cut(self) -> bool:
        """Whether plucks are cut to digital silence."""
        return sum(self._cut) >= TELLING

    @property
    def pumped(self) -> bool:
        """Whether the level rises by itself between plucks."""
        return sum(self._rose) >= TELLING

    def room(self, last_s: float = 1.0) -> float:
        """Return the level of the quieter part of the last second, or of what there is."""
        levels = [f.level for f in list(self._frames)[-round(last_s / self._frame_s) :]]
        return float(np.quantile(levels, QUIETER)) if levels else 0.0

    def feed(self, block: Block) -> None:
        """Follow one block."""
        sound = np.concatenate([self._rest, block.samples])
        whole = len(sound) // self._size * self._size
        self._rest = sound[whole:]
        if not whole:
            return
        frames = np.nan_to_num(sound[:whole]).reshape(-1, self._size)
        for level, peak in zip(frames.std(axis=1), np.abs(frames).max(axis=1), strict=True):
            self._frames.append(_Frame(float(level), float(peak)))
            self._count += 1
            self._dead = self._dead + 1 if level <= DEAD else 0

    def plucked(self, onset_s: float, end_s: float) -> None:
        """Take note of a true pluck that is over: how it ended, and what the room did before."""
        before = self._levels(onset_s - 0.5, onset_s - 2 * FRAME_S)
        self._cut.append(_is_cut(self._levels(onset_s, end_s + 0.2), before))
        if self._last_onset_s is not None and onset_s - self._last_onset_s >= SHORTEST_GAP_S:
            self._rose.append(_rises(self._levels(self._last_onset_s, onset_s - 2 * FRAME_S)))
        self._last_onset_s = onset_s

    def quiet_since(self, end_s: float, limit: float) -> float:
        """Return since when, up to `end_s`, the level has not been above `limit`."""
        frames = self._levels(-math.inf, end_s)
        loud = [i for i, level in enumerate(frames) if level > limit]
        quiet = len(frames) - 1 - loud[-1] if loud else len(frames)
        return end_s - quiet * self._frame_s

    def quiet_between(self, begin_s: float, end_s: float, limit: float) -> bool:
        """Whether all that is known of a stretch is not above `limit`."""
        frames = self._levels(begin_s, end_s)
        return bool(frames) and max(frames) <= limit

    def _levels(self, begin_s: float, end_s: float) -> list[float]:
        first = self._count - len(self._frames)
        begin = max(0, math.ceil(max(begin_s, 0.0) / self._frame_s) - first)
        end = max(0, math.floor(end_s / self._frame_s) - first)
        return [f.level for f in list(self._frames)[begin:end]]


def _is_cut(levels: Sequence[float], before: Sequence[float]) -> bool:
    """Tell whether a pluck falls to digital silence from well above the room."""
    room = float(np.median(before)) if before else 0.0
    run = 0
    for i, level in enumerate(levels):
        run = run + 1 if level <= SILENT else 0
        if run == CUT_FRAMES:
            start = i + 1 - CUT_FRAMES
            ahead = max(levels[max(0, start - 5) : start], default=0.0)
            return ahead >= max(CUT_LEAST, 10 ** (CUT_DB / 20) * max(room, SILENT))
    return False


def _rises(levels: Sequence[float]) -> bool:
    """Tell whether, from where it is faintest, the level rises steadily from quarter to quarter."""
    smooth = np.convolve(levels, np.ones(SMOOTHED) / SMOOTHED, "valid") if levels else np.zeros(0)
    rest = levels[int(np.argmin(smooth)) :] if len(smooth) else []
    quarter = len(rest) // 4
    if quarter * 4 * FRAME_S < SHORTEST_RISE_S:
        return False
    db = [
        20 * math.log10(max(float(np.median(rest[k * quarter : (k + 1) * quarter])), SILENT))
        for k in range(4)
    ]
    steady = all(later >= earlier - WOBBLE_DB for earlier, later in pairwise(db))
    return steady and db[-1] - db[0] >= PUMPED_DB
