"""What sounds beside the belt: the neighbouring strand, and the belt's own twist.

A strand next to the plucked one answers with a series of its own: the lines that the belt's series
leaves unexplained are searched for one. Twist and the edgewise mode of a flat belt stand 1 to 6 %
above a partial (f1 sqrt(1 + 12 GJ / (T b^2)), derived, no source): a single line close above
partial 1 is named as twist.

Conventions: loudness is the sum of the amplitudes at the onset.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.pitch import messages
from beltpitch.pitch.candidates import candidates_of
from beltpitch.pitch.likelihood import Candidate
from beltpitch.pitch.peaks import SpectralLines
from beltpitch.pitch.results import FrequencyRange

CLEAR_SCORE = 14.0  # nats by which the second series must beat chance
FEWEST = 2
SECOND_CANDIDATES = 4
SECOND_GAIN = 30.0  # nats: two lines at least this clear
FAINT = 0.02  # and not fainter than this beside the first series
RIVAL = 0.7  # as loud as the first, within 3 dB: which one was plucked is not clear
AUDIBLE = 0.05
SIMPLE_RATIOS = (0.25, 1 / 3, 0.5, 2 / 3, 0.75, 4 / 3, 1.5, 2.0, 3.0, 4.0)
SIMPLE = 0.01  # a series at such a ratio is the first one's own
SPLIT = 0.03  # and so is one this near: it beats, or several players hold the tone
# A line that the answer does not explain although it began with the pluck by so many nats, and is
# about as loud as the answer's loudest: another string, or the answer is wrong.
BEGAN = 2.5
LOUD_DB = 6.0
# Halfway between two partials it is a partial itself if the answer is an octave too high.
HALF_GAIN, HALF_DB = 15.0, 15.0
OWN = 0.04  # relative: this near a partial it is that partial's own, split, beating or twisting
CHANCE_GAIN = 20.0  # nats: a fainter line may be a chance one
FEW, FILLED = 2, 0.4  # lines, and share of the partials up to the highest, that are few
HIGHEST = 9.0  # partials: a neighbour's loudest line is not far above the first one's
HEARD_HZ = 60.0  # from here on a microphone that hears the second partial hears the first
TWIST_FROM, TWIST_TO = 1.008, 1.07
TWIST_WITHIN_DB = 20.0
TWIST_GAIN = 40.0
STEADY = 0.3  # 1/s
HALF = 0.006  # relative


@dataclass(frozen=True, slots=True)
class OtherString:
    """Another series beside the first: its mode 1, and whether it is as loud."""

    frequency_hz: float
    rivals: bool


def neighbour_of(lines: SpectralLines, belt: Candidate) -> OtherString | None:
    """Return the second series, if what the first leaves over forms one."""
    own = belt.line[belt.numbers - 1]
    left = np.ones(len(lines.gain), dtype=np.bool_)
    left[own] = False
    rest = np.flatnonzero(left)
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
            return OtherString(other.frequency_hz, rivals=loud > RIVAL * first)
    return None


def unexplained(lines: SpectralLines, belt: Candidate, begins: Samples | None) -> float | None:
    """Return the frequency of a line that stands against the series, if there is one."""
    if begins is None:
        return None
    own = belt.line[belt.numbers - 1]
    below = lines.level_db[own].max() - lines.level_db
    multiple = lines.frequency_hz / belt.frequency_hz
    nearest = np.maximum(np.round(multiple), 1.0)
    apart = np.abs(multiple / (nearest * np.sqrt(1.0 + belt.stiffness * nearest**2)) - 1.0) > OWN
    twist = (multiple > TWIST_FROM) & (multiple < TWIST_TO)
    dying = (begins > BEGAN) & (lines.decay_per_s > STEADY)
    strange = apart & ~twist & dying & (multiple < HIGHEST)
    strange[own] = False
    loud = (lines.gain > SECOND_GAIN) & (below < LOUD_DB)
    half = np.abs(multiple - np.floor(multiple) - 0.5) < HALF * multiple
    octave = half & (lines.gain > HALF_GAIN) & (below < HALF_DB)
    found = np.flatnonzero(strange & (loud | octave))
    return float(lines.frequency_hz[found[np.argmin(below[found])]]) if len(found) else None


def two_could(
    lines: SpectralLines, belt: Candidate, expected: FrequencyRange
) -> tuple[float, float] | None:
    """Return two fundamentals that explain the lines as well as one not heard itself.

    Lines at 2 and 3 times of nothing heard are two strands as likely as one with two partials.
    """
    n = belt.numbers
    gain = lines.gain[belt.line[n - 1]]
    telling = n[gain > CHANCE_GAIN] if (gain > CHANCE_GAIN).sum() >= FEWEST else n
    full = len(telling) > FEW and len(telling) >= FILLED * telling.max()
    if belt.line[0] >= 0 or (belt.frequency_hz < HEARD_HZ and full):
        return None
    for j, k in combinations([int(m) for m in telling], 2):
        if np.all((telling % j == 0) | (telling % k == 0)):
            one, other = (float(lines.frequency_hz[belt.line[m - 1]]) for m in (j, k))
            inside = expected.low_hz <= one and other <= expected.high_hz
            return (one, other) if inside else None
    return None


def beside(lines: SpectralLines, belt: Candidate, neighbour: OtherString | None) -> tuple[str, ...]:
    """Return what is to be said of the sounds beside the belt's own."""
    out = []
    if neighbour is not None:
        told = messages.TWO_STRANDS_CLEAR
        out.append(told.format(one=belt.frequency_hz, other=neighbour.frequency_hz))
    twist = _twist(lines, belt)
    if twist is not None:
        out.append(messages.TWIST.format(lower=belt.frequency_hz, upper=twist))
    return tuple(out)


def _only(lines: SpectralLines, keep: np.typing.NDArray[np.intp]) -> SpectralLines:
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
    return bool(each_related(np.array([other_hz]), first_hz)[0])


def each_related(others_hz: Samples, first_hz: float) -> NDArray[np.bool_]:
    """Return of each fundamental whether it is related to the first; shape kept."""
    ratio = np.log(others_hz / first_hz)
    off = np.abs(ratio[..., None] - np.log(SIMPLE_RATIOS)).min(axis=-1)
    return np.asarray((np.abs(ratio) < SPLIT) | (off < SIMPLE), np.bool_)


def _twist(lines: SpectralLines, belt: Candidate) -> float | None:
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
