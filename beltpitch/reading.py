"""The one meeting place: plucks + belt + span -> Reading.

A reading is built in three steps. The plucks become one frequency; frequency, belt and span become
the strand's tension (`beltpitch.belts.strand_tension`); the tension becomes the preload, which the
two strands share. Every input's doubt becomes a line of the budget (JCGM 100:2008).

Conventions: SI floats; the frequency is mode 1 at vanishing amplitude; ``tension`` is the plucked
strand's own, ``preload`` is what windows, pairs and the book judge.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from beltpitch import parsing
from beltpitch.audio.block import Block
from beltpitch.audio.files import open_recording
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.corrections import Correction
from beltpitch.belts.end_conditions import moved_contact
from beltpitch.belts.parks import STRAND_LINE, one_strand, preload, preload_from_both_ways
from beltpitch.belts.span import USUAL_STRAND_LIMIT, Span
from beltpitch.belts.strand_tension import (
    StrandTension,
    Tone,
    carried,
    parked,
    parked_often,
    strung,
)
from beltpitch.errors import CannotTell, RequestError
from beltpitch.parsing import Typed
from beltpitch.pitch.estimator import hear
from beltpitch.pitch.groups import agreeing, groups, overtone
from beltpitch.pitch.pluck_detector import PluckDetector
from beltpitch.pitch.results import FrequencyRange, Pitch, PitchResult
from beltpitch.uncertainty import (
    PLUCK_SCATTER,
    PLUCK_SCATTER_DOF,
    SCATTER_LINE,
    BudgetLine,
    Estimate,
    Part,
    rectangular,
)
from beltpitch.units import rounded

if TYPE_CHECKING:
    from beltpitch.audio.files import Recording
    from beltpitch.pitch.pluck_detector import Pluck

COVERAGE = 0.95  # of the intervals that are shown
# Strands that differ by more were not read right, where no limit is given (a judgement, no source):
# 0.1 N m, which few motors of such machines hold without current, over a radius of 10 mm.
FAR_APART_N = 10.0
STRANDS_ALIKE = "strands assumed to differ by"
WORTH_NAMING = 0.1  # of the variance: a default that makes less is not worth a line
# From so many degrees of freedom on (three plucks) their own scatter stands alone: the interval
# holds the truth in 95 of 100 cases for any hand. Pooled it would do so in 79 (three plucks) or 85
# (five) for a hand that scatters by 1 % (simulated; for a usual hand 95 either way).
OWN_DOF = 2
N_MM2 = 1e6  # N m^2 in N mm^2
MOST_MISFIT = 2.0  # root of chi^2 over degrees of freedom from which parks contradict each other
PROPAGATED = (
    "interval by propagated distributions (JCGM 101): with so few plucks the linear budget (GUM) "
    "would claim too much"
)
# What the stiff series leaves out of B, found on simulated plucks (calibration/setups.py), where
# the fit's own claim was two to three times too small: each partial may lie off by a part in 3000
# and by a share of the glide, and what rings beside them pulls few partials more than many.
PARTIAL_OFF, GLIDE_OFF, FEW_PARTIALS_OFF = 3e-4, 0.15, 0.25
CLOCK = 100e-6  # limit of a sound card's rate: physics notes, section 8


@dataclass(frozen=True, slots=True)
class PluckReading:
    """One pluck in a reading: what it sounded at and the tension that alone would give."""

    onset_s: float | None
    frequency_hz: float | None
    frequency_u_hz: float | None
    tension_n: float | None
    used: bool
    reason: str | None


@dataclass(frozen=True, slots=True)
class PluckGroup:
    """Plucks that agree with each other and not with the others of the same reading.

    Parameters
    ----------
    plucks
        Their places among the reading's plucks, from 0.
    frequency, tension
        What they say by themselves, Hz and N.
    """

    plucks: tuple[int, ...]
    frequency: Estimate
    tension: Estimate | None = None

    def __str__(self) -> str:
        """Return it in a few words, such as "77.2 Hz (36.4 N, 5 plucks)"."""
        count = f"{len(self.plucks)} pluck{'s' if len(self.plucks) > 1 else ''}"
        force = f"{rounded(self.tension.value, self.tension.u)} N, " if self.tension else ""
        return f"{rounded(self.frequency.value, self.frequency.u)} Hz ({force}{count})"


@dataclass(frozen=True, slots=True)
class Reading:
    """A belt's tension and how far to trust it; what is not known is None or empty.

    Parameters
    ----------
    source
        Name of the recording; "typed" for a frequency given by hand.
    belt, span
        What was plucked.
    frequency
        Mode 1 at vanishing amplitude, Hz.
    partials_hz
        Partials that were heard.
    inharmonicity, inharmonicity_u, top
        B of the stiff series, its standard uncertainty, and the highest partial it rests on.
    plucks
        Every pluck, refused ones included.
    tension
        The plucked strand's own, N.
    strand
        Name of the strand.
    preload
        What the two strands share, N.
    strand_difference
        By how much this strand carries more than the other, N.
    corrections
        Each correction made, by name and size.
    warnings
        What the user should know; where there is no answer, why.
    echoes
        Defaults that were taken, to be shown.
    steady_hz
        Steady tones that were set aside.
    groups
        Where the plucks are of several tones: each group. There is no answer then.
    """

    source: str
    belt: Belt | None = None
    span: Span | None = None
    frequency: Estimate | None = None
    partials_hz: tuple[float, ...] = ()
    inharmonicity: float | None = None
    inharmonicity_u: float | None = None
    top: int | None = None
    plucks: tuple[PluckReading, ...] = ()
    tension: Estimate | None = None
    strand: str | None = None
    preload: Estimate | None = None
    strand_difference: Estimate | None = None
    corrections: tuple[Correction, ...] = ()
    warnings: tuple[str, ...] = ()
    echoes: tuple[str, ...] = ()
    steady_hz: tuple[float, ...] = ()
    groups: tuple[PluckGroup, ...] = ()

    def __str__(self) -> str:
        """Return the answer with its 95 % intervals, or why there is none."""
        if self.frequency is None:
            return f"{self.source}: no frequency; {'; '.join(self.warnings) or 'nothing was read'}"
        tone = f"{rounded(self.frequency.value, self.frequency.u)} Hz (u {self.frequency.u:.2g} Hz)"
        if self.tension is None:
            return f"{self.source}: {tone}; {'; '.join(self.warnings) or 'no tension'}"
        first = f"{self.source}: strand {_force(self.tension)}, from {tone}"
        return f"{first}\npreload {_force(self.preload)}" if self.preload else first

    @property
    def refusal(self) -> str | None:
        """Why there is no answer although everything for it was given; None where there is one."""
        incomplete = self.frequency is not None and (self.belt is None or self.span is None)
        if self.tension is not None or incomplete:
            return None
        return self.warnings[0] if self.warnings else "nothing was read"

    @property
    def budget(self) -> tuple[BudgetLine, ...]:
        """Lines of the preload's budget, largest first; it holds the tension's own lines too."""
        return self.preload.budget() if self.preload else ()

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the belt's figures come from."""
        return self.belt.sources if self.belt and self.tension else ()


