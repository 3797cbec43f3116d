"""Tension, bending stiffness and the tape's offset from tones at several parks.

The strand is plucked with the carriage at several known places. With the tape's spans and c, what
the tape and the last contact are off by at all of them alike, the tones are those of the exact
strand (`beltpitch.belts.mechanics`) of length tape + c. T, c and ln EI are found by weighted least
squares (Gauss-Newton with exact derivatives); a stiffness that is known beforehand is one more
reading. Near the answer all results are linear in the errors of what went in, so each carries the
parts of tones, spans, masses, stretch and ends: theta = G (ln f - sum of what inputs do to it).

Derived here; the tests check it against the exact beam and by repeated trials.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from beltpitch.belts.mechanics import frequency
from beltpitch.belts.modes import mode
from beltpitch.belts.strand import Strand
from beltpitch.errors import CannotTell
from beltpitch.uncertainty import Estimate, combine

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

UNKNOWNS = 3
ROUNDS = 100
CLOSE = 1e-10  # last relative step
LONGEST_STEP = 0.5  # in ln T, c/L and ln EI
SINGULAR = 1e9  # condition of the weighted equations beyond which the parks tell too little
FIRST_XI = 60.0
XI_RANGE = (1.0, 1e4)  # of the mean span; beyond it stiffness is not told


@dataclass(frozen=True, slots=True)
class Travels:
    """What several parks tell.

    Parameters
    ----------
    tension
        Of the strand, N.
    stiffness
        Bending stiffness EI, N m^2.
    offset
        By how much the strand's length exceeds the tape's spans, m.
    misfit
        Root of chi^2 over degrees of freedom; None where none are left. Above 2 or so the tension
        was not the same at all parks, or a figure is wrong.
    """

    tension: Estimate
    stiffness: Estimate
    offset: Estimate
    misfit: float | None


@dataclass(frozen=True, slots=True)
class Given:
    """The strand's own figures with their uncertainties; None for what is taken as exact."""

    linear_mass: Estimate
    air: Estimate | None = None
    stretch: Estimate | None = None
    ends: tuple[Estimate, Estimate] | None = None
    stiffness: Estimate | None = None


def several_parks(
    strand: Strand, spans: Sequence[Estimate], tones: Sequence[Estimate], given: Given
) -> Travels:
    """Return tension, stiffness and offset from tones at several parks.

    Parameters
    ----------
    strand
        Its masses, axial stiffness and ends; its span and bending stiffness are not used.
    spans
        The tape's span in m at each park: one place measured, travels added. An error they all
        share (equal key) goes into the offset and leaves tension and stiffness alone.
    tones
        Mode 1 in Hz at each park.
    given
        The strand's figures with their uncertainties. A stiffness among them is one more reading,
        as a share of itself; without it the tones alone must tell it.

    Raises
    ------
    CannotTell
        If there are too few parks, or their tones do not tell the stiffness.
    """
    known = given.stiffness is not None
    if len(spans) != len(tones) or len(tones) + known < UNKNOWNS:
        raise CannotTell(
            f"{len(tones)} tones over {len(spans)} spans are too few: pluck at 3 places or more, "
            "or at 2 with a belt of known bending stiffness"
        )
    fit = _solve(_Problem.of(strand, spans, tones, given))
    inputs = _inputs(spans, tones, given, fit)
    values = (fit.tension_n, fit.stiffness_n_m2, fit.offset_m)
    pull, bend, offset = (
        combine(value, [(per * float(row @ column), x) for column, x in inputs])
        for value, per, row in zip(
            values, (fit.tension_n, fit.stiffness_n_m2, 1.0), fit.gain, strict=True
        )
    )
    return Travels(pull, bend, offset, fit.misfit)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """What is to be fitted: tapes, log tones and their relative doubts, and a known stiffness."""

    strand: Strand
    tape: Array
    log_f: Array
    u: Array
    prior: tuple[float, float] | None  # ln EI and its doubt

    @classmethod
    def of(
        cls, strand: Strand, spans: Sequence[Estimate], tones: Sequence[Estimate], given: Given
    ) -> _Problem:

        tape = np.array([s.value for s in spans])
        shared = set.intersection(*({p.key for p in s.parts} for s in spans))
        own = [math.hypot(*(p.u for p in s.parts if p.key not in shared)) for s in spans]
        u = np.hypot([t.u / t.value for t in tones], np.array(own) / tape)
        # a reading without a doubt counts like the best of the others; all alike if none has one
        u = np.where(u > 0, u, u[u > 0].min() if np.any(u > 0) else 1e-6)
        prior = None
        if given.stiffness is not None:
            prior = math.log(given.stiffness.value), given.stiffness.u / given.stiffness.value
        return cls(strand, tape, np.log([t.value for t in tones]), u, prior)

    def misfit(self, x: Array) -> float:
        """Return chi^2; infinite where the offset leaves no strand."""
        if self.tape.min() + x[1] <= 0:
            return math.inf
        left, _ = self.at(x)
        return float(left @ left)

    def solved(self, x: Array, left: Array, inverse: Array) -> _Solved:
        """Return the fit at its end."""
        pull, offset, ei = math.exp(x[0]), float(x[1]), math.exp(x[2])
        spare = len(left) - UNKNOWNS
        doubts = list(self.u) + ([self.prior[1]] if self.prior else [])
        return _Solved(
            tension_n=pull,
            stiffness_n_m2=ei,
            offset_m=offset,
            gain=(inverse / np.array(doubts))[[0, 2, 1]],
            strand=replace(self.strand, stiffness_n_m2=ei),
            misfit=math.sqrt(float(left @ left) / spare) if spare else None,
        )

    def at(self, x: Array) -> tuple[Array, Array]:
        """Return the weighted residuals and their rows by ln T, c and ln EI (signs as in ln f)."""
        pull, offset, ei = math.exp(x[0]), float(x[1]), math.exp(x[2])
        here = replace(self.strand, stiffness_n_m2=ei)
        left, rows = [], []
        for tape, log_f, u in zip(self.tape, self.log_f, self.u, strict=True):
            strand = replace(here, span_m=float(tape) + offset)
            ratio = mode(strand.xi(pull), 1, strand.hold_a, strand.hold_b)
            g, e = ratio.by_xi, strand.softening(pull)
            left.append((log_f - math.log(frequency(strand, pull))) / u)
            rows.append(np.array([(1 + g + e) / 2, (g - 1) / strand.span_m, -g / 2]) / u)
        if self.prior is not None:
            centre, doubt = self.prior
            left.append((centre - math.log(ei)) / doubt)
            rows.append(np.array([0.0, 0.0, 1 / doubt]))
        return np.array(left), np.array(rows)


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """The fit; `gain` turns errors of ln f (and ln EI, where known) into those of the unknowns.

    Rows of `gain`: ln T, ln EI, c.
    """

    tension_n: float
    stiffness_n_m2: float
    offset_m: float
    gain: Array
    strand: Strand
    misfit: float | None


