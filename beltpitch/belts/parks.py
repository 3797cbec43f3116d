"""Tension without a span: one strand plucked with the carriage at two places a known travel apart.

``T = m [travel/(1/(2 f_long) - 1/(2 f_short))]^2 (1 + q)``: the span, the last contact and the
first order of the ends are the same at both places and drop out; ``q = 4 pi^2 EI m f_long
f_short/T^2`` is what bending stiffness leaves. Derived here; checked against the exact beam.
The strand's tension must be the same at both places.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from beltpitch.belts.span import USUAL_STRAND_LIMIT, StrandLimit
from beltpitch.belts.strand import Strand
from beltpitch.errors import CannotTell, check_positive
from beltpitch.uncertainty import Estimate, Part, combine, difference, mean, rectangular

ROUNDS = 50  # a fixed point that gains two or more digits a round
STRAND_LINE = "strand difference"


@dataclass(frozen=True, slots=True)
class Parks:
    """The tension from two parks, with its log sensitivities ``d ln T/d ln x``.

    Parameters
    ----------
    tension_n
        Tension of the strand.
    span_m
        Length that the strand vibrates with at the park of the longer span.
    travel, long, short, linear_mass, air, stiffness, stretch
        Log sensitivities: travel, the tones at the longer and the shorter span, the strand's own.
    span_travel, span_long, span_short
        Log sensitivities of the length, which needs no mass; without the second order of stiffness.
    """

    tension_n: float
    span_m: float
    travel: float
    long: float
    short: float
    linear_mass: float
    air: float
    stiffness: float
    stretch: float
    span_travel: float
    span_long: float
    span_short: float

    def estimate(
        self,
        *,
        travel: Estimate,
        long: Estimate,
        short: Estimate,
        linear_mass: Estimate,
        air: Estimate | None = None,
        stiffness: Estimate | None = None,
        stretch: Estimate | None = None,
    ) -> Estimate:
        """Return the tension with its budget."""
        pairs = (
            (self.travel, travel),
            (self.long, long),
            (self.short, short),
            (self.linear_mass, linear_mass),
            (self.air, air),
            (self.stiffness, stiffness),
            (self.stretch, stretch),
        )
        return _combined(self.tension_n, pairs)

    def offset(
        self, tape: Estimate, *, travel: Estimate, long: Estimate, short: Estimate
    ) -> Estimate:
        """Return by how much the vibrating length exceeds the tape's span at the longer park.

        Negative where stiff ends shorten the string, by ``sqrt(EI/T)`` for each clamped end.
        """
        pairs = ((self.span_travel, travel), (self.span_long, long), (self.span_short, short))
        return difference(_combined(self.span_m, pairs), tape)


def _combined(value: float, pairs: tuple[tuple[float, Estimate | None], ...]) -> Estimate:
    terms = [(value * c / x.value, x) for c, x in pairs if x is not None and x.value != 0]
    return combine(value, terms)


def two_parks(strand: Strand, travel_m: float, long_hz: float, short_hz: float) -> Parks:
    """Return the tension from the tones at two parks.

    Parameters
    ----------
    strand
        Its masses, bending and axial stiffness; its span and ends are not used.
    travel_m
        How far the carriage was moved.
    long_hz, short_hz
        Mode 1 with the longer and with the shorter span.

    Raises
    ------
    RequestError
        If a figure is not above 0 and finite.
    CannotTell
        If the tone did not rise as the span became shorter.
    """
    for what, value, unit in (
        ("travel", travel_m, "m"),
        ("frequency", long_hz, "Hz"),
        ("frequency", short_hz, "Hz"),
    ):
        check_positive(value, what, unit)
    if not long_hz < short_hz:
        raise CannotTell(
            f"the longer span sounds at {long_hz:g} Hz and the shorter at {short_hz:g} Hz: "
            "the shorter must sound higher; check which park is which"
        )
    speed = 2 * travel_m / (1 / long_hz - 1 / short_hz)
    found, q = _fixed_point(strand, speed, long_hz * short_hz)

    apart = short_hz - long_hz
    long_log, short_log = 2 * short_hz / apart, -2 * long_hz / apart
    e, w = strand.softening(found), q / (1 + q)
    air = strand.air_kg_per_m / strand.moving_mass(found)
    whole = 1 + e + w * (2 + e)
    # v/(2 f) sqrt(1 + pi^2 EI/(T L^2)), with v free of the mass's error
    plain = speed / (2 * long_hz)
    bend = math.pi**2 * strand.stiffness_n_m2 / (found * plain**2)
    return Parks(
        tension_n=found,
        span_m=plain * math.sqrt((1 + q) * (1 + bend)),
        travel=2 / whole,
        long=(long_log + w) / whole,
        short=(short_log + w) / whole,
        linear_mass=(1 + w) * (1 - air) / whole,
        air=(1 + w) * air / whole,
        stiffness=w / whole,
        stretch=(1 + w) * e / whole,
        span_travel=1.0,
        span_long=long_hz / apart,
        span_short=-long_hz / apart,
    )


def _fixed_point(strand: Strand, speed: float, product: float) -> tuple[float, float]:
    """Return T and q of ``T = m(T) v^2 (1 + q(T))``."""
    found, q = strand.moving_mass(0.0) * speed**2, 0.0
    for _ in range(ROUNDS):
        moving = strand.moving_mass(found)
        q = 4 * math.pi**2 * strand.stiffness_n_m2 * moving * product / found**2
        found = moving * speed**2 * (1 + q)
    return found, q


def preload(
    a: Estimate, b: Estimate, sides: tuple[Estimate, Estimate] | None = None, *, key: str = "loop"
) -> tuple[Estimate, Estimate]:
    """Return the preload and the strand difference a - b, from both strands.

    Motors off, the loop stands at two tensions, which meet at the carriage and at the motor's
    pulley. Its whole stretch, ``(T1 L1 + T2 L2)/EA``, is what its length at rest leaves to the
    frame, whatever the strands do; at one tension T0 it is ``T0 (L1 + L2)/EA``. So
    ``T0 = (T1 L1 + T2 L2)/(L1 + L2)``, with ``dT0/dL1 = (T1 - T0)/(L1 + L2)``. Derived here; the
    frame is taken as stiff.

    Parameters
    ----------
    a, b
        Tensions of the two strands, N.
    sides
        All of the belt that stands at each of them, m: a return strand belongs to the side that
        it runs on from. Unknown, the plain mean is returned; as T0 lies between the two
        tensions, it is wrong by half their difference at most: the line ``loop sides``.
    key
        Whose error the unknown sides are.
    """
    apart = difference(a, b)
    if sides is None:
        part = Part("loop sides", key, rectangular(abs(apart.value) / 2))
        return mean((a, b)).with_part(part), apart
    first, second = sides
    whole = first.value + second.value
    value = (a.value * first.value + b.value * second.value) / whole
    terms = [
        (first.value / whole, a),
        (second.value / whole, b),
        ((a.value - value) / whole, first),
        ((b.value - value) / whole, second),
    ]
    return combine(value, terms), apart


def preload_from_both_ways(a: Estimate, b: Estimate) -> tuple[Estimate, Estimate]:
    """Return the preload and the strand difference from one strand, read after either arrival.

    Friction has turned its sign, so that the strand lies as far above the preload as below it.
    """
    return mean((a, b)), difference(a, b)


def one_strand(tension: Estimate, limit: StrandLimit, *, key: str) -> Estimate:
    """Return the preload as one strand, read once, tells it.

    The preload lies between the tensions of the two strands, so that the whole of their greatest
    difference is entered as a limit (rectangular).

    Parameters
    ----------
    tension
        The strand's own tension.
    limit
        How far the strands may differ.
    key
        Whose error it is: one belt's, in one sitting, such as ``strand:<belt>/<sitting>``.
    """
    return tension.with_part(Part(STRAND_LINE, key, rectangular(limit.value_n)))


def limit_of_strands(
    *,
    given_n: float | None = None,
    detent_n_m: float | None = None,
    radius_m: float | None = None,
    friction_n: float | None = None,
) -> StrandLimit:
    """Return how far the strands may differ: the smallest of what is known, else the usual figure.

    At rest the carriage and the motor's pulley see the same difference: rails hold it at the
    carriage, the motor's detent holds it at the pulley. So neither limit can be passed. Derived
    here.

    Parameters
    ----------
    given_n
        A limit as the user states it.
    detent_n_m, radius_m
        Torque that the motor without current holds, and the pitch radius of its pulley.
    friction_n
        Force that moves the carriage along its rails, the belt off.

    Raises
    ------
    RequestError
        If a figure is not above 0.
    """
    known = []
    if given_n is not None:
        check_positive(given_n, "strand limit", "N")
        known.append(StrandLimit(given_n, "as given"))
    if detent_n_m is not None and radius_m is not None:
        check_positive(detent_n_m, "detent torque", "N m")
        check_positive(radius_m, "pulley radius", "m")
        known.append(StrandLimit(detent_n_m / radius_m, "the motor's torque over its radius"))
    if friction_n is not None:
        check_positive(friction_n, "rail friction", "N")
        known.append(StrandLimit(friction_n, "the friction of the rails"))
    return min(known, key=lambda limit: limit.value_n, default=USUAL_STRAND_LIMIT)