def _force(estimate: Estimate) -> str:
    low, high = (rounded(n, estimate.u) for n in estimate.interval(COVERAGE))
    return f"{rounded(estimate.value, estimate.u)} N ({COVERAGE:.0%}: {low} to {high} N)"


# --- from plucks to one tone --------------------------------------------------------------------


def frequency_of(values_hz: Sequence[float], u_hz: Sequence[float], key: str) -> Estimate:
    """Return the mean frequency of several plucks of one belt.

    Weighted by ``1/(u_i^2 + s^2)``, s being the usual scatter, so that a faint pluck counts less
    and good ones count alike. From three plucks on their own scatter is used (GUM 4.2, weighted);
    fewer pool theirs with the usual one, see `_scatter`.

    Parameters
    ----------
    values_hz, u_hz
        Shape (plucks,): each pluck's frequency and the standard uncertainty of its own fit.
    key
        Whose error it is.
    """
    pairs = list(zip(values_hz, u_hz, strict=True))
    usual = PLUCK_SCATTER * sum(values_hz) / len(values_hz)
    weights = [1 / (u**2 + usual**2) for u in u_hz]
    whole = sum(weights)
    centre = sum(w * f for w, (f, _) in zip(weights, pairs, strict=True)) / whole
    chi2 = sum(w * (f - centre) ** 2 for w, (f, _) in zip(weights, pairs, strict=True))
    variance, dof = _scatter(chi2, len(pairs) - 1)
    own_fit = math.sqrt(sum((w * u) ** 2 for w, (_, u) in zip(weights, pairs, strict=True))) / whole
    u = max(math.sqrt(variance / whole), own_fit)
    return Estimate.single(centre, u, name=SCATTER_LINE, key=key, dof=dof)


