"""Which fundamental all the plucks of a recording say together, and how probable it is.

Every candidate of every pluck is a hypothesis. Its evidence is that of the pluck that shows it
best, a share of that of the others (their errors are alike), and the prior of the range. The
hypotheses compete with each other, with "no string at all" and with a machine that sounds there.

How clearly a tone begins with a pluck (onset_evidence.py) counts too: a voice, an engine or running
water may look like a series for a while, but it sounds before as it does after. Candidates in a
simple frequency ratio get the same onset score, because they share lines; onsets cannot decide the
octave. Where many sounds begin equally loud, one of them may fit a string by chance, and its score
says less.

Conventions: scores in nats; a probability is over all hypotheses.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.pitch.candidates import octave_below
from beltpitch.pitch.interference import HEARD_HZ, each_related, related
from beltpitch.pitch.likelihood import Candidate
from beltpitch.pitch.onset_evidence import together
from beltpitch.pitch.peaks import SpectralLines
from beltpitch.pitch.pluck_detector import Pluck
from beltpitch.pitch.results import FrequencyRange
from beltpitch.uncertainty import PLUCK_SCATTER

LEAST_QUALITY = 0.92  # of an answer
SAME_TONE = 0.01
# Relative. Plucks of one string may lie so far apart: ten times the usual scatter. A tighter limit
# would keep only plucks that agree by chance and underestimate the scatter.
SCATTERED = 0.03
CELL = 0.0025  # width of a candidate in log frequency
# Log odds of a sound being no pluck, before it is heard. A pluck in little noise gains all of
# BEGUN_MOST by how it begins, so that what begins clearly is taken for one by e^6 to 1.
NULL_BONUS = 4.0
BEGUN_LEAST, BEGUN_MOST = -25.0, 10.0
BEGUN_UNKNOWN = 5.0  # the recording starts within the sound: nothing was heard before
REPEAT_SHARE = 0.4  # what a further pluck adds
AS_LOUD = 0.5  # of a pluck: what is fainter may be its room's noise, and is no rival for it
# Shares of the sounds that are plucks, and their weights (Gauss and Legendre, 0 to 1).
SHARES, WEIGHTS = (0.5 * x for x in np.polynomial.legendre.leggauss(24))
SHARES += 0.5
# The tones of a machine form a series as well, but they go on. Its speed varies, so they are never
# as sharp as a string's, and a series explains them by at most MACHINE_MOST nats. Their loudness
# varies by a neper within a record (both common practice, no source); a string dies away.
MACHINE_BONUS = 2.0  # log odds against a pluck, before it is heard
MACHINE_MOST = 15.0
SWAY = 1.0
CLEAR_SCORE = 12.0  # nats: a series that stands by itself
# Prior log odds that the true fundamental is one octave lower and its odd partials are inaudible.
# A microphone at a third of the span does not hear partial 3.
UNHEARD = 2.0
# Several clear tones that are unrelated to each other are a voice. A string is accepted beside it
# if it is CLEARER times as clear as any of them, or begins and is LOUDER times as loud: syllables
# of one sentence differ by less.
TONES_OF_A_VOICE = 2
CLEARER = 2.3
LOUDER = 3.0
# So is a tone that is heard clearly HELD_TIMES times at one frequency, within the usual scatter,
# over a longer time than speech holds one, and in a share HELD_SHARE of all that is clear. A
# speaker returns to a frequency only by chance, seldom within a narrow range: there less is asked.
HELD_PITCH, HELD_SHARE = PLUCK_SCATTER, 0.3
HELD_TIMES, HELD_S = 5, 1.0
HELD_TIMES_NARROW, HELD_S_NARROW = 3, 0.4
NARROW = 5.0  # highest over lowest of a range
# And so is one that was heard ROW_TIMES times in a row over ROW_S, with nothing else clear between.
# Speech has several syllables in that time, and they do not all agree (a judgement, tried on
# recorded and made voices).
ROW_TIMES, ROW_S = 3, 2.0


@dataclass(frozen=True, slots=True, eq=False)
class PluckEvidence:
    """One pluck, ready to be judged: its sound, lines and candidates, or a reason why not.

    ``begins`` holds for each line how clearly it began with the pluck, None if that is unknown;
    ``earlier``, shape (stretches, lines), how clearly it began after some earlier moment.
    """

    pluck: Pluck
    sound: Samples
    lines: SpectralLines | None
    candidates: list[Candidate]
    reason: str | None
    begins: Samples | None = None
    earlier: Samples = field(default_factory=lambda: np.zeros((0, 0)))

    def near(self, frequency_hz: float) -> Candidate | None:
        """Return the best candidate for that tone, if any speaks for it."""
        (found,) = _near([(self, c) for c in self.candidates], [frequency_hz])
        return found[0][1] if found else None

    def about(self, frequency_hz: float) -> Candidate | None:
        """Return what stands by itself in this pluck, if it is that tone but for the scatter."""
        own = self.clear
        if own is None or abs(math.log(own.frequency_hz / frequency_hz)) > SCATTERED:
            return None
        return own

    def loudness(self, candidate: Candidate) -> float:
        """Return the sum of the amplitudes of a candidate's lines."""
        assert self.lines is not None
        return float(self.lines.amplitude[candidate.line[candidate.numbers - 1]].sum())

    def rms(self, of: NDArray[np.intp] | NDArray[np.bool_]) -> float:
        """Return the root of the sum of the squared amplitudes of some lines."""
        assert self.lines is not None
        return float(np.linalg.norm(self.lines.amplitude[of]))

    @property
    def began_rms(self) -> float:
        """Return that of all lines that began with the pluck; of all if that is unknown."""
        if self.lines is None:
            return 0.0
        every = np.ones(len(self.lines.amplitude), dtype=np.bool_)
        return self.rms(every if self.begins is None else self.begins > 0)

    @property
    def clear(self) -> Candidate | None:
        """Return the best candidate if it stands by itself."""
        own = self.candidates[0] if self.candidates else None
        return own if own is not None and own.score >= CLEAR_SCORE else None


