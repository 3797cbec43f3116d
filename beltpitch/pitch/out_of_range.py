"""What sounds outside the frequency range asked for: a better explanation, or the only clear tone.

A wrong belt or span gives a range in which there is no string. Within such a range there may be
nothing, or every second partial of a string below it: that series explains half the lines and
looks like an answer. So a number from within the range is withheld if a fundamental outside
explains the lines far better. Where the range holds nothing, a clear tone outside is named, never
given as the answer.

Conventions: scores in nats, as in likelihood.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from beltpitch.pitch import messages
from beltpitch.pitch.candidates import candidates_of
from beltpitch.pitch.likelihood import Candidate, dies
from beltpitch.pitch.onset_evidence import together
from beltpitch.pitch.results import FrequencyRange
from beltpitch.pitch.selection import CLEAR_SCORE, LEAST_QUALITY, SCATTERED, Decision, PluckEvidence

SURE = 6.0  # nats: who tells a range is wrong about it once in some hundred times, not more
SEARCHED = 4  # candidates
LOUDEST = 3  # plucks that are asked where none gave an answer


def explained_from_outside(
    evidence: Sequence[PluckEvidence], joint: Decision | None, expected: FrequencyRange
) -> str | None:
    """Return what to say where a series outside explains the answer's lines far better.

    The pluck that shows the answer best is asked.
    """
    if joint is None or joint.quality < LEAST_QUALITY:
        return None
    near = [(e, c) for e in evidence if (c := e.near(joint.frequency_hz)) is not None]
    if not near:
        return None
    e, own = max(near, key=lambda one: one[1].score)
    assert e.lines is not None
    lines = own.line[own.numbers - 1]
    loudest = lines[int(e.lines.level_db[lines].argmax())]
    for other in _outside(e, expected):
        if other.score > own.score + SURE and loudest in other.line:
            return _told(other.frequency_hz, expected)
    return None


def only_outside(evidence: Sequence[PluckEvidence], expected: FrequencyRange) -> str | None:
    """Return what to say where the loudest sounds are one tone outside, None if they are not."""
    heard = [e for e in evidence if e.lines is not None and len(e.lines.gain) > 0]
    heard.sort(key=lambda e: -float(e.lines.gain.max()) if e.lines is not None else 0.0)
    first = [(e, c) for e in heard[:LOUDEST] for c in _outside(e, expected)[:1]]
    found = [c for e, c in first if c.score >= CLEAR_SCORE and _begun(e, c)]
    if not found:
        return None
    tone = found[0].frequency_hz
    one = all(abs(math.log(c.frequency_hz / tone)) < SCATTERED for c in found)
    return _told(tone, expected) if one else None


def _outside(e: PluckEvidence, expected: FrequencyRange) -> list[Candidate]:
    """Return what dies away outside the range, best first; nothing if no range was told."""
    if e.lines is None:
        return []
    whole = FrequencyRange()
    parts = (whole.low_hz, expected.low_hz), (expected.high_hz, whole.high_hz)
    found: list[Candidate] = []
    for low, high in parts:
        if low < high:
            found += candidates_of(e.lines, FrequencyRange(low, high), SEARCHED)
    return sorted((c for c in found if dies(e.lines, c)), key=lambda c: -c.score)


def _begun(e: PluckEvidence, candidate: Candidate) -> bool:
    return e.begins is None or together(e.begins, e.earlier, candidate) > 0


def _told(f: float, expected: FrequencyRange) -> str:
    return messages.OUTSIDE.format(f=f, low=expected.low_hz, high=expected.high_hz)