def _scatter(chi2: float, dof: int) -> tuple[float, float]:
    """Return the variance of plucks in units of the usual one, and its degrees of freedom.

    Few plucks tell little of a hand's scatter: theirs is then pooled with the usual one, which is
    worth `PLUCK_SCATTER_DOF` (the conjugate prior of a normal variance, scaled inverse chi-square:
    Gelman and others, Bayesian Data Analysis, from memory).

    Parameters
    ----------
    chi2
        Sum of the squared deviations from the mean, in units of the usual variance.
    dof
        Plucks less the means they were measured from.
    """
    if dof >= OWN_DOF:
        return chi2 / dof, dof
    more = PLUCK_SCATTER_DOF + dof
    return (PLUCK_SCATTER_DOF + chi2) / more, more


def _tone(used: Sequence[Pitch], key: str, u_clock: float) -> Tone:
    """Return what the plucks that are used told, as one tone; `u_clock` is relative."""
    frequency = frequency_of([p.frequency_hz for p in used], [p.frequency_u_hz for p in used], key)
    clock = Part("clock", "clock", u_clock * frequency.value)
    return Tone(
        frequency=frequency.with_part(clock),
        inharmonicity=_inharmonicity(used, key),
        top=max((p.number for p in _fullest(used).partials), default=1),
        glide=sum(p.glide for p in used) / len(used),
        key=key,
        count=len(_fullest(used).partials),
    )


def _fullest(used: Sequence[Pitch]) -> Pitch:
    return max(used, key=lambda p: len(p.partials))


def _partials(used: Sequence[Pitch], frequency_hz: float) -> tuple[float, ...]:
    """Return the partials of the fullest pluck, brought to the mean frequency of all."""
    fullest = _fullest(used)
    share = frequency_hz / fullest.frequency_hz
    return tuple(p.frequency_hz * share for p in fullest.partials)


def _inharmonicity(used: Sequence[Pitch], key: str) -> Estimate | None:
    """Return the B the plucks agree on: weighted mean, its u widened where they scatter more."""
    heard = [p for p in used if p.inharmonicity is not None and p.inharmonicity_u]
    told = [(p.inharmonicity or 0.0, _inharmonicity_u(p)) for p in heard]
    if not told:
        return None
    weights = [1 / u**2 for _, u in told]
    whole = sum(weights)
    centre = sum(w * b for w, (b, _) in zip(weights, told, strict=True)) / whole
    chi2 = sum(w * (b - centre) ** 2 for w, (b, _) in zip(weights, told, strict=True))
    wider = max(1.0, chi2 / max(1, len(told) - 1))
    u = math.sqrt(wider / whole)
    return Estimate.single(centre, u, name="stiffness", key=f"{key}/inharmonicity")


def _inharmonicity_u(pitch: Pitch) -> float:
    """Return the standard uncertainty of a pluck's B with what the stiff series leaves out."""
    b, u, n = pitch.inharmonicity, pitch.inharmonicity_u, [p.number for p in pitch.partials]
    assert b is not None
    assert u is not None
    top = max(2, *n) if n else 2
    off = 2 * math.hypot(PARTIAL_OFF, GLIDE_OFF * pitch.glide) / (top**2 - 1)
    return math.hypot(u, off, FEW_PARTIALS_OFF / max(1, len(n) - 1) * b)


# --- readings -----------------------------------------------------------------------------------