@dataclass(frozen=True, slots=True)
class Decision:
    """The fundamental that explains all plucks best.

    Parameters
    ----------
    frequency_hz
        Its frequency.
    quality
        Its probability over all hypotheses.
    none
        The probability that there is no string.
    begun
        The clearest beginning of its tone among the plucks, in nats; None if nothing is known.
    voice
        Whether it is but one of several clear tones, as in speech.
    below
        The probability that it is an octave lower, with only its even partials heard.
    machine
        The part of ``none`` in which it is the tone of something that goes on.
    """

    frequency_hz: float
    quality: float
    none: float
    begun: float | None
    voice: bool
    below: float = 0.0
    machine: float = 0.0

    @property
    def goes_on(self) -> bool:
        """Whether the tone sounded before every onset as it did after."""
        return self.begun is not None and self.begun < 0


def decide(evidence: Sequence[PluckEvidence], expected: FrequencyRange) -> Decision | None:
    """Return the fundamental that explains all plucks best; None if none is a candidate."""
    said = [(e, c) for e in evidence for c in e.candidates]
    tones = _tones([c for _, c in said])
    if not tones:
        return None
    near = _near(said, tones)
    begun = [_begun(one) for one in near]
    tones, near, begun = _judged(tones, near, begun)
    sounds = {id(e): e.began_rms for e in evidence}
    totals = [_total(one, sounds) for one in near]
    bonus = np.array([_bonus(b) for b in begun])
    shared = [float(bonus[each_related(np.array(tones), f)].max()) for f in tones]
    scores = [
        _prior(f, expected) + total + s for f, total, s in zip(tones, totals, shared, strict=True)
    ]
    best = int(np.argmax(scores))
    lower = scores[best] - totals[best] + _below(near[best], tones[best], expected, sounds)
    ahead = shared[best] - bonus[best]
    machine = ahead + _machine(near[best], tones[best], totals[best])
    every = np.array([*scores, lower, machine, NULL_BONUS + ahead])
    share = np.exp(every - every.max())
    share /= share.sum()
    voice = _voice(evidence, tones[best], begun[best], expected)
    quality, below, machine, none = (float(share[k]) for k in (best, -3, -2, -1))
    return Decision(tones[best], quality, none + machine, begun[best], voice, below, machine)


Near = list[tuple[PluckEvidence, Candidate]]


def _judged(
    tones: list[float], near: list[Near], begun: list[float | None]
) -> tuple[list[float], list[Near], list[float | None]]:
    """Leave out a tone that sounded already as the recording began, if another is clear later.

    A voice or an engine often does; a pluck that is cut off stands alone or is followed by more of
    the same string.
    """
    later = [
        f
        for f, one, b in zip(tones, near, begun, strict=True)
        if b is not None and max((c.score for _, c in one), default=0.0) >= CLEAR_SCORE
    ]
    kept = [
        k
        for k, (f, b) in enumerate(zip(tones, begun, strict=True))
        if b is not None or all(related(other, f) for other in later)
    ]
    return [tones[k] for k in kept], [near[k] for k in kept], [begun[k] for k in kept]


