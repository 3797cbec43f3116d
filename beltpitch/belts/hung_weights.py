"""Linear mass, bending stiffness and end correction of a belt from known weights.

A strand hangs from a clamp with a weight at its foot and is plucked; or a cord runs level over a
pulley with a weight beyond it. What is heard obeys (`beltpitch.belts.mechanics`)

    f_n = (n/2L') sqrt(T/m) r_n(xi)/(1 - mu L/(n^2 pi^2 M_foot)),    L' = L + e,

hung: T = g (M + mu L/2) and the weight can swing (`beltpitch.belts.corrections`); level: T = g M
and the last factor is 1. Fitted are the linear mass mu, ``q = sqrt(EI)``, the holding s of the ends
and, where asked for, a length e by which the ends lie further apart than the tape says.

What the weights can tell: to first order ``(2 L f/n)^2 = T/m (1 + 4 s/xi + (12 s^2 + n^2 pi^2)/
xi^2)``, that is mu from the part that grows as T, ``s q`` from sqrt T, and only the small rest
parts s from q. One length cannot tell e from mu at all.

Method: `beltpitch.belts.least_squares`, least squares with errors in both variables in ln f. Errors
that are shared are fitted once each: a weight used twice, a tape for all rows of a length, the
scale's own error for all weights, gravity. The parts of the resulting estimates keep what they
share, so that a tension computed from linear mass and stiffness has the right uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from beltpitch.belts.catalogue import Belt, Figure
from beltpitch.belts.corrections import hung_tension, swing_factor
from beltpitch.belts.gravity import gravity as gravity_estimate
from beltpitch.belts.least_squares import Array, LeastSquaresFit, Unknown, fit
from beltpitch.belts.modes import mode
from beltpitch.belts.strand import Strand
from beltpitch.errors import CannotTell, RequestError, check_not_negative, check_positive
from beltpitch.uncertainty import Estimate, Part, combine, merged, rectangular, student_quantile

# A clamped plate's edge clamps; rubber and teeth under it give way a little. Anything from half
# held to fully held is allowed for (derived here, no measured belt behind it).
CLAMP_HOLDING = 0.75
CLAMP_HOLDING_LIMIT = 0.25
SCALE_SHARE_LIMIT = 0.005  # a kitchen scale's own error; common practice, no source
TAPE_LIMIT_M = 0.001  # the design's default for a tape

# What a rig can be; beyond it a unit has slipped.
WEIGHTS_KG, TONES_HZ, LENGTHS_M = (1e-3, 1e4), (1.0, 5000.0), (0.02, 20.0)
HIGHEST_MODE = 20
# Share by which the swinging foot may raise the tone: beyond it the first order is no longer true.
MOST_SWING = 0.05

OUTLIER_CHANCE = 0.01  # that one row of a good table is set aside
OUTLIER_LEAST = 3.0  # standard uncertainties as stated: nothing nearer is called an outlier
MOST_OUTLIERS = 0.25  # of the rows
FEWEST_SPARE = 3  # degrees of freedom: with fewer, whichever row is left out the rest agrees
MOST_SCATTER = 10.0  # times the doubts as stated: no belt does what such rows say
SCATTER_CHANCE = 0.975  # beyond this quantile of chi^2 the stated uncertainties are too small
STILL_AS_ASSUMED = 0.7  # u of the holding over what was assumed: the rows did not tell it
SEEN = 1.0  # EI over its u, that is sqrt EI over twice its own: from there EI is told from none
POOR_MASS = 0.05  # relative u of the linear mass above which weighing a piece is better
TOO_POOR_MASS = 0.3  # and above which no number is given
FAR = 0.9  # share of itself by which a length or a weight may be off while searching
STIFFEST_XI, SOFTEST_XI = 15.0, 150.0  # where the search begins
HARDLY_STIFF_XI = 1e5  # bound of the search: a string
LIGHTEST_FOOT = 20.0  # times the hung belt: the swing then moves the tone by 0.5 % at most

MASS, ROOT, HOLD, END, AIR, SCALE, GRAVITY, FIRST = range(8)  # columns of the fit
BELT = slice(MASS, AIR)  # the four that are reported


# line of the budget of the linear mass: what shrinks it
WAYS = {
    "readings": "pluck each weight several times and give the mean with its doubt, or hang more",
    "weights": "weigh the weights on a finer scale",
    "lengths": "measure the strand's length twice, or hang a longer one",
    "scale": "check the scale with a known weight and give --scale-error",
    "gravity": "give --latitude",
    "air": "weigh a piece: air does not weigh in there",
    "ends": "hang a longer strand, so that its ends count less",
    "end length": "hang strands that differ more in length",
    "stiffness": "hang lighter weights too, or a longer strand",
    "weighed piece": "weigh a longer piece",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One tone at one weight.

    Parameters
    ----------
    mass_kg, mass_u_kg
        The weight and its own standard uncertainty; rows of equal mass share one weight.
    frequency_hz, frequency_u_hz
        The tone, at vanishing amplitude.
    length_m, length_u_m
        From the clamp's edge to the foot's edge; rows of equal length share one tape reading.
    mode_n
        Partial number, 1 for the fundamental.
    label
        How to name the row.
    inharmonicity, inharmonicity_u, top
        B of ``f_n = n F sqrt(1 + B n^2)`` as heard through the first and the `top` partial, with
        its standard uncertainty; None where the partials were not heard.
    """

    mass_kg: float
    mass_u_kg: float
    frequency_hz: float
    frequency_u_hz: float
    length_m: float
    length_u_m: float = rectangular(TAPE_LIMIT_M)
    mode_n: int = 1
    label: str = ""
    inharmonicity: float | None = None
    inharmonicity_u: float = 0.0
    top: int = 1

    def __post_init__(self) -> None:
        for what, value, unit, (low, high) in (
            ("weight", self.mass_kg, "kg", WEIGHTS_KG),
            ("frequency", self.frequency_hz, "Hz", TONES_HZ),
            ("length", self.length_m, "m", LENGTHS_M),
        ):
            check_positive(value, what, unit)
            if not low <= value <= high:
                raise RequestError(
                    f"{what} is {value:g} {unit}, not in {low:g} to {high:g} {unit}: check the unit"
                )
        check_positive(self.frequency_u_hz, "uncertainty of the frequency", "Hz")
        check_not_negative(self.mass_u_kg, "uncertainty of a weight", "kg")
        check_not_negative(self.length_u_m, "uncertainty of a length", "m")
        if not 1 <= self.mode_n <= HIGHEST_MODE:
            raise RequestError(
                f"mode is {self.mode_n}, must be 1 (the fundamental) to {HIGHEST_MODE}"
            )
        if self.inharmonicity is not None:
            check_not_negative(self.inharmonicity, "inharmonicity", "")
            check_positive(self.inharmonicity_u, "uncertainty of the inharmonicity", "")
            if self.top <= self.mode_n or self.mode_n != 1:
                raise RequestError("an inharmonicity belongs to a fundamental and a higher partial")

    @property
    def partials(self) -> tuple[float, float] | None:
        """``ln(f_top/(top f_1))`` as heard, and its standard uncertainty; None if not heard."""
        b, top2 = self.inharmonicity, self.top**2
        if b is None:
            return None
        by_b = 0.5 * (top2 / (1 + b * top2) - 1 / (1 + b))
        return 0.5 * math.log((1 + b * top2) / (1 + b)), by_b * self.inharmonicity_u

    @property
    def silent(self) -> Row:
        """The row without what its partials told."""
        return replace(self, inharmonicity=None, inharmonicity_u=0.0, top=1)


