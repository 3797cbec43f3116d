"""Frequency + belt + span -> tension of the strand, with its budget and its corrections.

Here the belt's figures meet the mechanics: what is known is corrected for, what is not known is
said, and every input's doubt becomes a part of the tension (JCGM 100:2008, 5.1.3).

Conventions: SI floats; the frequency is mode 1; the inharmonicity is B of the stiff series.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypedDict

from beltpitch.belts.bending_stiffness import stiffness
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.corrections import (
    Correction,
    air_estimate,
    amplitude_u,
    corrections,
    glide_u,
    sag_warning,
)
from beltpitch.belts.end_conditions import ends
from beltpitch.belts.mechanics import carried_range, partials, tension
from beltpitch.belts.parks import two_parks
from beltpitch.belts.span import Span
from beltpitch.belts.strand import Strand
from beltpitch.belts.travels import Given, several_parks
from beltpitch.errors import CannotTell
from beltpitch.uncertainty import Estimate, Part, combine, difference

USUAL_AIR, USUAL_AIR_DOUBT = 0.007, 0.5  # small belts: 0.4 to 1.1 %, physics notes, section 2
ANY_SPAN = Span(Estimate(1.0), ("pulley", "pulley"), "none")  # two parks do not use the span
SURE_ABOVE_ZERO = 0.95  # coverage at which a tension must be told from none
STIFFNESS_ASTRAY = 5.0  # heard over catalogue beyond which belt or span is in question
ENOUGH_PARTIALS = 4  # to say so: of fewer, one that is no partial at all decides


@dataclass(frozen=True, slots=True)
class Tone:
    """What the sound told, as plain numbers.

    Parameters
    ----------
    frequency
        Mode 1, Hz.
    inharmonicity
        B of the stiff series; None where the partials do not tell.
    top, count
        Highest partial that B rests on, and how many it rests on.
    glide
        Share by which the plucks began sharp; None where the glide was not followed.
    key
        Whose error the plucks' is.
    """

    frequency: Estimate
    inharmonicity: Estimate | None = None
    top: int = 1
    glide: float | None = None
    key: str = "pluck"
    count: int = 4


@dataclass(frozen=True, slots=True)
class StrandTension:
    """A strand's tension, with what was corrected and what is to be said about it."""

    tension: Estimate
    corrections: tuple[Correction, ...]
    warnings: tuple[str, ...]


class Terms(TypedDict):
    """The inputs that every sensitivity of the mechanics is taken by, beside tone and stiffness."""

    span: Estimate
    linear_mass: Estimate
    air: Estimate
    stretch: Estimate | None
    ends: tuple[Estimate, Estimate]


@dataclass(frozen=True, slots=True)
class Inputs:
    """Every input of the mechanics with its doubt; values agree with `strand`."""

    strand: Strand
    stiffness: Estimate | None
    terms: Terms
    warnings: tuple[str, ...]


def inputs(belt: Belt, span: Span) -> Inputs:
    """Return what the mechanics needs of belt and span; what is unknown is said."""
    air, warnings = _air(belt)
    bend, stretch = belt.ei_n_m2, belt.ea_n
    if bend is None:
        warnings += (
            "bending stiffness of this belt is not known and is left uncorrected: on a short span "
            "the true tension is lower",
        )
    held = tuple(holding for _, holding in ends(span.ends, belt.name))
    strand = Strand(
        span_m=span.length_m,
        linear_mass_kg_per_m=belt.linear_mass.value,
        stiffness_n_m2=bend.value if bend else 0.0,
        hold_a=held[0].value,
        hold_b=held[1].value,
        air_kg_per_m=air.value,
        stretch_n=stretch.value if stretch else math.inf,
    )
    terms = Terms(
        span=span.length,
        linear_mass=belt.linear_mass,
        air=air,
        stretch=stretch.estimate("stretch", f"belt:{belt.name}/stretch") if stretch else None,
        ends=(held[0], held[1]),
    )
    own = bend.estimate("stiffness", f"belt:{belt.name}/stiffness") if bend else None
    return Inputs(strand, own, terms, warnings)


