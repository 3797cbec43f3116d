"""Belt, span and window as they are asked for in texts, each default echoed.

For every face that takes a description instead of a name: the options of a command, the fields of
the page.
"""

from __future__ import annotations

from dataclasses import dataclass

from beltpitch import parsing
from beltpitch.advice.limits import Limits, limits_of
from beltpitch.advice.window import WITHIN, Window, windows
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.span import Span
from beltpitch.errors import RequestError
from beltpitch.units import FORCE, PERCENT, parse, positive


@dataclass(frozen=True, slots=True)
class StrungBelt:
    """Belt, span and window as asked for, with what is to be echoed."""

    belt: Belt | None
    span: Span | None
    other_span: Span | None
    window: Window | None
    echoes: tuple[str, ...]


def strung(
    belt: str | None,
    width: str | None,
    linear_mass: str | None,
    construction: str | None,
    span: str | None,
    ends: str | None = None,
    target: str | None = None,
    within: str | None = None,
    *,
    second_span: str | None = None,
    strand_limit: str | None = None,
    detent: str | None = None,
    pulley_teeth: int | None = None,
    rail_friction: str | None = None,
) -> StrungBelt:
    """Read belt, spans and target from texts.

    Raises
    ------
    RequestError
        If one of them cannot be read.
    """
    made = None
    if belt is not None or linear_mass is not None:
        made = parsing.belt(belt, width=width, linear_mass=linear_mass, construction=construction)
    elif width is not None:
        raise RequestError(
            '--width alone is no belt: add --belt "2GT", or --linear-mass "12.6 g/m"'
        )
    limit = parsing.strand_limit(
        strand_limit, detent=detent, teeth=pulley_teeth, friction=rail_friction, belt=made
    )
    free = None if span is None else parsing.span(span, made, ends=ends, strand_limit=limit)
    other = parsing.other_span(second_span, free, made, ends=ends)
    window = _window(target, within, made)
    return StrungBelt(made, free, other, window, parsing.echoes(span, linear_mass, target=target))


def _window(target: str | None, within: str | None, belt: Belt | None) -> Window | None:
    """Return the window of the user's target, else what the belt by itself says."""
    limits = Limits() if belt is None else limits_of(belt)
    if target is None:
        return windows(limits).verdict
    share = parse(within or WITHIN, PERCENT, option="--within").value
    wanted = (tension_given(target, belt, "--target"), share)
    return windows(limits, target=wanted, default_tolerance=within is None).verdict


def tension_given(text: str, belt: Belt | None, option: str) -> float:
    """Return a strand tension in N as typed.

    Raises
    ------
    RequestError
        If it cannot be read, or breaks the belt.
    """
    newtons = positive(text, FORCE, option=option).value
    if belt is not None:
        belt.check_bears(newtons, f"{option} {text!r}")
    return newtons