def _bonus(begun: float | None) -> float:
    return BEGUN_UNKNOWN if begun is None else min(max(begun, BEGUN_LEAST), BEGUN_MOST)


def _tones(candidates: Sequence[Candidate]) -> list[float]:
    """Return the different frequencies among candidates, the best of each."""
    hertz = [c.frequency_hz for c in sorted(candidates, key=lambda c: -c.score)]
    octaves = np.log(hertz)
    new = np.ones(len(hertz), dtype=np.bool_)
    for k in range(len(hertz)):
        if new[k]:
            new[k + 1 :] &= np.abs(octaves[k + 1 :] - octaves[k]) > SAME_TONE
    return [f for f, first in zip(hertz, new, strict=True) if first]


def _near(said: Sequence[tuple[PluckEvidence, Candidate]], tones: Sequence[float]) -> list[Near]:
    """Return what speaks for each tone: of each pluck the best candidate, if any does.

    Tones come best first, and a candidate speaks for the first that it lies near: a string that
    stands between two places would else be its own rival.
    """
    places = np.log([c.frequency_hz for _, c in said])
    free = np.ones(len(said), dtype=np.bool_)
    out = []
    for f in tones:
        best: dict[int, tuple[PluckEvidence, Candidate]] = {}
        here = free & (np.abs(places - math.log(f)) <= SAME_TONE)
        free &= ~here
        for k in np.flatnonzero(here).tolist():
            best.setdefault(id(said[k][0]), said[k])
        out.append([(e, c) for e, c in best.values() if c.score > 0])
    return out


def _total(near: Near, sounds: Mapping[int, float]) -> float:
    """Log likelihood of a fundamental, but for a constant.

    The clearest sound is a pluck of it. Of the others that are loud enough an unknown share is, all
    shares as likely: those with their partials in the same places. ``sounds`` is how loud each
    began, by the id of its evidence.
    """
    if not near:
        return 0.0
    ranked = sorted(near, key=lambda one: -one[1].score)
    e, best = ranked[0]
    enough = AS_LOUD * e.rms(best.line[best.numbers - 1])
    ranked = [(e, c) for e, c in ranked if _alike(c, best)]
    own = {id(e) for e, _ in ranked}
    others = sum(rms > enough for key, rms in sounds.items() if key not in own)
    again = REPEAT_SHARE * np.array([c.score for _, c in ranked[1:]])
    more = np.logaddexp(np.log1p(-SHARES), np.log(SHARES) + again[:, None]).sum(axis=0)
    each = np.log(2.0 * WEIGHTS * SHARES) + more + others * np.log1p(-SHARES)
    return best.score + float(np.logaddexp.reduce(each))


def _alike(one: Candidate, other: Candidate) -> bool:
    """Whether two plucks have their partials in the same places, as those of one string have."""
    n = min(one.numbers.max(initial=1), other.numbers.max(initial=1))
    bent = 0.5 * (math.log1p(one.stiffness * n**2) - math.log1p(other.stiffness * n**2))
    return abs(math.log(one.string_hz / other.string_hz) + bent) < SCATTERED


def _machine(near: Near, f: float, total: float) -> float:
    """Log likelihood of a machine's tone there, as `_total`, its prior included.

    Whatever range was told: it is where the belt is, and the machine may be anywhere.
    """
    likely = min(total, MACHINE_MOST) - _fall(near)
    return MACHINE_BONUS + _prior(f, FrequencyRange()) + likely


def _fall(near: Near) -> float:
    """Log likelihood ratio of dying as the clearest pluck does against the sway of a machine.

    All its lines sway together: their mean decay is judged, the clearest counting most.
    """
    if not near:
        return 0.0
    e, own = max(near, key=lambda one: one[1].score)
    lines = e.lines
    assert lines is not None
    k = own.line[own.numbers - 1]
    weight = np.log(lines.gain[k]) / np.log(lines.gain[k]).sum()
    seconds = e.sound.size / e.pluck.rate_hz
    fall = seconds * max(0.0, float(weight @ lines.decay_per_s[k]))
    doubt = seconds * 2.0 * math.pi * float(np.linalg.norm(weight * lines.u_hz[k]))
    return 0.5 * fall**2 / (SWAY**2 + doubt**2)