def _air(belt: Belt) -> tuple[Estimate, tuple[str, ...]]:
    if belt.width_m is not None:
        return air_estimate(belt.width_m), ()
    share = USUAL_AIR * belt.linear_mass.value
    air = Estimate.single(share, USUAL_AIR_DOUBT * share, name="air", key="air")
    said = f"width not given: air carried along taken as {USUAL_AIR:.1%} of the belt's mass"
    return air, (said,)


def strung(tone: Tone, belt: Belt, span: Span) -> StrandTension:
    """Turn a tone into the tension of the strand that was plucked.

    Raises
    ------
    CannotTell
        If the strand would sound as high with hardly any tension in it, or the doubt is as large
        as the tension.
    """
    known, doubts = _with_heard_stiffness(inputs(belt, span), tone)
    found = tension(known.strand, tone.frequency.value)
    terms = found.terms(frequency=tone.frequency, stiffness=known.stiffness, **known.terms)
    whole = combine(found.value, terms).with_part(_amplitude(tone, found.value, known.strand))
    if whole.interval(SURE_ABOVE_ZERO)[0] <= 0:
        ruling = whole.budget()[0].name
        raise CannotTell(
            f"this tone could mean next to no tension or twice {found.value:.2g} N: the doubt of "
            f"the {ruling} is as large as the tension; park for a longer span and pluck again"
        )
    sag = sag_warning(known.strand, found.value)
    # what belies the whole reading is said first
    said = (*_overload(found.value, belt), *known.warnings, *doubts, *([sag] if sag else []))
    made = corrections(known.strand, tone.frequency.value, glide=tone.glide or 0.0)
    return StrandTension(whole, made, said)


def _with_heard_stiffness(known: Inputs, tone: Tone) -> tuple[Inputs, tuple[str, ...]]:
    """Return inputs with the stiffness that is heard, where that tells more than the catalogue."""
    told = tone.inharmonicity
    if told is None or told.value <= 0:
        return known, ()
    try:
        found = stiffness(known.strand, tone.frequency.value, told.value, tone.top)
    except CannotTell:
        return known, ()
    terms = found.terms(frequency=tone.frequency, inharmonicity=told, **known.terms)
    heard, own = combine(found.value, terms), known.stiffness
    if heard.u >= heard.value or (own and heard.u / heard.value >= own.u / own.value):
        return known, ()
    strand = replace(known.strand, stiffness_n_m2=heard.value)
    better = replace(known, strand=strand, stiffness=heard)
    if own is None:
        said = "bending stiffness taken from the partials that were heard"
        return replace(better, warnings=()), (said,)
    times = heard.value / own.value
    if 1 / STIFFNESS_ASTRAY < times < STIFFNESS_ASTRAY:
        return better, ()
    if tone.count < ENOUGH_PARTIALS:
        return known, ()
    return better, (
        f"the partials tell a bending stiffness {times:.2g} times the catalogue's: check that belt "
        "and span are the right ones",
    )


def _amplitude(tone: Tone, tension_n: float, strand: Strand) -> Part:
    if tone.glide is None:
        u = amplitude_u(tension_n, strand.stretch_n)
    else:
        u = glide_u(tension_n, tone.glide)
    return Part("amplitude", f"{tone.key}/amplitude", u)


def _overload(tension_n: float, belt: Belt) -> tuple[str, ...]:
    if belt.break_n is None or tension_n <= belt.break_n.value:
        return ()
    return ("that is more than this belt can bear: belt, span or frequency is not what was said",)


@dataclass(frozen=True, slots=True)
class Parked:
    """A strand's tension from two parks, and how its length differs from the tape's."""

    strung: StrandTension
    offset: Estimate | None


