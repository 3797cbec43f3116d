"""What sounds beside the belt: the neighbouring strand, and the belt's own twist.

A strand next to the plucked one answers with a series of its own: the lines that the belt's series
does not explain are asked whether they form one. Twist and the edgewise mode of a flat belt stand 1
to 6 % above a partial (design; f1 sqrt(1 + 12 GJ / (T b^2)), derived): a single line close above
partial 1 is named as that.

Conventions: loudness is the sum of the amplitudes at the onset.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from beltpitch.sound import reasons
from beltpitch.sound.evidence import Candidate
from beltpitch.sound.heard import FrequencyRange
from beltpitch.sound.lines import Lines
from beltpitch.sound.series import candidates_of

CLEAR_SCORE = 14.0  # nats by which the second series must beat chance
FEWEST = 2
SECOND_CANDIDATES = 4
SECOND_GAIN = 30.0  # nats: two lines at least this clear
FAINT = 0.02  # and not fainter than this beside the first series
RIVAL = 0.7  # as loud as the first, within 3 dB: which one was plucked is not clear
AUDIBLE = 0.05
SIMPLE_RATIOS = (0.25, 1 / 3, 0.5, 2 / 3, 0.75, 1.0, 4 / 3, 1.5, 2.0, 3.0, 4.0)
SIMPLE = 0.03  # a series at such a ratio is the first one's own
TWIST_FROM, TWIST_TO = 1.008, 1.07
TWIST_WITHIN_DB = 20.0
TWIST_GAIN = 40.0


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another series beside the first: its mode 1, and whether it is as loud."""

    frequency_hz: float
    rivals: bool


def neighbour_of(lines: Lines, belt: Candidate) -> Neighbour | None:
    """Return the second series, if what the first leaves over forms one."""
    own = belt.line[belt.numbers - 1]
    rest = np.setdiff1d(np.arange(len(lines.gain)), own)
    first = float(lines.amplitude[own].sum())
    heard = (lines.gain[rest] > SECOND_GAIN) & (lines.amplitude[rest] > FAINT * first)
    if heard.sum() < FEWEST:
        return None
    others = candidates_of(_only(lines, rest), FrequencyRange(), SECOND_CANDIDATES)
    for other in others[:1]:
        numbers = other.numbers
        if (
            other.score < CLEAR_SCORE
            or len(numbers) < FEWEST
            or related(other.frequency_hz, belt.frequency_hz)
        ):
            continue
        loud = float(lines.amplitude[rest[other.line[numbers - 1]]].sum())
        if loud > AUDIBLE * first:
            return Neighbour(other.frequency_hz, rivals=loud > RIVAL * first)
    return None


def beside(lines: Lines, belt: Candidate, neighbour: Neighbour | None) -> tuple[str, ...]:
    """Return what is to be said of the sounds beside the belt's own."""
    out = []
    if neighbour is not None:
        told = reasons.TWO_STRANDS_CLEAR
        out.append(told.format(one=belt.frequency_hz, other=neighbour.frequency_hz))
    twist = _twist(lines, belt)
    if twist is not None:
        out.append(reasons.TWIST.format(lower=belt.frequency_hz, upper=twist))
    return tuple(out)


def _only(lines: Lines, keep: np.typing.NDArray[np.intp]) -> Lines:
    return replace(
        lines,
        frequency_hz=lines.frequency_hz[keep],
        u_hz=lines.u_hz[keep],
        level_db=lines.level_db[keep],
        above_db=lines.above_db[keep],
        gain=lines.gain[keep],
        decay_per_s=lines.decay_per_s[keep],
        amplitude=lines.amplitude[keep],
    )


def related(other_hz: float, first_hz: float) -> bool:
    """Whether two fundamentals stand in so simple a ratio that they may be one and the same."""
    ratio = other_hz / first_hz
    return any(abs(math.log(ratio / simple)) < SIMPLE for simple in SIMPLE_RATIOS)


def _twist(lines: Lines, belt: Candidate) -> float | None:
    """Line close above partial 1 that stands by itself."""
    if belt.line[0] < 0:
        return None
    peaks = lines.spectrum.peaks
    ratio = peaks.frequency_hz / lines.frequency_hz[belt.line[0]]
    level_db = 10.0 / math.log(10.0) * peaks.level
    near = (
        (ratio > TWIST_FROM)
        & (ratio < TWIST_TO)
        & (peaks.gain > TWIST_GAIN)
        & (level_db > lines.level_db[belt.line[0]] - TWIST_WITHIN_DB)
    )
    found = np.flatnonzero(near)
    return float(peaks.frequency_hz[found[0]]) if len(found) else None