def _below(near: Near, f: float, expected: FrequencyRange, sounds: Mapping[int, float]) -> float:
    """Log likelihood of the octave below, as `_total`, where a microphone may well miss it."""
    if not near or f / 2 > HEARD_HZ or f / 2 < expected.low_hz:
        return -math.inf
    lower = [(e, octave_below(e.lines, c)) for e, c in near if e.lines is not None]
    return _total(lower, sounds) + UNHEARD


def _prior(frequency_hz: float, expected: FrequencyRange) -> float:
    """Log prior of a cell of relative width CELL there."""
    wide = math.log(expected.high_hz / expected.low_hz)
    flat = math.log(CELL / wide)
    if not expected.weights:
        return flat
    hz, weight = np.array(expected.weights).T
    mean = np.interp(
        np.linspace(math.log(expected.low_hz), math.log(expected.high_hz), 101), np.log(hz), weight
    )
    here = np.interp(math.log(frequency_hz), np.log(hz), weight)
    return flat + math.log(max(float(here), 1e-3) / max(float(mean.mean()), 1e-3))


def _begun(near: Sequence[tuple[PluckEvidence, Candidate]]) -> float | None:
    """Return the clearest beginning of a tone; one is enough, later records may be its ring."""
    known = [together(e.begins, e.earlier, c) for e, c in near if e.begins is not None]
    if len(known) < len(near):
        known = [b for b in known if b > 0]
    return max(known, default=None)


def _voice(
    evidence: Sequence[PluckEvidence], f: float, begun: float | None, expected: FrequencyRange
) -> bool:
    """Whether a tone is but one of several clear ones, none of them plucked."""
    strangers = [
        (e, c)
        for e in evidence
        if e.near(f) is None and (c := e.clear) is not None and not related(c.frequency_hz, f)
    ]
    if len(_tones([c for _, c in strangers])) < TONES_OF_A_VOICE:
        return False
    own = [(e, c) for e in evidence if (c := e.near(f)) is not None]
    clearer = max(c.score for _, c in own) / max(c.score for _, c in strangers)
    louder = max(e.loudness(c) for e, c in own) / max(e.loudness(c) for e, c in strangers)
    plucked = begun is not None and begun > 0
    return clearer < CLEARER and not (
        plucked
        and (
            louder >= LOUDER
            or _held(own, f, len(strangers), expected)
            or in_a_row(_clear_tones(evidence, f), f)
        )
    )


def _clear_tones(evidence: Sequence[PluckEvidence], f: float) -> list[tuple[float, float]]:
    """Return when which clear tone was heard, the one asked for where a sound holds it."""
    said = [
        (e.pluck.onset_s, own if own is not None and own.score >= CLEAR_SCORE else e.clear)
        for e in evidence
        for own in (e.near(f),)
    ]
    return [(at, c.frequency_hz) for at, c in said if at is not None and c is not None]


def in_a_row(sounds: Iterable[tuple[float, float]], f: float) -> bool:
    """Whether a tone was heard so often and long in a row that it stands whatever else sounds.

    Parameters
    ----------
    sounds
        Onset in s and clear tone in Hz, in order of time.
    f
        The tone.
    """
    row: list[float] = []
    for at_s, hertz in sounds:
        if abs(math.log(hertz / f)) > SAME_TONE:
            row = []
            continue
        row.append(at_s)
        if len(row) >= ROW_TIMES and at_s - row[0] >= ROW_S:
            return True
    return False


def _held(own: Near, f: float, strangers: int, expected: FrequencyRange) -> bool:
    """Whether a tone is heard at one pitch longer and oftener than a voice holds one."""
    at_s = [
        e.pluck.onset_s
        for e, c in own
        if c.score >= CLEAR_SCORE
        and e.pluck.onset_s is not None
        and abs(math.log(c.frequency_hz / f)) <= HELD_PITCH
    ]
    narrow = expected.high_hz < NARROW * expected.low_hz
    times, seconds = (HELD_TIMES_NARROW, HELD_S_NARROW) if narrow else (HELD_TIMES, HELD_S)
    often = len(at_s) >= max(times, HELD_SHARE * (len(at_s) + strangers))
    return often and max(at_s) - min(at_s) >= seconds