def heard_reading(
    heard: PitchResult,
    source: str,
    belt: Belt | None = None,
    span: Span | None = None,
    *,
    key: str | None = None,
    rate_error: Estimate | None = None,
) -> Reading:
    """Return the reading of plucks that were heard.

    Parameters
    ----------
    heard
        Every pluck with its pitch or the reason why not.
    source
        Name of the recording.
    belt, span
        What was plucked; without them the reading ends at the frequency.
    key
        Whose error the plucks' is, if the source's name does not tell readings apart.
    rate_error
        Of the sound device, where it is known and the plucks were heard at the rate put right by
        it; else its limit is budgeted.
    """
    several = _heard_groups(heard)
    if several:
        parts = [
            heard_reading(_only(heard, group), source, belt, span, key=key, rate_error=rate_error)
            for group in several
        ]
        own = {k: part.plucks[k] for part, group in zip(parts, several, strict=True) for k in group}
        plucks = (own.get(k, pluck) for k, pluck in enumerate(parts[0].plucks))
        return _divided(parts, several, plucks)
    used = [p.pitch for p in heard.plucks if p.used and p.pitch is not None]
    blank = Reading(source=source, belt=belt, span=span, steady_hz=heard.steady_hz)
    if not used:
        reason = heard.reason or "no pluck could be read"
        blank = replace(blank, plucks=_plucks(heard, None, None))
        return replace(blank, warnings=tuple(dict.fromkeys((reason, *heard.warnings))))
    u_clock = rate_error.u if rate_error else rectangular(CLOCK)
    tone = _tone(used, f"pluck:{key or source}", u_clock)
    said = (*heard.warnings, *(w for p in used for w in p.warnings))
    told = tone.inharmonicity
    reading = replace(
        blank,
        partials_hz=_partials(used, tone.frequency.value),
        inharmonicity=told.value if told else None,
        inharmonicity_u=told.u if told else None,
        top=tone.top if told else None,
        warnings=said,
    )
    reading = _with_tone(reading, tone)
    if rate_error is not None and reading.tension is not None:
        # the tone was lowered by 1 + e where the rate was put right, the tension by its square
        clock = Correction("clock", 100 * ((1 + rate_error.value) ** -2 - 1))
        reading = replace(reading, corrections=(*reading.corrections, clock))
    return replace(reading, plucks=_plucks(heard, reading.frequency, reading.tension))


def _plucks(
    heard: PitchResult, frequency: Estimate | None, tension: Estimate | None
) -> tuple[PluckReading, ...]:
    return tuple(
        PluckReading(
            onset_s=p.onset_s,
            frequency_hz=p.pitch.frequency_hz if p.pitch else None,
            frequency_u_hz=p.pitch.frequency_u_hz if p.pitch else None,
            tension_n=_alone(p.pitch.frequency_hz, frequency, tension) if p.pitch else None,
            used=p.used,
            reason=p.reason,
        )
        for p in heard.plucks
    )


def _alone(one_hz: float, frequency: Estimate | None, tension: Estimate | None) -> float | None:
    """Return about what one pluck alone would give: near the mean, T goes with f squared."""
    if frequency is None or tension is None:
        return None
    return tension.value * (one_hz / frequency.value) ** 2


def _heard_groups(heard: PitchResult) -> tuple[tuple[int, ...], ...]:
    """Return the groups of plucks that agree with each other, where there are several."""
    told = [(k, p.pitch) for k, p in enumerate(heard.plucks) if p.used and p.pitch is not None]
    hertz, u_hz = [p.frequency_hz for _, p in told], [p.frequency_u_hz for _, p in told]
    found = agreeing(groups(hertz, u_hz))
    return tuple(tuple(told[i][0] for i in group) for group in found) if len(found) > 1 else ()


def _only(heard: PitchResult, group: Sequence[int]) -> PitchResult:
    """Return what was heard with the plucks of one group alone in use."""
    plucks = (p if k in group else replace(p, used=False) for k, p in enumerate(heard.plucks))
    return replace(heard, plucks=tuple(plucks))


def _divided(
    parts: Sequence[Reading], several: Sequence[tuple[int, ...]], plucks: Iterable[PluckReading]
) -> Reading:
    """Return the reading of plucks of several tones: what each group says, and no answer.

    Parameters
    ----------
    parts
        What each group alone would give.
    several
        Which plucks are of which group.
    plucks
        All of them.
    """
    found = tuple(
        PluckGroup(group, part.frequency, part.tension)
        for part, group in zip(parts, several, strict=True)
        if part.frequency is not None
    )
    first = parts[0]
    said = dict.fromkeys((_why_divided(found), *(w for part in parts for w in part.warnings)))
    return Reading(
        source=first.source,
        belt=first.belt,
        span=first.span,
        plucks=tuple(plucks),
        warnings=tuple(said),
        echoes=tuple(words for words in first.echoes if words != PROPAGATED),
        steady_hz=first.steady_hz,
        groups=found,
    )


