"""Tension, bending stiffness and the tape's offset from tones at several parks.

The strand is plucked with the carriage at several known places. With the tape's spans and c, what
the tape and the last contact are off by at all of them alike, the tones are those of the exact
strand (`beltpitch.belts.mechanics`) of length tape + c. ln T, c and ln EI are found by weighted
least squares with exact derivatives (`beltpitch.belts.least_squares`); a stiffness that is known
beforehand is one more reading. Near the answer all results are linear in the errors of what went
in, so each carries the parts of tones, spans, masses, stretch and ends: theta = G (ln f - sum of
what inputs do to it).

Derived here; the tests check it against the exact beam and by repeated trials.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from beltpitch.belts.least_squares import Unknown, fit
from beltpitch.belts.mechanics import frequency
from beltpitch.belts.modes import mode
from beltpitch.belts.strand import Strand
from beltpitch.errors import CannotTell
from beltpitch.uncertainty import Estimate, combine

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

UNKNOWNS = 3
LEAST_SPAN = 0.01  # of the shortest tape: the offset leaves some strand
FIRST_XI = 60.0
XI_RANGE = (1.0, 1e4)  # of the mean span; beyond it stiffness is not told
UNTOLD = (
    "these parks do not tell bending stiffness from the rest: pluck over shorter spans too, or "
    "give a belt whose stiffness is known"
)


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
    solved = _Problem.of(strand, spans, tones, given).solved()
    inputs = _inputs(spans, tones, given, solved)
    values = (solved.tension_n, solved.stiffness_n_m2, solved.offset_m)
    pull, bend, offset = (
        combine(value, [(per * float(row @ column), x) for column, x in inputs])
        for value, per, row in zip(
            values, (solved.tension_n, solved.stiffness_n_m2, 1.0), solved.gain, strict=True
        )
    )
    return Travels(pull, bend, offset, solved.misfit)


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


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """What is to be fitted: tapes, log tones and their relative uncertainties, a known stiffness.

    The unknowns are ln T, c as a share of the mean tape, and ln EI.
    """

    strand: Strand
    tape: Array
    log_f: Array
    u: Array
    prior: tuple[float, float] | None  # ln EI and its uncertainty

    @classmethod
    def of(
        cls, strand: Strand, spans: Sequence[Estimate], tones: Sequence[Estimate], given: Given
    ) -> _Problem:
        """Return the problem of these readings."""
        tape = np.array([s.value for s in spans])
        shared = set.intersection(*({p.key for p in s.parts} for s in spans))
        own = [math.hypot(*(p.u for p in s.parts if p.key not in shared)) for s in spans]
        u = np.hypot([t.u / t.value for t in tones], np.array(own) / tape)
        # one without an uncertainty counts like the best of the others; all alike if none has one
        u = np.where(u > 0, u, u[u > 0].min() if np.any(u > 0) else 1e-6)
        prior = None
        if given.stiffness is not None:
            prior = math.log(given.stiffness.value), given.stiffness.u / given.stiffness.value
        return cls(strand, tape, np.log([t.value for t in tones]), u, prior)

    @property
    def mean_m(self) -> float:
        """The mean tape, which the offset is a share of."""
        return float(self.tape.mean())

    def solved(self) -> _Solved:
        """Return the fit.

        Raises
        ------
        CannotTell
            If the tones do not tell the stiffness.
        """
        unknowns = self._unknowns()
        try:
            found = fit(self._predicted, self.log_f, self.u, unknowns)
        except CannotTell:
            raise CannotTell(UNTOLD) from None
        log_pull, share, log_ei = (float(x) for x in found.values)
        if not XI_RANGE[0] < self.mean_m * math.exp((log_pull - log_ei) / 2) < XI_RANGE[1]:
            raise CannotTell(UNTOLD)
        gain = found.by_rows / self.u
        if self.prior is not None:
            gain = np.column_stack([gain, found.by_known[:, 2] / self.prior[1]])
        ei = math.exp(log_ei)
        return _Solved(
            tension_n=math.exp(log_pull),
            stiffness_n_m2=ei,
            offset_m=share * self.mean_m,
            gain=(gain * np.array([1.0, self.mean_m, 1.0])[:, None])[[0, 2, 1]],
            strand=replace(self.strand, stiffness_n_m2=ei),
            misfit=math.sqrt(found.chi2 / found.dof) if found.dof else None,
        )

    def _predicted(self, x: Array) -> tuple[Array, Array]:
        """Return ln f at each tape, and its derivatives by the unknowns."""
        pull, offset = math.exp(x[0]), float(x[1]) * self.mean_m
        here = replace(self.strand, stiffness_n_m2=math.exp(x[2]))
        rows, slopes = [], []
        for tape in self.tape:
            strand = replace(here, span_m=float(tape) + offset)
            g = mode(strand.xi(pull), 1, strand.hold_a, strand.hold_b).by_xi
            rows.append(math.log(frequency(strand, pull)))
            by_offset = (g - 1) * self.mean_m / strand.span_m
            slopes.append([(1 + g + strand.softening(pull)) / 2, by_offset, -g / 2])
        return np.array(rows), np.array(slopes)

    def _unknowns(self) -> list[Unknown]:
        """Return ln T by the two farthest parks of a string, no offset, EI as known or usual."""
        waves = np.exp(-self.log_f) / 2  # 1/(2f) = L/v
        far, near = int(self.tape.argmax()), int(self.tape.argmin())
        rise = (self.tape[far] - self.tape[near]) / (waves[far] - waves[near])
        if not (math.isfinite(rise) and rise > 0):
            raise CannotTell(
                "the longer spans do not sound lower than the shorter: check the parks"
            )
        pull = self.strand.moving_mass(0.0) * float(rise) ** 2
        least = -(1 - LEAST_SPAN) * float(self.tape.min()) / self.mean_m
        usual = math.log(pull * (self.mean_m / FIRST_XI) ** 2)
        centre, u = self.prior if self.prior is not None else (usual, math.inf)
        return [
            Unknown("tension", math.log(pull)),
            Unknown("offset", 0.0, low=least),
            Unknown("bending stiffness", centre, u),
        ]


def _inputs(
    spans: Sequence[Estimate], tones: Sequence[Estimate], given: Given, solved: _Solved
) -> list[tuple[Array, Estimate]]:
    """Return for each input its column: what one unit of it does to (ln f..., ln EI)."""
    size = solved.gain.shape[1]
    count = len(tones)
    columns: list[tuple[Array, Estimate]] = []
    held = np.zeros((4, size))  # what mass, air, stretch do to ln f, and the two ends
    ends = np.zeros((2, size))
    for i, (span, tone) in enumerate(zip(spans, tones, strict=True)):
        strand = replace(solved.strand, span_m=span.value + solved.offset_m)
        ratio = mode(strand.xi(solved.tension_n), 1, strand.hold_a, strand.hold_b)
        unit = np.eye(size)[i]
        columns.append((unit / tone.value, tone))
        columns.append((unit * (1 - ratio.by_xi) / strand.span_m, span))
        air = strand.air_kg_per_m / strand.moving_mass(solved.tension_n)
        held[:3, i] = (1 - air) / 2, air / 2, strand.softening(solved.tension_n) / 2
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