def parked(
    long: Estimate, short: Estimate, travel: Estimate, belt: Belt, tape: Span | None
) -> Parked:
    """Return the tension that the tones at two parks tell without the span.

    Parameters
    ----------
    long, short
        Mode 1 in Hz with the longer and with the shorter span.
    travel
        How far the carriage was moved, m.
    belt
        Its masses and stiffness.
    tape
        Tape's span at the longer park, for the offset; None where it was not measured.

    Raises
    ------
    CannotTell
        If the tone did not rise as the span became shorter.
    """
    known = inputs(belt, tape or ANY_SPAN)
    parks = two_parks(known.strand, travel.value, long.value, short.value)
    found = parks.estimate(
        travel=travel,
        long=long,
        short=short,
        stiffness=known.stiffness,
        linear_mass=known.terms["linear_mass"],
        air=known.terms["air"],
        stretch=known.terms["stretch"],
    )
    strand = replace(known.strand, span_m=parks.span_m, hold_a=0.0, hold_b=0.0)
    made = corrections(strand, long.value)
    offset = None
    if tape is not None:
        offset = parks.offset(tape.length, travel=travel, long=long, short=short)
    return Parked(StrandTension(found, made, known.warnings), offset)


@dataclass(frozen=True, slots=True)
class PositionsTension:
    """What three parks or more tell: tension, bending stiffness, offset from the tape, misfit."""

    strung: StrandTension
    stiffness: Estimate
    offset: Estimate | None
    misfit: float | None


def parked_often(
    tones: Sequence[Estimate], travels: Sequence[Estimate], belt: Belt, tape: Span | None
) -> PositionsTension:
    """Return what the tones at several parks tell, stiffness too.

    Parameters
    ----------
    tones
        Mode 1 in Hz, that of the longest span first.
    travels
        How far the carriage was moved from the first park to each of the others, m.
    belt
        Its masses; a stiffness that is known of it is one more reading.
    tape
        Tape's span at the first park; None where it was not measured.

    Raises
    ------
    CannotTell
        If the tones do not tell the stiffness, or do not rise as the span becomes shorter.
    """
    known = inputs(belt, tape or ANY_SPAN)
    far = max(range(len(travels)), key=lambda i: travels[i].value)
    plain = two_parks(known.strand, travels[far].value, tones[0].value, tones[far + 1].value)
    first = tape.length if tape else Estimate(plain.span_m)
    spans = [first, *(difference(first, travel) for travel in travels)]
    if min(span.value for span in spans) <= 0:
        raise CannotTell(
            "a travel is longer than the span at the first park: check span and travels"
        )
    given = Given(
        linear_mass=known.terms["linear_mass"],
        air=known.terms["air"],
        stretch=known.terms["stretch"],
        ends=known.terms["ends"],
        stiffness=known.stiffness,
    )
    found = several_parks(known.strand, spans, tones, given)
    whole = replace(
        known.strand,
        span_m=first.value + found.offset.value,
        stiffness_n_m2=found.stiffness.value,
    )
    made = corrections(whole, tones[0].value)
    told = StrandTension(found.tension, made, known.warnings if known.stiffness else ())
    return PositionsTension(told, found.stiffness, found.offset if tape else None, found.misfit)


def carried(belt: Belt, span: Span) -> tuple[float, float] | None:
    """Return the lowest and highest fundamental in Hz this belt can carry; None if not known."""
    if belt.break_n is None:
        return None
    return carried_range(inputs(belt, span).strand, belt.break_n.value)


@dataclass(frozen=True, slots=True)
class Aim:
    """What to hear at a wanted tension: mode 1 with its doubt, and the partials above it."""

    tension_n: float
    frequency: Estimate
    partials_hz: tuple[float, ...]
    corrections: tuple[Correction, ...]
    warnings: tuple[str, ...]


def aim(tension_n: float, belt: Belt, span: Span, count: int = 4) -> Aim:
    """Return the frequency and partials to expect at a tension.

    The inverse of `strung`, and so are its sensitivities: ``df/dx = -(dT/dx)/(dT/df)``.

    Raises
    ------
    RequestError
        If the tension is not above 0.
    """
    known = inputs(belt, span)
    tones = partials(known.strand, tension_n, count)
    back = tension(known.strand, tones[0])
    per_hz = tension_n * back.log.frequency / tones[0]
    terms = back.terms(stiffness=known.stiffness, **known.terms)
    sounded = combine(tones[0], [(-c / per_hz, x) for c, x in terms])
    made = corrections(known.strand, tones[0])
    return Aim(tension_n, sounded, tones, made, known.warnings)