def _why_divided(found: Sequence[PluckGroup]) -> str:
    """Return why several tones have no mean, and what to do about it."""
    *others, last = (str(group) for group in found)
    told = f"{', '.join(others)} and {last} differ by more than one hand scatters"
    tones = [group.frequency.value for group in found]
    ratios = (overtone(one, other) for one, other in pairwise(tones))
    ratio = next((r for r in ratios if r is not None), None)
    if ratio is not None:
        high, low = ratio
        return (
            f"{told}, near the ratio {high}:{low}: probably partials {low} and {high} of one "
            "string; find out which tone is the fundamental and give it alone"
        )
    return (
        f"{told}: the belt was turned or moved between them, or another string was plucked; "
        "give one group at a time"
    )


def typed_reading(
    given: Typed, belt: Belt | None = None, span: Span | None = None, *, key: str = "typed"
) -> Reading:
    """Return the reading of frequencies measured by hand; `key` tells several of them apart."""
    several = groups(given.values_hz, given.u_hz)
    if len(several) > 1:
        parts = [typed_reading(given.only(group), belt, span, key=key) for group in several]
        placed = {
            k: pluck
            for part, group in zip(parts, several, strict=True)
            for k, pluck in zip(group, part.plucks, strict=True)
        }
        return _divided(parts, several, (placed[k] for k in sorted(placed)))
    key = f"pluck:{key}"
    frequency = frequency_of(given.values_hz, [0.0] * len(given.values_hz), key)
    # The instrument's own error is the same in every reading and does not average away.
    instrument = Part("typed frequency", f"{key}/instrument", max(given.u_hz))
    tone = Tone(frequency.with_part(instrument), key=key)
    reading = _with_tone(Reading(source="typed", belt=belt, span=span, echoes=given.echoes), tone)
    plucks = tuple(
        PluckReading(None, f, u, _alone(f, frequency, reading.tension), used=True, reason=None)
        for f, u in zip(given.values_hz, given.u_hz, strict=True)
    )
    return replace(reading, plucks=plucks)


def _with_tone(reading: Reading, tone: Tone) -> Reading:
    """Return the reading with its tone and, where belt and span are known, its tension."""
    reading = replace(reading, frequency=tone.frequency)
    if reading.belt is None or reading.span is None:
        missing = [n for n, x in (("--belt", reading.belt), ("--span", reading.span)) if x is None]
        return _saying(reading, f"no tension without belt and span: give {' and '.join(missing)}")
    try:
        return _with_tension(reading, strung(tone, reading.belt, reading.span))
    except CannotTell as error:
        return replace(reading, warnings=(error.message, *reading.warnings))


def _with_tension(reading: Reading, found: StrandTension) -> Reading:
    assert reading.belt is not None
    key = f"strand:{reading.belt.name}/{reading.source}"
    limit = reading.span.strand_limit if reading.span else USUAL_STRAND_LIMIT
    reading = replace(
        reading,
        tension=found.tension,
        preload=one_strand(found.tension, limit, key=key),
        corrections=found.corrections,
    )
    if not limit.known and _rules(reading.preload, STRAND_LINE):
        words = f"{STRANDS_ALIKE} {limit.value_n:g} N at most ({limit.basis})"
        reading = replace(reading, echoes=(*reading.echoes, words))
    if found.tension.ruled_by_few:
        reading = replace(reading, echoes=(*reading.echoes, PROPAGATED))
    return _saying(reading, *found.warnings)


def _saying(reading: Reading, *more: str) -> Reading:
    return replace(reading, warnings=tuple(dict.fromkeys((*reading.warnings, *more))))