# kind of ends: holding of both, and the limit of what it may be off by
HOLDINGS: dict[str, tuple[float, float]] = {
    "clamp": (CLAMP_HOLDING, CLAMP_HOLDING_LIMIT),
    "free": (0.5, 0.5),
    "full": (1.0, 0.0),
}


def holding(kind: str) -> Estimate:
    """Return how ends of a kind hold, 0 pinned to 1 clamped.

    "clamp" is a plate with rubber under it, "full" a clamp taken as perfect, "free" anything.

    Raises
    ------
    RequestError
        If there is no such kind.
    """
    if kind not in HOLDINGS:
        raise RequestError(f'ends "{kind}" are not one of {", ".join(HOLDINGS)}')
    value, limit = HOLDINGS[kind]
    return Estimate.single(value, rectangular(limit), name="ends", key="rig/ends")


def _clamped() -> Estimate:
    return holding("clamp")


def _scale() -> Estimate:
    return Estimate.single(1.0, rectangular(SCALE_SHARE_LIMIT), name="scale", key="scale")


@dataclass(frozen=True, slots=True)
class HangingRig:
    """How the strand is held and loaded, and how well that is known.

    Parameters
    ----------
    hung
        True: the plucked strand hangs with the weight at its foot. False: it runs level and the
        weight pulls over a pulley, or a balance was read.
    scale
        True over shown for all weights: 1 and the scale's own error.
    gravity
        In m/s^2.
    foot_kg
        Mass fixed to the belt's foot, where the rest hangs from it by a link; None: all of it.
    holding
        Of both ends: 0 pinned to 1 clamped.
    end_m
        By how much the ends lie further apart than the tape says; None: to be fitted, which needs
        several lengths.
    """

    hung: bool = True
    scale: Estimate = field(default_factory=_scale)
    gravity: Estimate = field(default_factory=gravity_estimate)
    foot_kg: float | None = None
    holding: Estimate = field(default_factory=_clamped)
    end_m: Estimate | None = field(default_factory=lambda: Estimate(0.0))


