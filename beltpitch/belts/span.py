"""The free span of a strand: from a tape, or from two pulleys and their centre distance.

The span is the free length between the last points of contact. For an open belt on two pulleys of
pitch diameters ``d <= D`` at centre distance C, with ``g = (D - d)/2`` and ``h = asin(g/C)``::

    free strand    t = sqrt(C^2 - g^2)
    belt length    L = 2 t + (pi - 2 h) d/2 + (pi + 2 h) D/2
    wrap           pi - 2 h on the small pulley, pi + 2 h on the large one
    teeth in mesh  floor(z wrap / 2 pi)

(GB/T 11362 / ISO 5295 for L and wrap; SDP/SI D790 for t.) Where a strand runs to a clamp or over a
flat idler none of this applies: the tape measures it.

Sensitivities are exact: ``dt/dC = C/t``, ``dt/dD = -g/2t``, ``dL/dC = 2 t/C``,
``dL/dD = pi/2 + h``, ``dL/dd = pi/2 - h``; those of the inverse follow from them.

Conventions: metres, radians, hertz; ``u`` is one standard uncertainty. Errors of the tape carry the
key ``tape``, so that two spans from one tape share them. The last contact on toothed pulleys is
its own line of the budget (`beltpitch.belts.end_conditions`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from beltpitch.belts.end_conditions import KINDS, last_contact
from beltpitch.errors import RequestError
from beltpitch.uncertainty import Estimate, combine

LONGEST_M = 100.0  # beyond this a length is a slip of the pen or of the unit
MESH_EPSILON = 1e-9  # so that a half turn of an even pulley counts its last tooth
ROOT_STEPS = 200
TAPE = "tape"
SPAN_LINE = "span"

# Advice. How a small built-in microphone falls off at low frequency: common practice, no source.
WEAK_BELOW_HZ = 100.0
VERY_WEAK_BELOW_HZ = 50.0
# How near to a mains line a pluck of about a second can still be told from it: common practice.
MAINS_MARGIN_HZ = 2.0
MAINS_HZ = (50.0, 60.0)
PRACTICE = "common practice, no source"
FEW_TEETH = 6  # SDP/SI and GB/T 11362: fewer than six teeth in mesh carry less
WHOLE_MM = 100.0  # from here on, tenths of a millimetre only clutter a sentence
SHORT_IN_WIDTHS = 4.0  # shortest spans of robot makers' tables: 4.2 widths


@dataclass(frozen=True, slots=True)
class StrandLimit:
    """How far the tensions of the two strands at a carriage may differ, motors off.

    Parameters
    ----------
    value_n
        The limit, in N.
    basis
        Where it comes from, in words.
    known
        Whether it was given; else it is the usual figure.
    """

    value_n: float
    basis: str
    known: bool = True


# A small motor's detent torque over its pulley's radius is some newtons.
USUAL_STRAND_LIMIT = StrandLimit(3.0, "a judgement, no source", known=False)


@dataclass(frozen=True, slots=True)
class Span:
    """A free length of belt between two ends.

    Parameters
    ----------
    length
        Between the last points of contact, in m. Its parts are ``span`` (key ``tape``) and, on
        toothed pulleys, ``last contact``.
    ends
        Kinds of the two ends, as in `beltpitch.belts.end_conditions`.
    origin
        How it was found: "tape" or "pulleys".
    strand_limit
        How far its tension may differ from that of the other strand.
    """

    length: Estimate
    ends: tuple[str, str]
    origin: str
    strand_limit: StrandLimit = USUAL_STRAND_LIMIT

    @property
    def length_m(self) -> float:
        """The free length."""
        return self.length.value


@dataclass(frozen=True, slots=True)
class BeltPulley:
    """A pulley by its pitch diameter.

    Parameters
    ----------
    diameter
        Pitch diameter in m, of the circle the cords run on.
    teeth
        Number of teeth; None for a plain one.
    pitch_m
        Tooth spacing; None for a plain one.
    """

    diameter: Estimate
    teeth: int | None = None
    pitch_m: float | None = None

    @property
    def diameter_m(self) -> float:
        """Pitch diameter."""
        return self.diameter.value

    @property
    def kind(self) -> str:
        """What it is as the end of a strand."""
        return "idler" if self.teeth is None else "pulley"

    def mesh(self, wrap_rad: float) -> int | None:
        """Return the whole number of teeth in mesh over this wrap; None for a plain pulley."""
        if self.teeth is None:
            return None
        return math.floor(self.teeth * wrap_rad / (2 * math.pi) + MESH_EPSILON)


@dataclass(frozen=True, slots=True)
class Loop:
    """An open belt on two pulleys.

    Parameters
    ----------
    a, b
        The pulleys, as given.
    centre
        Centre distance in m.
    belt_length
        Length of the belt along its cords in m.
    span
        The free strand.
    wrap_a_rad, wrap_b_rad
        Angles of wrap.
    """

    a: BeltPulley
    b: BeltPulley
    centre: Estimate
    belt_length: Estimate
    span: Span
    wrap_a_rad: float
    wrap_b_rad: float

    @property
    def mesh_a(self) -> int | None:
        """Teeth of pulley a in mesh."""
        return self.a.mesh(self.wrap_a_rad)

    @property
    def mesh_b(self) -> int | None:
        """Teeth of pulley b in mesh."""
        return self.b.mesh(self.wrap_b_rad)

    @property
    def few_teeth(self) -> bool:
        """Whether a toothed pulley has fewer than six teeth in mesh."""
        return any(m is not None and m < FEW_TEETH for m in (self.mesh_a, self.mesh_b))


def from_tape(
    length_m: float,
    u_m: float,
    *,
    ends: tuple[str, str] = ("pulley", "pulley"),
    pitch_m: float | None = None,
    positions: int = 1,
    contact_key: str = "contact",
) -> Span:
    """Return a span measured with a tape.

    Parameters
    ----------
    length_m, u_m
        As measured, with its standard uncertainty.
    ends
        Kinds of the two ends: pulley, idler, clamp or pinned.
    pitch_m
        Tooth spacing; None leaves the last contact out.
    positions
        Number of pulley positions the readings were spread over.
    contact_key
        Whose error the last contact is: one for each place a pulley is parked.

    Raises
    ------
    RequestError
        If the length, its uncertainty or an end makes no sense.
    """
    _length("span", length_m)
    if not 0 <= u_m < length_m:
        raise RequestError(
            f"span {length_m * 1000:g} mm with a doubt of {u_m * 1000:g} mm: the doubt must be "
            "smaller than the span"
        )
    for kind in ends:
        if kind not in KINDS:
            raise RequestError(f'end "{kind}" is not one of {", ".join(KINDS)}')
    length = Estimate.single(length_m, u_m, name=SPAN_LINE, key=TAPE)
    return Span(_with_contact(length, ends, pitch_m, positions, contact_key), ends, "tape")


def _with_contact(
    length: Estimate, ends: tuple[str, str], pitch_m: float | None, positions: int, key: str
) -> Estimate:
    if pitch_m is None:
        return length
    _length("tooth spacing", pitch_m)
    if positions < 1:
        raise RequestError(f"pulley positions are {positions}, must be 1 or more")
    part = last_contact(ends, pitch_m, key=key, positions=positions)
    return length.with_part(part) if part.u else length


def toothed(teeth: int, pitch_m: float) -> BeltPulley:
    """Return a toothed pulley: pitch diameter ``z p / pi``, exact.

    Raises
    ------
    RequestError
        If teeth or pitch are not above zero.
    """
    if teeth < 1:
        raise RequestError(f"a pulley with {teeth} teeth: give the number of its teeth")
    _length("tooth spacing", pitch_m)
    return BeltPulley(Estimate(teeth * pitch_m / math.pi), teeth, pitch_m)


def plain(diameter_m: float, u_m: float = 0.0, *, key: str = "calliper") -> BeltPulley:
    """Return a pulley without teeth by its pitch diameter (over the cords).

    Raises
    ------
    RequestError
        If the diameter is not above zero.
    """
    _length("pulley diameter", diameter_m)
    return BeltPulley(Estimate.single(diameter_m, u_m, name="pulley diameter", key=key))


def outside(
    diameter_m: float, pitch_line_m: float, u_m: float = 0.0, *, key: str = "calliper"
) -> BeltPulley:
    """Return a pulley by the diameter over its teeth: pitch diameter = that + 2 u (ISO 5294).

    Parameters
    ----------
    diameter_m, u_m
        Over the teeth, measured with a calliper.
    pitch_line_m
        Pitch line differential u of the belt.
    key
        Whose error the calliper's is.

    Raises
    ------
    RequestError
        If the diameter is not above zero or the differential is negative.
    """
    _length("pulley diameter", diameter_m)
    if not pitch_line_m >= 0:
        raise RequestError(f"pitch line differential is {pitch_line_m * 1000:g} mm, below zero")
    return plain(diameter_m + 2 * pitch_line_m, u_m, key=key)


def from_pulleys(
    centre: Estimate,
    a: BeltPulley,
    b: BeltPulley,
    *,
    positions: int = 1,
    contact_key: str = "contact",
) -> Loop:
    """Return the loop of an open belt on two pulleys at a known centre distance.

    Parameters
    ----------
    centre
        Centre distance in m; its tape error should carry the key ``tape``.
    a, b
        The pulleys, in any order.
    positions, contact_key
        As for `from_tape`.

    Raises
    ------
    RequestError
        If the pulleys would overlap, or have different tooth spacing.
    """
    _length("centre distance", centre.value)
    pitch_m = _common_pitch(a, b)
    touching = (a.diameter_m + b.diameter_m) / 2
    if not centre.value > touching:
        raise RequestError(
            f"centre distance {_mm(centre.value)}: pulleys of {_mm(a.diameter_m)} and "
            f"{_mm(b.diameter_m)} would overlap; it must be above {_mm(touching)}"
        )
    c = centre.value
    g = (b.diameter_m - a.diameter_m) / 2  # signed: the wraps and slopes follow its sign
    t = math.sqrt(c**2 - g**2)
    h = math.asin(g / c)
    free = combine(t, [(c / t, centre), (-g / (2 * t), b.diameter), (g / (2 * t), a.diameter)])
    kinds = (a.kind, b.kind)
    length = combine(
        open_length(c, a.diameter_m, b.diameter_m),
        [
            (2 * t / c, centre),
            (math.pi / 2 - h, a.diameter),
            (math.pi / 2 + h, b.diameter),
        ],
    )
    named = _with_contact(free.renamed(SPAN_LINE), kinds, pitch_m, positions, contact_key)
    span = Span(named, kinds, "pulleys")
    return Loop(a, b, centre, length, span, math.pi - 2 * h, math.pi + 2 * h)


def from_length(
    length: Estimate,
    a: BeltPulley,
    b: BeltPulley,
    *,
    positions: int = 1,
    contact_key: str = "contact",
) -> Loop:
    """Return the loop of a belt of known length: its centre distance is the exact root.

    Parameters
    ----------
    length
        Of the belt along its cords, in m.
    a, b, positions, contact_key
        As for `from_pulleys`.

    Raises
    ------
    RequestError
        If the belt is too short for the pulleys.
    """
    _length("belt length", length.value)
    small, big = sorted((a.diameter_m, b.diameter_m))
    low, high = (small + big) / 2, length.value / 2
    shortest = open_length(low, small, big)
    if not length.value > shortest:
        raise RequestError(
            f"a belt of {_mm(length.value)} is too short for pulleys of {_mm(small)} and "
            f"{_mm(big)}: they need more than {_mm(shortest)}"
        )
    for _ in range(ROOT_STEPS):  # open_length rises with C: halve until nothing changes
        c = (low + high) / 2
        if c in (low, high):
            break
        low, high = (c, high) if open_length(c, small, big) < length.value else (low, c)
    c = (low + high) / 2
    g = (b.diameter_m - a.diameter_m) / 2
    h = math.asin(g / c)
    slope = c / (2 * math.sqrt(c**2 - g**2))  # dC/dL
    centre = combine(
        c,
        [
            (slope, length),
            (-slope * (math.pi / 2 - h), a.diameter),
            (-slope * (math.pi / 2 + h), b.diameter),
        ],
    )
    return from_pulleys(centre, a, b, positions=positions, contact_key=contact_key)


def open_length(centre_m: float, d1_m: float, d2_m: float) -> float:
    """Return the exact length of an open belt in m (GB/T 11362 / ISO 5295)."""
    g = (d2_m - d1_m) / 2
    h = math.asin(g / centre_m)
    straight = 2 * math.sqrt(centre_m**2 - g**2)
    return straight + (math.pi - 2 * h) * d1_m / 2 + (math.pi + 2 * h) * d2_m / 2


def _common_pitch(a: BeltPulley, b: BeltPulley) -> float | None:
    if a.pitch_m is not None and b.pitch_m is not None and a.pitch_m != b.pitch_m:
        raise RequestError(
            f"one pulley has {a.pitch_m * 1000:g} mm tooth spacing, the other "
            f"{b.pitch_m * 1000:g} mm: no belt fits both"
        )
    return a.pitch_m if a.pitch_m is not None else b.pitch_m


def _length(what: str, value_m: float) -> None:
    """Refuse a length that cannot be one."""
    if not (math.isfinite(value_m) and 0 < value_m <= LONGEST_M):
        raise RequestError(
            f"{what} is {value_m * 1000:g} mm, must be above 0 and at most {LONGEST_M:g} m"
        )


# --- advice: plain numbers and the sentence that goes with them ---------------------------------


@dataclass(frozen=True, slots=True)
class Caution:
    """Something about a span that should be said.

    Parameters
    ----------
    what
        "short", "narrow", "weak", "very weak" or "mains".
    words
        One sentence: what, why, what to do.
    moves_m
        By how much to change the span, positive to make it longer; several choices or none.
    known
        How the rule is known.
    """

    what: str
    words: str
    moves_m: tuple[float, ...]
    known: str


def short(span_m: float, *, least_m: float | None, width_m: float | None) -> Caution | None:
    """Return a caution if a span is too short for its belt.

    Parameters
    ----------
    span_m
        The span.
    least_m
        Shortest span advised for the belt (20 tooth pitches); None if not known.
    width_m
        Its width; below four widths a belt is no longer a string. None if not known.
    """
    if least_m is not None and span_m < least_m:
        return Caution(
            "short",
            f"the span of {_mm(span_m)} is short for this belt (20 teeth are {_mm(least_m)}): "
            "stiffness and ends weigh more than they are known; park the carriage farther away",
            (least_m - span_m,),
            "from memory",
        )
    if width_m is not None and span_m < SHORT_IN_WIDTHS * width_m:
        wanted = SHORT_IN_WIDTHS * width_m
        return Caution(
            "narrow",
            f"the span of {_mm(span_m)} is less than four belt widths ({_mm(wanted)}): the belt "
            "bends as a plate; park the carriage farther away",
            (wanted - span_m,),
            "derived here",
        )
    return None


def weak(frequency_hz: float, span_m: float, *, least_m: float | None = None) -> Caution | None:
    """Return a caution if a laptop's microphone hardly hears the fundamental.

    Parameters
    ----------
    frequency_hz
        Expected fundamental at this span.
    span_m
        The span; the frequency goes as one over it.
    least_m
        Shortest span advised for the belt: no move below it is proposed.
    """
    if frequency_hz >= WEAK_BELOW_HZ:
        return None
    very = frequency_hz < VERY_WEAK_BELOW_HZ
    wanted = max(span_m * frequency_hz / WEAK_BELOW_HZ, least_m or 0.0)
    move = wanted - span_m
    what = "very weak" if very else "weak"
    words = (
        f"at about {frequency_hz:.3g} Hz the tone is {what} in a laptop's microphone "
        f"(below {WEAK_BELOW_HZ:g} Hz)"
    )
    if move >= 0:
        return Caution(what, f"{words}; hold the microphone close", (), PRACTICE)
    return Caution(
        what,
        f"{words}: make the span {_mm(-move)} shorter, to {_mm(wanted)}, or hold the microphone "
        "close",
        (move,),
        PRACTICE,
    )


def mains(
    frequency_hz: float, span_m: float, *, mains_hz: tuple[float, ...] = MAINS_HZ
) -> Caution | None:
    """Return a caution if the tone would fall on a mains line or one of its harmonics.

    Parameters
    ----------
    frequency_hz
        Expected fundamental at this span.
    span_m
        The span; the frequency goes as one over it.
    mains_hz
        Frequencies of the mains to think of; both where the country is not known.
    """
    lines = [max(1, round(frequency_hz / base)) * base for base in mains_hz]
    line = min(lines, key=lambda x: abs(x - frequency_hz))
    if abs(line - frequency_hz) > MAINS_MARGIN_HZ:
        return None
    # Twice the margin clear of the line, so that the expected tone may be a little off.
    higher, lower = line + 2 * MAINS_MARGIN_HZ, line - 2 * MAINS_MARGIN_HZ
    moves = tuple(span_m * (frequency_hz / to - 1) for to in (higher, lower))
    return Caution(
        "mains",
        f"at about {frequency_hz:.4g} Hz the tone falls on the {line:g} Hz line of the mains: make "
        f"the span {_mm(-moves[0])} shorter or {_mm(moves[1])} longer",
        moves,
        PRACTICE,
    )


def cautions(
    span_m: float,
    *,
    frequency_hz: float | None = None,
    least_m: float | None = None,
    width_m: float | None = None,
) -> tuple[Caution, ...]:
    """Return everything that should be said about a span; parameters as above."""
    found = [short(span_m, least_m=least_m, width_m=width_m)]
    if frequency_hz is not None:
        found += [weak(frequency_hz, span_m, least_m=least_m), mains(frequency_hz, span_m)]
    return tuple(c for c in found if c is not None)


def _mm(length_m: float) -> str:
    mm = length_m * 1000
    return f"{mm:.0f} mm" if abs(mm) >= WHOLE_MM else f"{mm:.3g} mm"