def _solve(problem: _Problem) -> _Solved:
    """Find ln T, c, ln EI by Gauss-Newton, each step halved until the misfit falls."""
    mean = float(problem.tape.mean())
    scale = np.array([1.0, mean, 1.0])
    x = _first_guess(problem)
    left, rows = problem.at(x)
    for _ in range(ROUNDS):
        if not np.linalg.cond(rows * scale) < SINGULAR:
            break
        inverse = scale[:, None] * np.linalg.pinv(rows * scale)
        step = inverse @ left
        longest = float(np.max(np.abs(step / scale)))
        if longest < CLOSE:
            return problem.solved(x, left, inverse)
        share = LONGEST_STEP / max(longest, LONGEST_STEP)
        while share * longest > CLOSE and not problem.misfit(x + share * step) < left @ left:
            share /= 2
        if share * longest <= CLOSE:  # no way down but by rounding
            return problem.solved(x, left, inverse)
        x = x + share * step
        if not XI_RANGE[0] < mean * math.exp((x[0] - x[2]) / 2) < XI_RANGE[1]:
            break
        left, rows = problem.at(x)
    raise CannotTell(
        "these parks do not tell bending stiffness from the rest: pluck over shorter spans too, "
        "or give a belt whose stiffness is known"
    )


def _first_guess(problem: _Problem) -> Array:
    """Return ln T by the two farthest parks of a string, no offset, and ln EI as known or usual."""
    waves = np.exp(-problem.log_f) / 2  # 1/(2f) = L/v
    far, near = int(problem.tape.argmax()), int(problem.tape.argmin())
    rise = (problem.tape[far] - problem.tape[near]) / (waves[far] - waves[near])
    if not (math.isfinite(rise) and rise > 0):
        raise CannotTell("the longer spans do not sound lower than the shorter: check the parks")
    pull = problem.strand.moving_mass(0.0) * float(rise) ** 2
    if problem.prior is not None:
        return np.array([math.log(pull), 0.0, problem.prior[0]])
    usual = pull * (float(problem.tape.mean()) / FIRST_XI) ** 2
    return np.array([math.log(pull), 0.0, math.log(usual)])


def _inputs(
    spans: Sequence[Estimate], tones: Sequence[Estimate], given: Given, fit: _Solved
) -> list[tuple[Array, Estimate]]:
    """Return for each input its column: what one unit of it does to (ln f..., ln EI)."""
    size = fit.gain.shape[1]
    count = len(tones)
    columns: list[tuple[Array, Estimate]] = []
    held = np.zeros((4, size))  # what mass, air, stretch do to ln f, and the two ends
    ends = np.zeros((2, size))
    for i, (span, tone) in enumerate(zip(spans, tones, strict=True)):
        strand = replace(fit.strand, span_m=span.value + fit.offset_m)
        ratio = mode(strand.xi(fit.tension_n), 1, strand.hold_a, strand.hold_b)
        unit = np.eye(size)[i]
        columns.append((unit / tone.value, tone))
        columns.append((unit * (1 - ratio.by_xi) / strand.span_m, span))
        air = strand.air_kg_per_m / strand.moving_mass(fit.tension_n)
        held[:3, i] = (1 - air) / 2, air / 2, strand.softening(fit.tension_n) / 2
        ends[:, i] = -ratio.by_end_a, -ratio.by_end_b
    own = (given.linear_mass, given.air, given.stretch)
    for column, x in zip(held, own, strict=False):
        if x is not None and x.value != 0:
            columns.append((column / x.value, x))
    if given.ends is not None:
        columns += list(zip(ends, given.ends, strict=True))
    if given.stiffness is not None:
        columns.append((np.eye(size)[count] / given.stiffness.value, given.stiffness))
    return columns