@dataclass(frozen=True, slots=True)
class KnownFigures:
    """What is known of the belt beforehand.

    Parameters
    ----------
    linear_mass, stiffness
        As weighed, and EI where known; None: to be fitted. `Estimate(0.0)` leaves stiffness out.
    air
        Air carried along, kg/m.
    stretch_n
        Axial stiffness EA; infinite leaves stretch out.
    """

    linear_mass: Estimate | None = None
    stiffness: Estimate | None = None
    air: Estimate = field(default_factory=lambda: Estimate(0.0))
    stretch_n: float = math.inf


@dataclass(frozen=True, slots=True)
class LoadPoint:
    """A row beside what the fit says of it.

    Parameters
    ----------
    row
        As it was given.
    tension_n, xi
        At the weight as given.
    fitted_hz
        What the fitted belt sounds at the weight as given.
    residual, sigmas
        ln(heard/fitted), and the same over the own doubts of tone and weight together.
    reason
        Why the row was set aside; None for one that was used.
    """

    row: Row
    tension_n: float
    xi: float
    fitted_hz: float
    residual: float
    sigmas: float
    reason: str | None = None

    @property
    def used(self) -> bool:
        """Whether the fit rests on it."""
        return self.reason is None


@dataclass(frozen=True, slots=True)
class Correlation:
    """Correlation coefficient of two fitted quantities."""

    a: str
    b: str
    r: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """A belt as its weights told it.

    Parameters
    ----------
    name
        Of the belt or roll.
    linear_mass, stiffness
        kg/m and N m^2; they go with the belt.
    holding, end_m
        They stay with the rig.
    shortening
        By how much the ends shortened the string in m, at `shortening_tension_n`.
    correlations
        Of linear mass, stiffness, holding and (where fitted) end length.
    points
        All rows in the order given.
    chi2, dof
        Of the rows that were used, with uncertainties as stated.
    scatter
        By what factor the rows scatter more than stated; 1 where they do not. The uncertainties
        include it.
    warnings
        In words.
    """

    name: str
    linear_mass: Estimate
    stiffness: Estimate
    holding: Estimate
    end_m: Estimate
    shortening: Estimate
    shortening_tension_n: float
    correlations: tuple[Correlation, ...]
    points: tuple[LoadPoint, ...]
    chi2: float
    dof: int
    scatter: float
    air: Estimate
    warnings: tuple[str, ...]

    def stiffness_interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Return the interval of EI at `coverage`; it does not go below 0.

        What the rows tell well is ``s sqrt(EI)``, so EI errs by a factor rather than by an amount:
        the interval is even on a logarithmic scale, unless the stiffness is not told from none.
        Simulated fits are covered in 92 to 97 %, and in 89 % by one that is even in EI.
        """
        ei, u = self.stiffness.value, self.stiffness.u
        t = student_quantile((1 + coverage) / 2, self.stiffness.dof)
        if self.stiffness_seen:
            return ei * math.exp(-t * u / ei), ei * math.exp(t * u / ei)
        return 0.0, ei + t * u

    @property
    def stiffness_seen(self) -> bool:
        """Whether the rows (or what was known) tell the stiffness from none."""
        return self.stiffness.value >= self.stiffness.u * SEEN and self.stiffness.value > 0

    def belt(self, base: Belt) -> Belt:
        """Return `base` with what its weights told in place of the catalogue's figures.

        The stiffness stands only where it was seen. Its error and that of the linear mass are
        taken as independent there, as a catalogue's are; `linear_mass` and `stiffness` themselves
        keep what they share.
        """
        found = base.weighed(self.linear_mass)
        if not self.stiffness_seen or not self.stiffness.u:
            return found
        rows = sum(p.used for p in self.points)
        figure = Figure(
            value=self.stiffness.value,
            u=self.stiffness.u,
            source=f"hung weights, {rows} rows",
            known="measured by the user",
            unit="N m2",
        )
        return replace(found, ei_n_m2=figure)

    @property
    def advice(self) -> str:
        """The one thing to do next for the linear mass, and what it would bring at best."""
        worst = self.linear_mass.budget()[0]
        now = self.linear_mass.u / self.linear_mass.value
        left = math.sqrt(max(0.0, 1 - worst.share)) * now
        return f"{WAYS[worst.name]}: u {now:.2%} would become {left:.2%} at best"

    @property
    def outliers(self) -> tuple[LoadPoint, ...]:
        """Rows that were set aside."""
        return tuple(p for p in self.points if not p.used)


def calibrate(
    rows: Sequence[Row],
    *,
    name: str,
    rig: HangingRig | None = None,
    known: KnownFigures | None = None,
) -> Calibration:
    """Fit a belt to its hung weights.

    Parameters
    ----------
    rows
        At least as many as there are unknowns.
    name
        Of the belt or roll; its errors are keyed ``roll:<name>/...``.
    rig, known
        Default: clamped at both ends, hung, nothing known of the belt, no air.

    Raises
    ------
    CannotTell
        If the rows do not tell what is asked.
    RequestError
        If there are no rows, or an end length is asked of one length.
    """
    setup = _Setup(tuple(rows), rig or HangingRig(), known or KnownFigures())
    setup.check()
    reasons: dict[int, str] = {}
    used = list(range(len(rows)))
    muted: list[str] = []
    found = setup.fit(used)
    while (worst := _worst(found, len(rows))) is not None:
        position, reason = worst
        if position < len(used):
            reasons[used.pop(position)] = reason
        else:  # what a row's partials told, not its tone
            i = setup.heard(used)[position - len(used)]
            setup = setup.without_partials(i)
            muted.append(f"partials of row {setup.label(i)} left out: {reason}")
        found = setup.fit(used)
    stated = found
    scatter = _scatter(stated)
    if scatter > MOST_SCATTER:
        raise CannotTell(
            f"the rows contradict each other by {scatter:.0f} times their doubts: check weights, "
            "lengths, units and mode numbers, and that each tone is the strand's own"
        )
    if scatter > 1:
        found = setup.fit(used, scatter)
    return _Report(name, setup, found, stated, used, reasons, scatter, muted).calibrated()


def _worst(found: LeastSquaresFit, rows: int) -> tuple[int, str] | None:
    """Return the position of the worst reading and why it is set aside, or None if all are good.

    Externally studentised residuals against Student's t with Bonferroni's share of the chance.
    """
    n, dof = len(found.residuals), found.dof
    if dof < FEWEST_SPARE or n - 1 < (1 - MOST_OUTLIERS) * rows:
        return None
    own = np.sqrt(np.maximum(1 - found.leverage, 1e-9))
    inside = found.residuals / own
    left = np.maximum(found.chi2 - inside**2, 1e-12) / (dof - 1)
    outside = np.abs(inside) / np.sqrt(left)
    k = int(np.argmax(outside))
    limit = student_quantile(1 - OUTLIER_CHANCE / (2 * n), dof - 1)
    if outside[k] <= limit or abs(inside[k]) <= OUTLIER_LEAST:
        return None
    return k, f"{inside[k]:+.1f} standard uncertainties from what the other rows say"


def _scatter(found: LeastSquaresFit) -> float:
    """Return sqrt(chi2/dof) where chance hardly explains it, else 1 (Birge's ratio)."""
    if found.dof < 1 or found.chi2 <= chi2_quantile(SCATTER_CHANCE, found.dof):
        return 1.0
    return math.sqrt(found.chi2 / found.dof)


def chi2_quantile(p: float, dof: int) -> float:
    """Return the quantile of chi^2."""
    from scipy.special import chdtri

    return float(chdtri(dof, 1 - p))


@dataclass(frozen=True, slots=True)
class _Setup:
    """Rows, rig and what is known, as unknowns and predictions of a fit."""

    rows: tuple[Row, ...]
    rig: HangingRig
    known: KnownFigures

    def check(self) -> None:
        if not self.rows:
            raise RequestError("no rows: give at least two weights with their frequencies")
        if self.rig.end_m is None and len({row.length_m for row in self.rows}) == 1:
            raise RequestError(
                "an end length cannot be told from the linear mass with one length: hang the "
                "strand at two lengths or more, or leave the end length out"
            )

    def fit(self, used: Sequence[int], scatter: float = 1.0) -> LeastSquaresFit:
        """Fit the rows `used`, their own u times `scatter`.

        The search begins nearly at a string; only where that ends in a misfit it begins again at a
        stiff strand, and the better of the two stands.
        """
        rows = [self.rows[i] for i in used]
        told = [row.partials for row in rows if row.partials is not None]
        observed = np.array([math.log(row.frequency_hz) for row in rows] + [x for x, _ in told])
        own = [row.frequency_u_hz / row.frequency_hz for row in rows] + [u for _, u in told]
        u = scatter * np.array(own)
        model = _Model(self, tuple(rows))
        found = fit(model.predict, observed, u, model.unknowns(SOFTEST_XI, scatter))
        if self.known.stiffness is not None or _scatter(found) == 1:
            return found
        again = fit(model.predict, observed, u, model.unknowns(STIFFEST_XI, scatter))
        return min(found, again, key=lambda one: one.chi2)

    def heard(self, used: Sequence[int]) -> list[int]:
        """Return which of the rows `used` have partials, in the order of the fit."""
        return [i for i in used if self.rows[i].partials is not None]

    def without_partials(self, i: int) -> _Setup:
        """Return the setup without what the partials of row i told."""
        rows = tuple(row.silent if k == i else row for k, row in enumerate(self.rows))
        return replace(self, rows=rows)

    def label(self, i: int) -> str:
        """Return how to name a row."""
        return self.rows[i].label or str(i + 1)


@dataclass(frozen=True, slots=True)
class _Model:
    """Predictions for some rows; columns MASS to GRAVITY, then one a length, then one a weight.

    The tones of all rows come first, then ``ln(f_top/(top f_1))`` of those with partials.
    """

    setup: _Setup
    rows: tuple[Row, ...]

    @property
    def lengths(self) -> dict[float, float]:
        """Length -> its own uncertainty."""
        return {row.length_m: row.length_u_m for row in self.rows}

    @property
    def weights(self) -> dict[float, float]:
        """Weight -> its own uncertainty."""
        return {row.mass_kg: row.mass_u_kg for row in self.rows}

    def unknowns(self, start_xi: float, scatter: float = 1.0) -> list[Unknown]:
        rig, known = self.setup.rig, self.setup.known
        short = FAR * min(self.lengths) / 2
        own = [
            self._mass(),
            self._root(start_xi),
            _known("holding of the ends", rig.holding, 0.0, 1.0),
            Unknown("end length", 0.0, low=-short)
            if rig.end_m is None
            else _known("end length", rig.end_m, -short),
            _known("air", known.air, 0.0),
            _known("scale", rig.scale, 1 - FAR),
            _known("gravity", rig.gravity, (1 - FAR) * rig.gravity.value),
        ]
        own += [Unknown(f"length {x:g} m", 0.0, u, -short) for x, u in self.lengths.items()]
        own += [
            Unknown(f"weight {m:g} kg", 0.0, scatter * u, -FAR * m) for m, u in self.weights.items()
        ]
        return own

    def _string_mass(self) -> float:
        """Return the linear mass of a string for the heaviest row, less the air."""
        row = max(self.rows, key=lambda r: r.mass_kg)
        tension = self.setup.rig.gravity.value * row.mass_kg
        return tension / (2 * row.length_m * row.frequency_hz / row.mode_n) ** 2

    def _mass(self) -> Unknown:
        weighed = self.setup.known.linear_mass
        if weighed is not None:
            return _known("linear mass", weighed, 0.0)
        return Unknown("linear mass", self._string_mass(), low=1e-3 * self._string_mass())

    def _root(self, start_xi: float) -> Unknown:
        """Return q = sqrt(EI); with its second-order share where EI is known."""
        stiffness = self.setup.known.stiffness
        if stiffness is not None:
            root = math.sqrt(stiffness.value)
            return Unknown("stiffness", root, stiffness.u / (2 * root) if root else 0.0, low=0.0)
        heaviest = max(self.rows, key=lambda r: r.mass_kg * r.length_m**2)
        string = heaviest.length_m * math.sqrt(self.setup.rig.gravity.value * heaviest.mass_kg)
        return Unknown("stiffness", string / start_xi, low=string / HARDLY_STIFF_XI)

    def predict(self, values: Array) -> tuple[Array, Array]:
        """Return what is observed, shape (n,), and its derivatives, shape (n, p)."""
        tones = [self._tone(row, values) for row in self.rows]
        found = list(tones)
        for row, (first, by_first) in zip(self.rows, tones, strict=True):
            if row.partials is not None:
                log, by = self._tone(replace(row.silent, mode_n=row.top), values)
                found.append((log - first - math.log(row.top), by - by_first))
        return np.array([log for log, _ in found]), np.vstack([by for _, by in found])

    def _tone(self, row: Row, values: Array) -> tuple[float, Array]:
        """Return ln f of a row and its derivatives, shape (p,)."""
        at_length = FIRST + list(self.lengths).index(row.length_m)
        at_weight = FIRST + len(self.lengths) + list(self.weights).index(row.mass_kg)
        point = _State.of(
            self.setup, row, values, float(values[at_length]), float(values[at_weight])
        )
        by = np.zeros(len(values))
        log, (by[:FIRST], by[at_length], by[at_weight]) = point.log_tone()
        return log, by


def _known(name: str, x: Estimate, low: float = -math.inf, high: float = math.inf) -> Unknown:
    return Unknown(name, x.value, x.u, low, high)


@dataclass(frozen=True, slots=True)
class _State:
    """One row at given values of the unknowns."""

    row: Row
    strand: Strand
    tape_m: float
    weight_kg: float
    foot_kg: float | None
    scale: float
    gravity: float
    hung: bool

    @classmethod
    def of(
        cls, setup: _Setup, row: Row, values: Array, off_m: float, off_kg: float = 0.0
    ) -> _State:
        mass, root, hold, end, air, scale, g = (float(x) for x in values[:FIRST])
        tape = row.length_m + off_m
        strand = Strand(tape + end, mass, root**2, hold, hold, air, setup.known.stretch_n)
        weight = (row.mass_kg + off_kg) * scale
        return cls(row, strand, tape, weight, setup.rig.foot_kg, scale, g, setup.rig.hung)

    @property
    def tension_n(self) -> float:
        hung_kg = self.strand.linear_mass_kg_per_m * self.tape_m if self.hung else 0.0
        return hung_tension(self.weight_kg, hung_kg, self.gravity)

    def log_tone(self) -> tuple[float, tuple[list[float], float, float]]:
        """Return ln f and its derivatives: by MASS to GRAVITY, by this length, by this weight."""
        strand, n, tension = self.strand, self.row.mode_n, self.tension_n
        root = math.sqrt(strand.stiffness_n_m2)
        ratio = mode(strand.xi(tension), n, strand.hold_a, strand.hold_b)
        moving = strand.moving_mass(tension)
        swing, by_swing_mass, by_swing_weight = self.swing()
        log = math.log(n * ratio.value / (2 * strand.span_m)) + 0.5 * math.log(tension / moving)

        by_tension = (1 + ratio.by_xi + strand.softening(tension)) / 2  # d ln f/d ln T
        by_span = (ratio.by_xi - 1) / strand.span_m
        own = self.gravity * self.weight_kg / tension  # d ln T/d ln M
        mass = strand.linear_mass_kg_per_m
        by_mass = -strand.linear_mass_kg_per_m / (1 + tension / strand.stretch_n) / moving / 2
        columns = [
            (by_mass + by_tension * (1 - own) + by_swing_mass) / mass,
            -ratio.by_xi / root if root else 0.0,
            ratio.by_end_a + ratio.by_end_b,
            by_span,
            -0.5 / moving,
            (by_tension * own + by_swing_weight) / self.scale,
            by_tension / self.gravity,
        ]
        by_length = by_span + (by_tension * (1 - own) + by_swing_mass) / self.tape_m
        by_weight = (by_tension * own + by_swing_weight) * self.scale / self.weight_kg
        return log + swing, (columns, by_length, by_weight)

    def swing(self) -> tuple[float, float, float]:
        """Return ln of what the swing does to the tone; by ln of the strand's mass, of the weight.

        Beyond `MOST_SWING` it goes on straight, so that a search may pass there.
        """
        if not self.hung:
            return 0.0, 0.0, 0.0
        foot = self.weight_kg if self.foot_kg is None else self.foot_kg
        hung = self.strand.linear_mass_kg_per_m * self.tape_m
        share = 1 - swing_factor(foot, hung, self.row.mode_n)
        inside = min(share, MOST_SWING)
        rise = -math.log(1 - inside) + (share - inside) / (1 - inside)
        slope = share / (1 - inside)
        return rise, slope, -slope if self.foot_kg is None else 0.0


@dataclass(frozen=True, slots=True)
class _Report:
    """A finished fit, told in estimates and words."""

    name: str
    setup: _Setup
    found: LeastSquaresFit
    stated: LeastSquaresFit
    used: Sequence[int]
    reasons: dict[int, str]
    scatter: float
    muted: Sequence[str] = ()

    def calibrated(self) -> Calibration:
        mass, root, holding, end = self._estimates()
        tension = self._middle_tension()
        per = 1 / math.sqrt(tension)
        shortening = combine(
            2 * holding.value * root.value * per - end.value,
            [(2 * holding.value * per, root), (2 * root.value * per, holding), (-1.0, end)],
        )
        stiffness = self._stiffness(root)
        swing = max(self._state(i).swing()[0] for i in self.used)
        if swing > MOST_SWING:
            raise CannotTell(
                f"the foot swings so much that it moves the tone by {swing:.0%}: fix more weight "
                "to the belt's foot, or check the length and the weights"
            )
        if mass.u > TOO_POOR_MASS * mass.value:
            raise CannotTell(
                f"these weights tell the linear mass only to {mass.u / mass.value:.0%}: hang "
                "weights that differ more (the heaviest ten times the lightest), or weigh a piece"
            )
        return Calibration(
            name=self.name,
            linear_mass=mass,
            stiffness=stiffness,
            holding=holding,
            end_m=end,
            shortening=shortening,
            shortening_tension_n=tension,
            correlations=self._correlations(),
            points=tuple(self._point(i) for i in range(len(self.setup.rows))),
            chi2=self.stated.chi2,
            dof=self.stated.dof,
            scatter=self.scatter,
            air=self.setup.known.air,
            warnings=tuple(self._warnings(mass, stiffness, holding)),
        )

    def _estimates(self) -> list[Estimate]:
        """Return linear mass, sqrt(EI), holding and end length with parts that they share."""
        found, key = self.found, f"roll:{self.name}"
        dof = found.dof if self.scatter > 1 else math.inf
        lengths = FIRST + len({self.setup.rows[i].length_m for i in self.used})
        blocks = (
            ("readings", found.by_rows, dof),
            ("lengths", found.by_known[:, FIRST:lengths], math.inf),
            ("weights", found.by_known[:, lengths:], dof),
        )
        parts: list[list[Part]] = [[], [], [], []]
        for name, block, block_dof in blocks:
            # Any factor with the same square tells the same; R of a QR is the shortest.
            shared = np.linalg.qr(block[BELT].T, mode="r")
            for k, line in enumerate(shared):
                for own, u in zip(parts, line, strict=True):
                    own.append(Part(name, f"{key}/hung {name} {k}", float(u), block_dof))
        for column, name, source in self._known_inputs():
            for own, c in zip(parts, found.by_known[BELT, column], strict=True):
                own += [
                    Part(name, p.key, float(c) * p.u / source.u, p.dof)
                    for p in merged(source.parts)
                ]
        return [
            Estimate(float(value), tuple(p for p in own if p.u))
            for value, own in zip(found.values[BELT], parts, strict=True)
        ]

    def _known_inputs(self) -> list[tuple[int, str, Estimate]]:
        """Return (column, budget line, estimate) of each input known beforehand with a doubt."""
        rig, known = self.setup.rig, self.setup.known
        every = (
            (MASS, "weighed piece", known.linear_mass),
            (ROOT, "stiffness", known.stiffness),
            (HOLD, "ends", rig.holding),
            (END, "end length", rig.end_m),
            (AIR, "air", known.air),
            (SCALE, "scale", rig.scale),
            (GRAVITY, "gravity", rig.gravity),
        )
        return [(column, name, x) for column, name, x in every if x is not None and x.u > 0]

    def _stiffness(self, root: Estimate) -> Estimate:
        """Return EI = q^2; near 0 its second order, u = sqrt2 u_q^2, is most of the doubt."""
        first = combine(root.value**2, [(2 * root.value, root)])
        second = math.sqrt(2) * root.u**2
        if not second:
            return first
        return first.with_part(Part("stiffness", f"roll:{self.name}/second order", second))

    def _middle_tension(self) -> float:
        """Return the geometric mean of the tensions used."""
        logs = [math.log(self._state(i).tension_n) for i in self.used]
        return math.exp(sum(logs) / len(logs))

    def _state(self, i: int) -> _State:
        """Return a row at the fitted values; its length as fitted, its weight as given."""
        row = self.setup.rows[i]
        lengths = list(_Model(self.setup, tuple(self.setup.rows[j] for j in self.used)).lengths)
        off_m = 0.0
        if row.length_m in lengths:
            off_m = float(self.found.values[FIRST + lengths.index(row.length_m)])
        return _State.of(self.setup, row, self.found.values, off_m)

    def _point(self, i: int) -> LoadPoint:
        state, row = self._state(i), self.setup.rows[i]
        log, (_, _, by_weight) = state.log_tone()
        fitted = math.exp(log)
        residual = math.log(row.frequency_hz / fitted)
        own = math.hypot(row.frequency_u_hz / row.frequency_hz, by_weight * row.mass_u_kg)
        return LoadPoint(
            row=row,
            tension_n=state.tension_n,
            xi=state.strand.xi(state.tension_n),
            fitted_hz=fitted,
            residual=residual,
            sigmas=residual / own,
            reason=self.reasons.get(i),
        )

    def _correlations(self) -> tuple[Correlation, ...]:
        names = ("linear mass", "stiffness", "holding", "end length")
        u = self.found.u
        told = [k for k in range(len(names)) if u[k] > 0]
        r = self.found.covariance
        return tuple(
            Correlation(names[a], names[b], float(r[a, b] / (u[a] * u[b])))
            for k, a in enumerate(told)
            for b in told[k + 1 :]
        )

    def _warnings(self, mass: Estimate, stiffness: Estimate, holding: Estimate) -> list[str]:
        fitted_stiffness = self.setup.known.stiffness is None
        assumed = self.setup.rig.holding.u
        said = []
        if fitted_stiffness and not stiffness.value >= SEEN * stiffness.u:
            said.append(
                "these weights cannot tell the stiffness from none: it is below "
                f"{stiffness.interval()[1] * 1e6:.0f} N mm^2; lighter weights or a shorter strand "
                "show it better"
            )
        elif fitted_stiffness and assumed and holding.u > STILL_AS_ASSUMED * assumed:
            said.append(
                "the spread of weights is too small to tell stiffness from ends: the stiffness "
                f"rests on the ends as assumed (holding {holding.value:.2f}, u {holding.u:.2f}), "
                "the linear mass does not. A second length or partials would tell them apart"
            )
        if mass.u > POOR_MASS * mass.value:
            said.append(
                f"the linear mass is known to {mass.u / mass.value:.0%} only: weigh a piece, or "
                "hang weights that differ more"
            )
        if self.scatter > 1:
            said.append(
                f"the rows scatter {self.scatter:.1f} times more than stated; the uncertainties "
                "allow for it: pluck again where the residuals are large"
            )
        if self.setup.rig.hung:
            said += self._foot_warning()
        said += [f"row {self.setup.label(i)} set aside: {why}" for i, why in self.reasons.items()]
        return [*said, *self.muted]

    def _foot_warning(self) -> list[str]:
        foot = self.setup.rig.foot_kg
        heaviest_strand = max(
            self._state(i).tape_m * self._state(i).strand.linear_mass_kg_per_m for i in self.used
        )
        lightest = foot or min(self.setup.rows[i].mass_kg for i in self.used)
        if lightest >= LIGHTEST_FOOT * heaviest_strand:
            return []
        return [
            f"the foot of the strand ({lightest * 1e3:.0f} g) is light against the hung belt "
            f"({heaviest_strand * 1e3:.1f} g), so it moves along: fix at least "
            f"{LIGHTEST_FOOT * heaviest_strand * 1e3:.0f} g to the belt itself"
        ]