def both_strands(
    a: Reading,
    b: Reading,
    names: tuple[str, str],
    sides: tuple[Estimate, Estimate] | None = None,
    *,
    one_strand_twice: bool = False,
) -> tuple[Reading, Reading]:
    """Return two readings that share the preload: both strands once, or one from each side.

    Parameters
    ----------
    a, b
        Readings of the two strands, or of one strand after arriving from either side.
    names
        What to call them.
    sides
        All of the loop that stands at each strand's tension, m, see
        `beltpitch.belts.parks.preload`; None where that is not known.
    one_strand_twice
        The two are of one strand, after arriving from either side.

    Raises
    ------
    CannotTell
        If either has no tension.
    """
    if a.tension is None or b.tension is None:
        silent = b if a.tension else a
        raise CannotTell(f"no preload: {silent.source} gave no tension; read that strand again")
    if one_strand_twice:
        shared, apart = preload_from_both_ways(a.tension, b.tension)
    else:
        shared, apart = preload(a.tension, b.tension, sides, key=f"loop:{a.source} + {b.source}")
    a, b = (replace(r, echoes=tuple(e for e in r.echoes if not _of_one(e))) for r in (a, b))
    return (
        replace(a, strand=names[0], preload=shared, strand_difference=apart),
        replace(b, strand=names[1], preload=shared, strand_difference=apart.scaled(-1.0)),
    )


def _of_one(words: str) -> bool:
    """Whether something was assumed only because one strand was read."""
    return words.startswith(STRANDS_ALIKE)


def _rules(estimate: Estimate | None, line: str) -> bool:
    """Whether a line makes a share of an estimate's variance that is worth naming."""
    if estimate is None:
        return False
    own = sum(p.u**2 for p in estimate.parts if p.name == line)
    return own >= WORTH_NAMING * estimate.u**2


def strands_too_far(reading: Reading) -> str:
    """Return a warning where the strands surely differ by more than motor and rails can hold."""
    apart = reading.strand_difference
    if apart is None:
        return ""
    limit = reading.span.strand_limit if reading.span else USUAL_STRAND_LIMIT
    most, why = (limit.value_n, limit.basis) if limit.known else (FAR_APART_N, limit.basis)
    low, high = apart.interval(COVERAGE)
    if max(low, -high) <= most:
        return ""
    return (
        f"the strands differ by {abs(apart.value):.1f} N, more than motor and rails can hold "
        f"({most:.2g} N, {why}): check that each has its own span, settle the axis, and read both "
        "again at one setting"
    )


def from_parks(a: Reading, b: Reading, travel: Estimate) -> Reading:
    """Return the tension that one strand's tones at two parks tell without any span.

    Parameters
    ----------
    a, b
        Readings of the same strand at the two parks, in either order.
    travel
        How far the carriage was moved between them, m.

    Raises
    ------
    CannotTell
        If either has no frequency, or the two cannot belong to one strand.
    RequestError
        If no belt was given.
    """
    if a.belt is None:
        raise RequestError("two parks need the belt's linear mass: give --belt or --linear-mass")
    if a.frequency is None or b.frequency is None:
        silent = b if a.frequency else a
        raise CannotTell(
            f"no tension from two parks: {silent.source} gave no frequency; read that park again"
        )
    if a.frequency.value > b.frequency.value:
        a, b = b, a
    assert a.belt is not None
    assert a.frequency is not None
    assert b.frequency is not None
    (long, short), dof = _one_scatter((a, b))
    (moved,) = _moved((a, b), (travel,))
    found = parked(long, short, moved, a.belt, a.span)
    found = replace(found, strung=_scattered_alike(found.strung, dof))
    clock = tuple(c for c in a.corrections if c.name == "clock")
    # A tape's span fits one park at most: each pluck stands beside its own park's mean instead.
    reading = _with_tension(_side_by_side((a, b), found.strung.tension), found.strung)
    reading = replace(reading, corrections=(*reading.corrections, *clock))
    said = [] if found.offset is None else [_offset_words(found.offset)]
    return _saying(reading, *said, *parsing.odd_teeth((travel,), a.belt))


def _moved(parks: Sequence[Reading], travels: Sequence[Estimate]) -> list[Estimate]:
    """Return travels with what the teeth of a pulley add to their doubt."""
    first = parks[0]
    assert first.belt is not None
    if first.belt.pitch_m is None:
        return list(travels)
    moved = []
    for travel, park in zip(travels, parks[1:], strict=True):
        key = f"contact:{first.source} + {park.source}"
        part = moved_contact(travel, first.belt.pitch_m, key=key)
        moved.append(travel.with_part(part) if part else travel)
    return moved


