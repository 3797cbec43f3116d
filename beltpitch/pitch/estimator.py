"""From plucks to the fundamental of a string, with its uncertainty, or a reason why not.

`hear` decides over several plucks of one string together: their evidence adds, and a pluck that
disagrees is named and rejected. `pitch_of` does the same for one pluck. The steps are those of the
theory of operation in `beltpitch.pitch`, from the peaks on.

Conventions: ``quality`` is the probability of the chosen fundamental given the lines, over all
candidates and over "no series at all"; below LEAST_QUALITY there is no answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from beltpitch.audio.block import Samples
from beltpitch.pitch import messages
from beltpitch.pitch.candidates import candidates_of
from beltpitch.pitch.damped_fit import Start, chosen, fit
from beltpitch.pitch.groups import agreeing, groups
from beltpitch.pitch.inharmonicity import ENOUGH_TO_SPARE, Mode, from_lines, laid_through
from beltpitch.pitch.interference import OtherString, beside, neighbour_of, two_could, unexplained
from beltpitch.pitch.likelihood import Candidate, dies
from beltpitch.pitch.onset_evidence import began_earlier, begins
from beltpitch.pitch.out_of_range import explained_from_outside, only_outside
from beltpitch.pitch.outliers import set_aside
from beltpitch.pitch.peaks import SpectralLines, lines_of, spectrum_of
from beltpitch.pitch.pluck_detector import Pluck
from beltpitch.pitch.results import FrequencyRange, Partial, Pitch, PitchResult, PluckResult
from beltpitch.pitch.selection import (
    HELD_S,
    LEAST_QUALITY,
    SCATTERED,
    Decision,
    PluckEvidence,
    decide,
)

SETTLE_S = 0.004  # the finger has left the belt
SHORTEST_S = 0.05
ASTRAY = 0.008  # relative; lines alone are good to a third of it
FAINT_GAIN = 20.0  # nats of the strongest line: below it nothing can be told
STEADY_RECORD_S = 0.5
ON_HUM_HZ = 1.5


def pitch_of(pluck: Pluck, expected: FrequencyRange) -> PluckResult:
    """Hear one pluck.

    Parameters
    ----------
    pluck
        From a PluckDetector.
    expected
        Where the fundamental may lie.
    """
    heard = hear([pluck], expected)
    if heard.plucks:
        return heard.plucks[0]
    return PluckResult(pluck.onset_s, None, used=False, reason=heard.reason)


def hear(plucks: Sequence[Pluck], expected: FrequencyRange) -> PitchResult:
    """Hear several plucks of one string.

    Parameters
    ----------
    plucks
        In order of time, from a PluckDetector.
    expected
        Where the fundamental may lie.
    """
    evidence = [_evidence(p, expected, plucks[:k]) for k, p in enumerate(plucks)]
    steady = _steady(plucks)
    heard = _each_tone(evidence, expected)
    listed = [h for h in heard if h.onset_s is not None and _worth_naming(h, heard)]
    if any(h.used for h in listed):
        return PitchResult(tuple(listed), steady)
    why = only_outside(evidence, expected) or _why_none(evidence, heard)
    return PitchResult(tuple(listed), steady, reason=why)


def _decided(
    evidence: Sequence[PluckEvidence], joint: Decision | None, expected: FrequencyRange
) -> list[PluckResult]:
    """Return the verdict on each pluck, all of them taken for plucks of one string."""
    beyond = explained_from_outside(evidence, joint, expected)
    return set_aside([_one(e, joint, expected, beyond) for e in evidence])


def _each_tone(evidence: Sequence[PluckEvidence], expected: FrequencyRange) -> list[PluckResult]:
    """Return the verdict on each pluck: of the string that explains all best, or of another.

    Plucks that agree among themselves on another tone are judged by themselves: a string that was
    turned, or two strings, show like this, and none is chosen. But a single pluck is set aside
    where several agree on another tone. A voice comes back to a tone too: it is judged as a whole.
    """
    joint = decide(evidence, expected)
    several = [] if joint is None or joint.voice else _others(evidence, joint.frequency_hz)
    if not several:
        return _decided(evidence, joint, expected)
    apart = {k for group in several for k in group}
    rest = [k for k in range(len(evidence)) if k not in apart]
    main, others = (
        _alone(evidence, rest, expected),
        [_alone(evidence, g, expected) for g in several],
    )
    tones = [h.pitch.frequency_hz for h in main if h.used and h.pitch]
    if not tones:
        return _decided(evidence, joint, expected)
    usual = float(np.median(tones))
    agreed = [heard for heard in others if sum(h.used for h in heard) > 1]
    if agreed and len(tones) == 1:
        among = [h.pitch.frequency_hz for h in agreed[0] if h.used and h.pitch]
        main = [_outvoted(h, float(np.median(among))) if h.used else h for h in main]
    found = dict(zip(rest, main, strict=True))
    for group, heard in zip(several, others, strict=True):
        strays = [_another(evidence[k], usual) for k in group]
        found |= zip(group, heard if heard in agreed else strays, strict=True)
    return [found[k] for k in range(len(evidence))]


def _alone(
    evidence: Sequence[PluckEvidence], which: Sequence[int], expected: FrequencyRange
) -> list[PluckResult]:
    some = [evidence[k] for k in which]
    return _decided(some, decide(some, expected), expected)


def _others(evidence: Sequence[PluckEvidence], f: float) -> list[tuple[int, ...]]:
    """Return the groups of clear tones that agree among themselves and are not the one given.

    Each lasts longer than one sound that comes in several pieces.
    """
    clear = [(k, e.clear.frequency_hz) for k, e in enumerate(evidence) if e.clear is not None]
    clear = [(k, g) for k, g in clear if abs(math.log(g / f)) > SCATTERED]
    found = agreeing(groups([g for _, g in clear], [0.0] * len(clear)))
    each = [tuple(clear[i][0] for i in group) for group in found]
    return [g for g in each if _lasts_s(evidence[g[0]].pluck, evidence[g[-1]].pluck) >= HELD_S]


def _lasts_s(first: Pluck, last: Pluck) -> float:
    return (last.onset_s or 0.0) - (first.onset_s or 0.0)


def _outvoted(one: PluckResult, others_hz: float) -> PluckResult:
    assert one.pitch is not None
    told = messages.OUTLIER.format(f=one.pitch.frequency_hz, others=others_hz)
    return replace(one, used=False, reason=told)


def _evidence(pluck: Pluck, expected: FrequencyRange, before: Sequence[Pluck]) -> PluckEvidence:
    start = pluck.clear + round(SETTLE_S * pluck.rate_hz)
    sound = pluck.samples[start:]
    reason = pluck.refused
    if reason is None and len(sound) < SHORTEST_S * pluck.rate_hz:
        reason = messages.TOO_SHORT
    if reason is not None:
        return PluckEvidence(pluck, sound, None, [], reason)
    lines = lines_of(spectrum_of(sound, pluck.rate_hz, pluck.noise))
    if float(lines.gain.max(initial=0.0)) < FAINT_GAIN:
        return PluckEvidence(pluck, sound, lines, [], None)
    candidates = candidates_of(lines, expected)
    if len(sound) > STEADY_RECORD_S * pluck.rate_hz:
        dying = [c for c in candidates if dies(lines, c)]
        reason = messages.SUSTAINED if candidates and not dying else None
        candidates = dying
    earlier = began_earlier(pluck, lines, before)
    return PluckEvidence(pluck, sound, lines, candidates, reason, begins(pluck, lines), earlier)


def _one(
    e: PluckEvidence, joint: Decision | None, expected: FrequencyRange, beyond: str | None
) -> PluckResult:
    """Return the verdict on one pluck, given what all say together and what lies outside."""
    onset = e.pluck.onset_s
    if e.reason is not None:
        return PluckResult(onset, None, used=False, reason=e.reason)
    if joint is None or e.lines is None:
        return PluckResult(onset, None, used=False, reason=messages.NO_SERIES)
    own = e.near(joint.frequency_hz) or e.about(joint.frequency_hz)
    if own is None:
        return _another(e, joint.frequency_hz)
    neighbour = neighbour_of(e.lines, own)
    doubt = (
        _no_string(joint)
        or _two(e.lines, own, neighbour, expected, e.begins)
        or _unclear(e, joint)
        or beyond
    )
    if doubt is not None:
        return PluckResult(onset, None, used=False, reason=doubt)
    pitch = _measured(e, own, joint.quality)
    if isinstance(pitch, str):
        return PluckResult(onset, None, used=False, reason=pitch)
    said = pitch.warnings + beside(e.lines, own, neighbour)
    return PluckResult(onset, replace(pitch, warnings=said), used=True, reason=None)


def _another(e: PluckEvidence, f: float) -> PluckResult:
    """Return a pluck that does not hold the tone decided on: another tone, or no string at all."""
    own = e.clear
    if own is None:
        return PluckResult(e.pluck.onset_s, None, used=False, reason=messages.NO_SERIES)
    told = messages.OUTLIER.format(f=own.frequency_hz, others=f)
    return PluckResult(e.pluck.onset_s, _named(e, own), used=False, reason=told)


def _worth_naming(one: PluckResult, heard: list[PluckResult]) -> bool:
    """Whether a pluck goes on the record: all do, but sounds that were none only if alone."""
    return one.reason != messages.NO_SERIES or not any(h.used for h in heard)


def _why_none(evidence: list[PluckEvidence], heard: list[PluckResult]) -> str:
    """Return the reason that says most: that of the strongest sound."""
    strength = [
        max((c.score for c in e.candidates), default=-math.inf) if e.lines else -math.inf
        for e in evidence
    ]
    said = [(s, h.reason) for s, h in zip(strength, heard, strict=True) if h.reason]
    told = [reason for _, reason in sorted(said, key=lambda pair: -pair[0])]
    return told[0] if told else messages.NOTHING_BEGAN


def _no_string(joint: Decision) -> str | None:
    """Return why what was heard is taken for no string, None if it is one."""
    if joint.voice:
        return messages.VOICE
    if joint.quality < LEAST_QUALITY and joint.none > 1.0 - LEAST_QUALITY and joint.goes_on:
        return messages.GOES_ON
    if joint.machine > (1.0 - min(joint.quality, LEAST_QUALITY)) / 2:
        return messages.MACHINE
    return messages.NO_SERIES if joint.none > 1.0 - joint.none else None


def _unclear(e: PluckEvidence, joint: Decision) -> str | None:
    """Return what to say where more than one fundamental is probable, None if one is."""
    if joint.quality >= LEAST_QUALITY:
        return None
    probable = [c.frequency_hz for c in e.candidates[:2]]
    if joint.below > (1.0 - joint.quality) / 2:
        probable = [joint.frequency_hz / 2, joint.frequency_hz]
    names = " or ".join(f"{f:.1f} Hz" for f in probable)
    return messages.UNCLEAR.format(names=names, quality=joint.quality)


def _two(
    lines: SpectralLines,
    own: Candidate,
    neighbour: OtherString | None,
    expected: FrequencyRange,
    begins: Samples | None,
) -> str | None:
    """Return what to say where two strings may have sounded, None if one did."""
    if neighbour is not None and neighbour.rivals:
        return messages.TWO_STRANDS.format(one=own.frequency_hz, other=neighbour.frequency_hz)
    both = two_could(lines, own, expected)
    if both is not None:
        return messages.ONE_OR_TWO.format(f=own.frequency_hz, one=both[0], other=both[1])
    strange = unexplained(lines, own, begins)
    if strange is not None:
        return messages.STRANGE_LINE.format(f=own.frequency_hz, strange=strange)
    return None


def _named(e: PluckEvidence, candidate: Candidate) -> Pitch:
    """Return a pitch from the lines alone: a fit costs as much as all the rest, and is not used."""
    lines = e.lines
    assert lines is not None
    mode = from_lines(candidate)
    k = candidate.line[candidate.numbers - 1]
    each = (lines.frequency_hz[k], lines.u_hz[k], lines.amplitude[k], lines.decay_per_s[k])
    partials = tuple(
        Partial(int(n), *(float(x) for x in one))
        for n, *one in zip(candidate.numbers, *each, strict=True)
    )
    lead = _lead_s(e)
    return Pitch(
        frequency_hz=mode.frequency_hz,
        frequency_u_hz=mode.frequency_u_hz,
        inharmonicity=None,
        inharmonicity_u=None,
        partials=partials,
        glide=0.0,
        quality=0.0,
        used_s=(lead, lead + e.sound.size / e.pluck.rate_hz),
    )


def _lead_s(e: PluckEvidence) -> float:
    """Return the time from the onset to the sound that is judged."""
    return (e.pluck.samples.size - e.sound.size - e.pluck.onset) / e.pluck.rate_hz


def _measured(e: PluckEvidence, candidate: Candidate, quality: float) -> Pitch | str:
    """Fit the chosen series to the sound."""
    lines = e.lines
    assert lines is not None
    n = candidate.numbers
    k = candidate.line[n - 1]
    decay = np.maximum(lines.decay_per_s[k], 0.3)
    start = Start(n.astype(float), lines.frequency_hz[k], decay, lines.amplitude[k])
    found = fit(e.sound, e.pluck.rate_hz, e.pluck.noise, chosen(start, e.pluck.noise))
    if found is None:
        return messages.NO_FIT
    mode = laid_through(found, candidate.string_hz)
    if _astray(mode, candidate, found.glide):
        mode = from_lines(candidate)
    partials = tuple(
        Partial(int(n), float(hz), float(math.sqrt(v)), float(a), float(d))
        for n, hz, v, a, d in zip(
            found.number,
            found.frequency_hz,
            np.diag(found.covariance),
            found.amplitude,
            found.decay_per_s,
            strict=True,
        )
    )
    lead = _lead_s(e)
    return Pitch(
        frequency_hz=mode.frequency_hz,
        frequency_u_hz=mode.frequency_u_hz,
        inharmonicity=mode.inharmonicity,
        inharmonicity_u=mode.inharmonicity_u,
        partials=partials,
        glide=found.glide,
        quality=quality,
        used_s=(lead, lead + found.used_s),
        warnings=_warnings(e, mode.frequency_hz),
    )


def _astray(mode: Mode, candidate: Candidate, glide: float) -> bool:
    """Whether the fit has left the lines it began at: dull plucks in much noise may do that.

    Not where so many partials agree that it is the lines which were astray.
    """
    off = abs(mode.frequency_hz / candidate.frequency_hz - 1.0)
    left = off > ASTRAY + glide and mode.agree < ENOUGH_TO_SPARE
    return left or mode.frequency_u_hz > ASTRAY * mode.frequency_hz


def _warnings(e: PluckEvidence, f: float) -> tuple[str, ...]:
    out = []
    hum = e.pluck.noise.near_tone(f, ON_HUM_HZ)
    if hum is not None:
        out.append(messages.ON_HUM.format(tone=hum))
    if e.pluck.clipped:
        out.append(messages.CLIPPED_START)
    return tuple(out)


def _steady(plucks: Sequence[Pluck]) -> tuple[float, ...]:
    tones: list[float] = []
    for p in plucks:
        for t in p.noise.tones_hz:
            if all(abs(t - s) > ON_HUM_HZ for s in tones):
                tones.append(t)
    return tuple(sorted(tones))
