"""Several plucks of one string: which disagree with the others, and which are one pluck twice.

A knock while a pluck rings cuts its record in two; the second part would count as a pluck of its
own. Its loudness tells it from a new pluck: it is no louder than the first part was at its end. A
pluck is an outlier if its frequency lies beyond its own uncertainty and the scatter of the others.

Conventions: no pluck is dropped; one that is not used keeps its pitch and gets a reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from beltpitch.pitch import messages
from beltpitch.pitch.groups import agreeing, groups
from beltpitch.pitch.results import Pitch, PluckResult
from beltpitch.uncertainty import PLUCK_SCATTER

LOUDER = 2.0  # a new pluck is at least this much louder than what the old one has left
BEYOND = 4.0  # standard deviations
ENOUGH = 3  # plucks that outvote one


def set_aside(heard: Sequence[PluckResult]) -> list[PluckResult]:
    """Return the plucks, those that must not count marked as unused with the reason."""
    out = list(heard)
    _same_twice(out)
    _outliers(out)
    return out


def _same_twice(heard: list[PluckResult]) -> None:
    used = [k for k, h in enumerate(heard) if h.used and h.pitch is not None]
    for earlier, later in pairwise(used):
        one, two = heard[earlier], heard[later]
        if one.pitch is None or two.pitch is None or not one.used:
            continue
        if _rings_on(one, two):
            worse = later if one.pitch.frequency_u_hz <= two.pitch.frequency_u_hz else earlier
            heard[worse] = replace(heard[worse], used=False, reason=messages.RINGS_ON)


def _rings_on(one: PluckResult, two: PluckResult) -> bool:
    """Whether the later one is no louder than the earlier one left off."""
    if one.pitch is None or two.pitch is None or one.onset_s is None or two.onset_s is None:
        return False
    first = {p.number: p for p in one.pitch.partials}
    second = {p.number: p for p in two.pitch.partials}
    both = first.keys() & second.keys()
    if not both:
        return False
    past = two.onset_s - one.onset_s
    left = sum(first[n].amplitude * math.exp(-first[n].decay_per_s * past) for n in both)
    return sum(second[n].amplitude for n in both) < LOUDER * left


def _outliers(heard: list[PluckResult]) -> None:
    while True:
        used = [(k, h.pitch) for k, h in enumerate(heard) if h.used and h.pitch is not None]
        if len(used) < 2 or _several_tones([pitch for _, pitch in used]):  # noqa: PLR2004
            return
        worst, reach = _worst([pitch for _, pitch in used])
        if reach < BEYOND:
            return
        k, pitch = used[worst]
        others = float(np.median([p.frequency_hz for j, (_, p) in enumerate(used) if j != worst]))
        told = messages.OUTLIER.format(f=pitch.frequency_hz, others=others)
        heard[k] = replace(heard[k], used=False, reason=told)


def _several_tones(pitches: list[Pitch]) -> bool:
    """Whether groups of plucks agree among themselves: none of them is then the outlier."""
    f, u = [p.frequency_hz for p in pitches], [p.frequency_u_hz for p in pitches]
    return len(agreeing(groups(f, u))) > 1


def _worst(pitches: list[Pitch]) -> tuple[int, float]:
    """Index of the pluck farthest from the middle, and how far in standard deviations.

    Of two, the one that is less sure of itself.
    """
    f = np.array([p.frequency_hz for p in pitches])
    own = np.array([p.frequency_u_hz for p in pitches])
    u = np.hypot(own, PLUCK_SCATTER * f)
    if len(f) < ENOUGH:
        return int((own / f).argmax()), float(abs(f[0] - f[1]) / math.hypot(u[0], u[1]))
    middle = float(np.median(f))
    scatter = np.median(np.abs(f - middle)) * 1.4826  # of a normal distribution
    far = np.abs(f - middle) / np.hypot(u, scatter)
    return int(far.argmax()), float(far.max())