def _one_scatter(parks: Sequence[Reading]) -> tuple[list[Estimate], float]:
    """Return one strand's tones at several parks, with the scatter of all plucks, and its dof.

    The same hand plucks the same strand: its relative scatter is pooled over the parks (GUM 4.2.4),
    which tells it with more degrees of freedom than each park alone. No park is known better than
    its plucks' own fits.
    """
    tones = [park.frequency for park in parks if park.frequency is not None]
    used = [[p for p in park.plucks if p.used and p.frequency_hz] for park in parks]
    each = [
        (p.frequency_hz / tone.value - 1 if p.frequency_hz else 0.0)
        for tone, plucks in zip(tones, used, strict=True)
        for p in plucks
    ]
    chi2 = sum((off / PLUCK_SCATTER) ** 2 for off in each)
    variance, dof = _scatter(chi2, len(each) - len(parks))
    found = []
    for tone, plucks in zip(tones, used, strict=True):
        n, fit = len(plucks), math.hypot(*(p.frequency_u_hz or 0.0 for p in plucks))
        u = max(PLUCK_SCATTER * math.sqrt(variance / n) * tone.value, fit / n)
        parts = (replace(p, u=u, dof=dof) if p.name == SCATTER_LINE else p for p in tone.parts)
        found.append(Estimate(tone.value, tuple(parts)))
    return found, dof


def _scattered_alike(found: StrandTension, dof: float) -> StrandTension:
    """Return the tension with the plucks of all parks as one part: their scatter is known once."""
    plucks = [p for p in found.tension.parts if p.name == SCATTER_LINE]
    if not plucks:  # typed, all alike
        return found
    rest = tuple(p for p in found.tension.parts if p.name != SCATTER_LINE)
    key = " + ".join(p.key for p in plucks)
    whole = Part(SCATTER_LINE, key, math.hypot(*(p.u for p in plucks)), dof)
    return replace(found, tension=Estimate(found.tension.value, (whole, *rest)))


def from_travels(readings: Sequence[Reading], travels: Sequence[Estimate]) -> Reading:
    """Return what one strand's tones at several parks tell: with three or more, stiffness too.

    Parameters
    ----------
    readings
        Of the same strand, that of the longest span first.
    travels
        How far the carriage was moved from the first park to each of the others, m.

    Raises
    ------
    CannotTell
        If one has no frequency, or they cannot belong to one strand.
    RequestError
        If no belt was given, or there is not one travel for each further park.
    """
    if len(readings) != len(travels) + 1:
        raise RequestError(
            f"{len(readings)} parks need {len(readings) - 1} travels from the first; got "
            f"{len(travels)}"
        )
    if len(travels) == 1:
        return from_parks(readings[0], readings[1], travels[0])
    first = readings[0]
    if first.belt is None:
        raise RequestError("parks need the belt's linear mass: give --belt or --linear-mass")
    for each in readings:
        if each.frequency is None:
            raise CannotTell(
                f"no tension from parks: {each.source} gave no frequency; read that park again"
            )
    tones, dof = _one_scatter(readings)
    found = parked_often(tones, _moved(readings, travels), first.belt, first.span)
    found = replace(found, strung=_scattered_alike(found.strung, dof))
    reading = _with_tension(_side_by_side(readings, found.strung.tension), found.strung)
    ei, u = found.stiffness.value * N_MM2, found.stiffness.u * N_MM2
    said = [f"these parks tell a bending stiffness of {ei:.3g} N mm^2 (u {u:.2g} N mm^2)"]
    if found.offset is not None:
        said.append(_offset_words(found.offset))
    if found.misfit is not None and found.misfit > MOST_MISFIT:
        said.append(
            f"the parks contradict each other ({found.misfit:.1f} times their doubts): the tension "
            "was not the same at all of them, or a travel is wrong; settle the axis and read again"
        )
    return _saying(reading, *said, *parsing.odd_teeth(travels, first.belt))


def _side_by_side(parks: Sequence[Reading], tension: Estimate) -> Reading:
    """Return the first park's reading with the plucks of all, each beside its own park's mean."""
    plucks = tuple(
        replace(p, tension_n=_alone(p.frequency_hz, park.frequency, tension))
        if p.frequency_hz is not None
        else p
        for park in parks
        for p in park.plucks
    )
    return replace(
        parks[0],
        source=" + ".join(park.source for park in parks),
        plucks=plucks,
        warnings=(),
        echoes=tuple(words for words in parks[0].echoes if words != PROPAGATED),
    )


