"""What a person says, as records: the same reading and the same defaults for commands and Python.

A number without a doubt gets a default limit, and every default taken is echoed:

- span: +/- 1 mm or half the last digit written, whichever is more;
- a typed linear mass: +/- 3 %; a typed bending stiffness: +/- 30 %;
- a typed frequency: half the last digit written, at least 0.2 %;
- a device's rate error: +/- 5 ppm, what the warmth of a room does to a crystal (from memory);
- width: the catalogue's tolerance for its construction (see `beltpitch.belts.catalogue`).

Source of the defaults: project decision; the linear mass is a weighed one of a kitchen scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from beltpitch import units as q
from beltpitch.belts import catalogue
from beltpitch.belts.catalogue import Belt, Figure
from beltpitch.belts.end_conditions import USUAL_ENDS, moved_contact
from beltpitch.belts.end_conditions import ends as read_ends
from beltpitch.belts.parks import limit_of_strands
from beltpitch.belts.span import USUAL_STRAND_LIMIT, Span, StrandLimit, from_tape
from beltpitch.errors import RequestError
from beltpitch.pitch.results import HIGHEST_HZ, LOWEST_HZ, FrequencyRange
from beltpitch.uncertainty import Estimate, rectangular

EQUAL = "equal"  # of the second strand: its span is as long as the first
SPAN_LIMIT_M = 1e-3
LINEAR_MASS_LIMIT = 0.03
BENDING_LIMIT = 0.3  # of a bending stiffness that is given without a doubt; a judgement
FREQUENCY_LIMIT = 0.002
LONGEST_SPAN_M = 20.0  # a slip of the unit beyond it: no belt axis is longer
SHORTEST_SPAN_M = 0.005
HIGHEST_TYPED_HZ = 5000.0  # far above any belt (published set points end at 637 Hz)
LOWEST_TYPED_HZ = 1.0
HEAVIEST_KG_PER_M = 20.0
CLOCK_LIMIT = 5e-6
WORST_CLOCK = (
    0.005  # a device further off is broken: beltpitch.audio.clock_error looks no further either
)


@dataclass(frozen=True, slots=True)
class Typed:
    """Frequencies measured by hand: values in Hz, limit of each reading, defaults taken."""

    values_hz: tuple[float, ...]
    u_hz: tuple[float, ...]
    echoes: tuple[str, ...]

    def only(self, which: Sequence[int]) -> Typed:
        """Return some of the values."""
        values, us = ([of[k] for k in which] for of in (self.values_hz, self.u_hz))
        return replace(self, values_hz=tuple(values), u_hz=tuple(us))


def belt(
    name: str | None = None,
    *,
    width: str | float | None = None,
    linear_mass: str | None = None,
    construction: str | None = None,
    bending_stiffness: str | None = None,
) -> Belt:
    """Return a belt of the catalogue, or one's own by width and linear mass.

    Parameters
    ----------
    name
        What is printed or said, such as "2GT 9 mm" or "HTD5M-15".
    width
        Such as "9 mm"; a bare number is in mm.
    linear_mass
        Such as "12.6 g/m" or "12.6 +/- 0.1 g/m"; replaces the catalogue's figure, from which it
        may differ by a factor of three.
    construction
        Such as "polyurethane, steel cord".
    bending_stiffness
        Such as "117(30) N mm^2", as hung weights told it; replaces the catalogue's figure.

    Raises
    ------
    BeltNotFound
        If no belt of that name is known.
    RequestError
        If something is missing or cannot be read.
    """
    width_m = None if width is None else q.positive(str(width), q.LENGTH, option="--width").value
    mass = None if linear_mass is None else _linear_mass(linear_mass, name or "own belt")
    if name is None:
        if mass is None:
            raise RequestError(
                'no belt: give --belt "2GT 9 mm", or --linear-mass "12.6 g/m" with --width "9 mm"'
            )
        return _bending(catalogue.own_belt(mass, width_m), bending_stiffness)
    found = catalogue.belt(name, width_m=width_m, construction=construction)
    return _bending(found if mass is None else found.weighed(mass), bending_stiffness)


def _bending(belt: Belt, text: str | None) -> Belt:
    """Return the belt with the bending stiffness that was given, if any."""
    if text is None:
        return belt
    given = q.positive(text, q.BENDING, option="--bending-stiffness")
    u = rectangular(BENDING_LIMIT * given.value) if given.u is None else given.u
    return replace(
        belt,
        ei_n_m2=Figure(
            value=given.value,
            u=u,
            source="bending stiffness as given",
            known="measured by the user",
            unit="N m2",
        ),
    )


def _linear_mass(text: str, name: str) -> Estimate:
    given = q.positive(text, q.LINEAR_MASS, option="--linear-mass")
    if given.value > HEAVIEST_KG_PER_M:
        raise RequestError(
            f"--linear-mass {text!r} is {given.value:.4g} kg/m, heavier than any such belt: "
            "check the unit (a bare number is in g/m)"
        )
    u = rectangular(LINEAR_MASS_LIMIT * given.value) if given.u is None else given.u
    return Estimate.single(given.value, u, name="linear mass", key=f"roll:{name}")


def span(
    text: str,
    belt: Belt | None = None,
    *,
    ends: str | None = None,
    strand_limit: StrandLimit = USUAL_STRAND_LIMIT,
    contact_key: str = "contact",
) -> Span:
    """Return a span from the tape, with the last contact of toothed pulleys.

    Parameters
    ----------
    text
        Such as "412 +/- 1 mm"; a bare number is in mm.
    belt
        Whose tooth pitch makes the last contact.
    ends
        Such as "pulley,clamp".
    strand_limit
        How far its tension may differ from the other strand's, see `strand_limit`.
    contact_key
        Whose error the last contact is: one for each pulley where it is parked.

    Raises
    ------
    RequestError
        If the text cannot be read or is no length of a belt span.
    """
    given = q.positive(text, q.LENGTH, option="--span")
    if not SHORTEST_SPAN_M <= given.value <= LONGEST_SPAN_M:
        raise RequestError(
            f"--span {text!r} is {given.value * 1000:.4g} mm; a span lies between 5 mm and 20 m: "
            "check the unit (a bare number is in mm)"
        )
    u = rectangular(_span_limit(given)) if given.u is None else given.u
    first, second = read_ends(ends or USUAL_ENDS, belt.name if belt else "belt")
    pitch = belt.pitch_m if belt else None
    made = from_tape(
        given.value, u, ends=(first[0], second[0]), pitch_m=pitch, contact_key=contact_key
    )
    return replace(made, strand_limit=strand_limit)


def other_span(
    text: str | None, first: Span | None, belt: Belt | None, *, ends: str | None = None
) -> Span | None:
    """Return the span of the second of both strands; None if none was given.

    Parameters
    ----------
    text
        Such as "380 +/- 1 mm", or "equal" for one as long as the first.
    first
        That of the first strand.
    belt, ends
        As for `span`.

    Raises
    ------
    RequestError
        If the text cannot be read, or there is no first span.
    """
    if text is None:
        return None
    if first is None:
        raise RequestError("the second strand's span is given, but not the first's: add --span")
    if text.strip().casefold() == EQUAL:
        return first
    limit = first.strand_limit
    return span(text, belt, ends=ends, strand_limit=limit, contact_key="other contact")


def loop_sides(text: str | None) -> tuple[Estimate, Estimate] | None:
    """Return how much of the loop stands at each strand's tension, in m; None if not given.

    Parameters
    ----------
    text
        Such as "412 mm, 1210 mm", in the order of the strands: each with what runs on from it.

    Raises
    ------
    RequestError
        If they are not two lengths.
    """
    if text is None:
        return None
    texts = text.split(", ")
    if len(texts) != 2:  # noqa: PLR2004
        raise RequestError(
            f"--loop-sides {text!r}: give two lengths, each strand with the belt that runs on from "
            'it, as in "412 mm, 1210 mm"'
        )
    given = [q.positive(each, q.LENGTH, option="--loop-sides") for each in texts]
    first, second = (
        Estimate.single(
            g.value,
            rectangular(_span_limit(g)) if g.u is None else g.u,
            name="loop sides",
            key=f"loop side {i}",
        )
        for i, g in enumerate(given)
    )
    return first, second


def strand_limit(
    limit: str | None = None,
    *,
    detent: str | None = None,
    teeth: int | None = None,
    friction: str | None = None,
    belt: Belt | None = None,
) -> StrandLimit:
    """Return how far the tensions of two strands may differ, motors off.

    Parameters
    ----------
    limit
        Such as "2 N".
    detent
        Torque that the motor without current holds, such as "20 N mm".
    teeth
        Of its pulley; with the belt's tooth pitch they are its radius.
    friction
        Force that moves the carriage along its rails, such as "4 N".
    belt
        Whose tooth pitch it is.

    Raises
    ------
    RequestError
        If one cannot be read, or the torque is given without a pulley.
    """
    pitch_m = belt.pitch_m if belt else None
    if (detent is None) != (teeth is None):
        raise RequestError("--detent and --pulley-teeth belong together: give both or neither")
    if detent is not None and pitch_m is None:
        raise RequestError("--detent needs a belt with teeth: add --belt")
    radius_m = None if teeth is None or pitch_m is None else teeth * pitch_m / (2 * math.pi)
    given = [
        None if text is None else q.positive(text, kind, option=option).value
        for text, kind, option in (
            (limit, q.FORCE, "--strand-limit"),
            (detent, q.TORQUE, "--detent"),
            (friction, q.FORCE, "--rail-friction"),
        )
    ]
    return limit_of_strands(
        given_n=given[0], detent_n_m=given[1], radius_m=radius_m, friction_n=given[2]
    )


def _span_limit(given: q.Quantity) -> float:
    return max(SPAN_LIMIT_M, given.half_digit)


def echoes(
    span: str | None = None,
    linear_mass: str | None = None,
    bending_stiffness: str | None = None,
    target: str | None = None,
) -> tuple[str, ...]:
    """Return what such texts take for granted, in words to be shown."""
    found = []
    if span is not None:
        given = q.positive(span, q.LENGTH, option="--span")
        if given.u is None:
            limit = _span_limit(given) * 1000
            found.append(f"span {given.text}, taken as +/- {limit:.3g} mm")
    if linear_mass is not None:
        given = q.positive(linear_mass, q.LINEAR_MASS, option="--linear-mass")
        if given.u is None:
            found.append(f"linear mass {given.text}, taken as +/- {LINEAR_MASS_LIMIT:.0%}")
    if bending_stiffness is not None:
        given = q.positive(bending_stiffness, q.BENDING, option="--bending-stiffness")
        if given.u is None:
            found.append(f"bending stiffness {given.text}, taken as +/- {BENDING_LIMIT:.0%}")
    if target is not None and (said := q.positive(target, q.FORCE, option="--target").assumed):
        found.append(f"target {said}")
    return tuple(found)


def typed(texts: str | Sequence[str]) -> Typed:
    """Return frequencies measured by hand, one for each pluck.

    A text holds one value or several: "110 Hz", "110, 111, 109".

    Raises
    ------
    RequestError
        If one cannot be read, or none is given, or it is no frequency of a belt.
    """
    if isinstance(texts, str):
        texts = (texts,)
    if not texts:
        raise RequestError('no frequency: give --frequency "66.3 Hz", once for each pluck')
    texts = apart(texts)
    given = [q.positive(text, q.FREQUENCY, option="--frequency") for text in texts]
    for text, one in zip(texts, given, strict=True):
        if not LOWEST_TYPED_HZ <= one.value <= HIGHEST_TYPED_HZ:
            raise RequestError(
                f"--frequency {text!r}: no belt sounds at {one.value:.4g} Hz (belts lie between "
                "about 15 and 700 Hz); check the number"
            )
    limits = [max(one.half_digit, FREQUENCY_LIMIT * one.value) for one in given]
    us = tuple(
        rectangular(limit) if one.u is None else one.u
        for one, limit in zip(given, limits, strict=True)
    )
    bare = [(one, limit) for one, limit in zip(given, limits, strict=True) if one.u is None]
    said: tuple[str, ...] = ()
    if bare:
        names = ", ".join(one.text for one, _ in bare)
        said = (f"frequency {names}, taken as +/- {max(limit for _, limit in bare):.2g} Hz",)
    return Typed(tuple(one.value for one in given), us, said)


def apart(texts: Sequence[str]) -> list[str]:
    """Return the values of texts that may each hold several, such as "110, 111, 109"."""
    return [each for text in texts for each in q.several(text)]


def frequency_range(low: str | None, high: str | None) -> FrequencyRange | None:
    """Return the range the user gave with --from and --to; None if neither was given.

    Raises
    ------
    RequestError
        If a limit cannot be read or the range does not rise.
    """
    if low is None and high is None:
        return None
    low_hz = LOWEST_HZ if low is None else q.positive(low, q.FREQUENCY, option="--from").value
    high_hz = HIGHEST_HZ if high is None else q.positive(high, q.FREQUENCY, option="--to").value
    if low_hz >= high_hz:
        raise RequestError(
            f"--from {low_hz:.4g} Hz --to {high_hz:.4g} Hz: the range must rise, as in "
            '--from "40 Hz" --to "120 Hz"'
        )
    if high_hz > HIGHEST_TYPED_HZ or low_hz < LOWEST_TYPED_HZ:
        raise RequestError(
            f"--from {low_hz:.4g} Hz --to {high_hz:.4g} Hz: belts sound between about 15 and "
            "700 Hz; choose a range there"
        )
    return FrequencyRange(low_hz, high_hz, why=f"given as {low_hz:.4g} to {high_hz:.4g} Hz")


def travel(text: str) -> Estimate:
    """Return the travel between two parks, by default +/- 0.5 mm or half the last digit.

    Raises
    ------
    RequestError
        If the text is no length above zero.
    """
    return _travel(text, "travel")


def _travel(text: str, key: str) -> Estimate:
    given = q.positive(text, q.LENGTH, option="--travel")
    u = rectangular(max(0.5e-3, given.half_digit)) if given.u is None else given.u
    return Estimate.single(given.value, u, name="travel", key=key)


def travels(text: str) -> tuple[Estimate, ...]:
    """Return travels from the first park, such as "160.0 +/- 0.2 mm, 250.0 +/- 0.2 mm".

    Each has an error of its own.

    Raises
    ------
    RequestError
        If one is no length above zero, or two are alike.
    """
    texts = q.several(text)
    if len(texts) == 1:
        return (travel(text),)
    found = tuple(_travel(each, f"travel {i}") for i, each in enumerate(texts, 1))
    if len({each.value for each in found}) < len(found):
        raise RequestError(f"--travel {text!r}: every park needs a travel of its own")
    return found


def odd_teeth(travels: Sequence[Estimate], belt: Belt) -> tuple[str, ...]:
    """Return what to say where a carriage was not moved by whole teeth, a sentence a travel.

    Where what the teeth make of it (`beltpitch.belts.end_conditions.moved_contact`) is less than
    the travel's own doubt it says nothing.
    """
    pitch = belt.pitch_m
    if pitch is None:
        return ()
    said = []
    for travel in travels:
        part = moved_contact(travel, pitch, key="travel")
        if part is not None:
            teeth = travel.value / pitch
            near = (math.floor(teeth) * pitch * 1e3, math.ceil(teeth) * pitch * 1e3)
            said.append(
                f"a travel of {travel.value * 1e3:.4g} mm is {teeth:.1f} teeth: on toothed pulleys "
                "the last tooth then touches elsewhere, which adds u "
                f"{2 * part.u / travel.value:.1%} of the tension to this interval; move by "
                f"{near[0]:.4g} or {near[1]:.4g} mm"
            )
    return tuple(said)


def clock(text: str, *, option: str = "--clock") -> tuple[Estimate, str]:
    """Return a sound device's relative rate error, and what is taken in words.

    Parameters
    ----------
    text
        Such as "+35 ppm" or "+35.1(2) ppm", as `beltpitch recording --reference-tone` states it: a
        positive error makes every tone sound too high, and is corrected.
    option
        Where it was written, for the message.

    Raises
    ------
    RequestError
        If it cannot be read, or no sound device is so far off.
    """
    given = q.parse(text, q.CLOCK, option=option)
    if abs(given.value) > WORST_CLOCK:
        raise RequestError(
            f"{option} {text!r}: no sound device is {given.value:+.2%} off; give the rate error "
            'that recording --reference-tone states, as in "+35 +/- 5 ppm"'
        )
    limit = max(CLOCK_LIMIT, given.half_digit)
    u = rectangular(limit) if given.u is None else given.u
    taken = f", taken as +/- {limit * 1e6:.2g} ppm" if given.u is None else ""
    return Estimate.single(given.value, u, name="clock", key="clock"), f"{given.text}{taken}"