def _offset_words(offset: Estimate) -> str:
    mm, u = offset.value * 1000, offset.u * 1000
    return f"the strand vibrates over {mm:+.1f} mm (u {u:.1f} mm) against the tape's span"


# --- where the tone must lie --------------------------------------------------------------------


def expected_range(
    belt: Belt | None, span: Span | None, asked: FrequencyRange | None
) -> FrequencyRange:
    """Return where the fundamental must lie: as asked, within what belt and span can carry.

    Raises
    ------
    RequestError
        If nothing that was asked for can be carried.
    """
    limits = asked or FrequencyRange()
    able = carried(belt, span) if belt and span else None
    if able is None or belt is None:
        return limits
    low, high = max(able[0], limits.low_hz), min(able[1], limits.high_hz)
    if low >= high:
        raise RequestError(
            f"{belt.name} over this span sounds between {able[0]:.3g} and {able[1]:.3g} Hz, but "
            f"{limits.low_hz:.4g} to {limits.high_hz:.4g} Hz is searched: check belt and span, or "
            "give --from and --to"
        )
    why = f"{belt.name} over this span can carry {able[0]:.3g} to {able[1]:.3g} Hz"
    return FrequencyRange(low, high, why=f"{asked.why}; {why}" if asked else why)


# --- the whole way ------------------------------------------------------------------------------


def read(
    path: str | Path,
    *,
    belt: Belt | None = None,
    span: Span | str | None = None,
    ends: str = "pulley",
    expected: FrequencyRange | None = None,
    limits: FrequencyRange | None = None,
    key: str | None = None,
    rate_error: Estimate | None = None,
) -> Reading:
    """Read a recording of a plucked belt.

    Parameters
    ----------
    path
        A sound file, or a video with sound.
    belt
        As `beltpitch.belts` returns it; None for the frequency alone.
    span
        Such as "412 +/- 1 mm"; None for the frequency alone.
    ends
        What holds the span's ends, such as "pulley,clamp".
    expected
        Where the frequency must lie, within what belt and span can carry.
    limits
        The same, whatever they can carry: at a further park the strand is another.
    key
        Whose error the plucks' is, if file names do not tell readings apart.
    rate_error
        Of the sound device, as `beltpitch.audio.clock_error` found it; it is corrected.

    Raises
    ------
    SourceError
        If the file cannot be opened or is no sound.
    RequestError
        If span or range cannot be.
    """
    free = parsing.span(span, belt, ends=ends) if isinstance(span, str) else span
    limits = limits or expected_range(belt, free, expected)
    recording = open_recording(path)
    _, heard = _heard_in(recording, limits, rate_error)
    # files of one name in two folders are two measurements
    own = key or str(path)
    reading = heard_reading(heard, recording.name, belt, free, key=own, rate_error=rate_error)
    note = [recording.channel_note] if recording.channel_note else []
    said = (*reading.warnings, *note, *recording.warnings)
    echoes = parsing.echoes(span=span) if isinstance(span, str) else ()
    if limits != FrequencyRange():
        searched = f"looked for between {limits.low_hz:.3g} and {limits.high_hz:.3g} Hz"
        echoes = (*echoes, f"{searched}: {limits.why}")
    return replace(reading, warnings=said, echoes=(*reading.echoes, *echoes))


def heard_in(path: str | Path, expected: FrequencyRange) -> tuple[list[Pluck], PitchResult]:
    """Return the plucks of a recording with what was heard of them.

    Raises
    ------
    SourceError
        If the file cannot be opened or is no sound.
    """
    return _heard_in(open_recording(path), expected, None)


def _heard_in(
    recording: Recording, expected: FrequencyRange, rate_error: Estimate | None
) -> tuple[list[Pluck], PitchResult]:

    true_hz = recording.rate_hz / (1 + (rate_error.value if rate_error else 0.0))
    listener = PluckDetector(true_hz)
    blocks = (Block(b.samples, true_hz, b.overflow) for b in recording)
    plucks = [pluck for block in blocks for pluck in listener.feed(block)]
    plucks += listener.finish()
    return plucks, hear(plucks, expected)
