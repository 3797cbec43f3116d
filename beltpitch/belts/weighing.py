"""Linear mass from a piece (or a loop) that was measured and weighed.

``mu = M/L``. The length comes from a tape or from a tooth count times the tooth spacing.

Uncertainty (GUM 4.2, 4.3.7, F.2.2.1): what a scale shows is rounded, and so was its zero when it
was tared, each within half a digit either way; its own error is a share of the load. Several
weighings add their scatter. Rounding is never averaged away: a scale that shows the same figure
ten times has not become finer.

Conventions: SI floats; every part is keyed ``roll:<name>/...``: two belts from one roll share it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from beltpitch.errors import CannotTell, check_not_negative, check_positive
from beltpitch.uncertainty import (
    Estimate,
    Part,
    combine,
    difference,
    rectangular,
    student_quantile,
    type_a,
)

SCALE_SHARE_LIMIT = 0.005  # a kitchen scale's own error; common practice, no source
TAPE_LIMIT_M = 0.001  # the design's default for a tape
# A cut meets its gap between two teeth within a quarter of the tooth spacing; a judgement.
CUT_LIMIT_PITCHES = 0.25
# Belt makers' length tolerances are about 0.1 mm/m for linear belts and up to ten times that for
# small loops (from memory); a limit.
SPACING_LIMIT = 0.001
FEWEST_DIGITS = 5  # of the scale, below which a weighing tells nothing
GROSS_RATIO = 1.6  # makers and standards differ by up to 1.5: beyond it, look for a slip
COVERAGE = 0.95
ONE_STEP = 1.5  # steps of the scale: weighings no further apart differ by rounding alone

Shape = Literal["piece", "loop"]


@dataclass(frozen=True, slots=True)
class Balance:
    """A scale.

    Parameters
    ----------
    resolution_kg
        The last digit it shows.
    share_limit
        Its own error as a share of the load, a limit either way.
    """

    resolution_kg: float
    share_limit: float = SCALE_SHARE_LIMIT

    def __post_init__(self) -> None:
        check_positive(self.resolution_kg, "resolution of the scale", "kg")
        check_not_negative(self.share_limit, "error of the scale", "")

    @property
    def rounding_u_kg(self) -> float:
        """Standard uncertainty of one weighing by rounding of load and zero: d/sqrt 6."""
        return math.sqrt(2) * rectangular(self.resolution_kg / 2)

    @property
    def share_u(self) -> float:
        """Standard uncertainty of its own error, relative."""
        return rectangular(self.share_limit)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A linear mass as weighed.

    Parameters
    ----------
    name
        Of the roll or belt.
    linear_mass
        kg/m.
    length, mass
        m and kg.
    advice
        What would make it better, and by how much; in words.
    """

    name: str
    linear_mass: Estimate
    length: Estimate
    mass: Estimate
    advice: str


@dataclass(frozen=True, slots=True)
class MassComparison:
    """A linear mass beside another figure for the same belt.

    Parameters
    ----------
    ratio
        Weighed over the other.
    difference
        Weighed less the other, kg/m.
    fits
        Whether the doubts of both together (95 %) cover the difference.
    gross
        Whether it is so far off that a slip is likelier than a different belt.
    words
        The same as a sentence.
    """

    ratio: float
    difference: Estimate
    fits: bool
    gross: bool
    words: str


def taped_length(length_m: float, u_m: float = rectangular(TAPE_LIMIT_M)) -> Estimate:
    """Return a length read from a tape, in m."""
    check_positive(length_m, "length", "m")
    return Estimate.single(length_m, u_m, name="length", key="length")


def counted_length(teeth: int, pitch_m: float, shape: Shape = "piece") -> Estimate:
    """Return a length counted in teeth, in m.

    A piece has two cuts, each off by up to a quarter of the tooth spacing; count the teeth between
    cuts made in the gaps. A loop has none.
    """
    check_positive(teeth, "number of teeth", "")
    check_positive(pitch_m, "tooth spacing", "m")
    length = teeth * pitch_m
    cuts = math.sqrt(2) * rectangular(CUT_LIMIT_PITCHES * pitch_m) if shape == "piece" else 0.0
    u = math.hypot(cuts, rectangular(SPACING_LIMIT * length))
    return Estimate.single(length, u, name="length", key="length")


def weigh(name: str, length: Estimate, shown_kg: Sequence[float], scale: Balance) -> Weighed:
    """Return the linear mass of a piece.

    Parameters
    ----------
    name
        Of the roll or belt, for the keys.
    length
        From `taped_length` or `counted_length`, or any estimate in m.
    shown_kg
        What the scale showed; each after taking the piece off and taring again.
    scale
        The scale.

    Raises
    ------
    RequestError
        If a figure is not above 0.
    CannotTell
        If the piece is too light for the scale.
    """
    check_positive(length.value, "length", "m")
    for shown in shown_kg:
        check_positive(shown, "mass", "kg")
    mass = _mass(shown_kg, scale)
    if mass.value < FEWEST_DIGITS * scale.resolution_kg:
        raise CannotTell(
            f"{mass.value * 1e3:g} g is too light for a scale that shows steps of "
            f"{scale.resolution_kg * 1e3:g} g: weigh a longer piece, the rest of the roll, "
            "or use a finer scale"
        )
    value = mass.value / length.value
    plain = combine(value, [(1 / length.value, mass), (-value / length.value, length)])
    keyed = Estimate(
        value, tuple(Part(p.name, f"roll:{name}/{p.key}", p.u, p.dof) for p in plain.parts)
    )
    return Weighed(name, keyed, length, mass, _advice(keyed, length, scale))


def _mass(shown_kg: Sequence[float], scale: Balance) -> Estimate:
    """Return the mean with its rounding, the scale's own error and the scatter of weighings."""
    if max(shown_kg) - min(shown_kg) < ONE_STEP * scale.resolution_kg:
        mean = Estimate(sum(shown_kg) / len(shown_kg))  # the rounding explains it
    else:
        mean = type_a(shown_kg, name="weighings", key="weighings")
    return mean.with_part(Part("rounding", "rounding", scale.rounding_u_kg)).with_part(
        Part("scale", "scale", mean.value * scale.share_u)
    )


def _advice(linear_mass: Estimate, length: Estimate, scale: Balance) -> str:
    """Return the one thing to do next and what it brings."""
    worst = linear_mass.budget()[0]
    now = linear_mass.u / linear_mass.value
    left = math.sqrt(max(0.0, 1 - worst.share)) * now
    ways = {
        "rounding": "weigh a longer piece or the rest of the roll, or use a scale that shows "
        f"{scale.resolution_kg * 1e2:g} g",
        "scale": "check the scale with a known weight, such as a full bottle of water weighed "
        "elsewhere, and give its error",
        "length": "measure a longer piece" if length.value < 1 else "measure the length again",
        "weighings": "weigh more often, each time after taring",
    }
    return f"{ways[worst.name]}: u {now:.2%} would become {left:.2%} at best"


def compare(weighed: Estimate, other: Estimate, name: str = "the catalogue") -> MassComparison:
    """Return how a weighed linear mass stands beside another figure, with the doubts of both."""
    apart = difference(weighed, other)
    low, high = apart.interval(COVERAGE)
    ratio = weighed.value / other.value
    fits = low <= 0 <= high
    gross = not fits and not 1 / GROSS_RATIO <= ratio <= GROSS_RATIO
    percent = 100 * (ratio - 1)
    heavier = "heavier" if percent > 0 else "lighter"
    both = student_quantile((1 + COVERAGE) / 2, apart.dof) * apart.u / other.value
    if fits:
        words = (
            f"fits {name}: {abs(percent):.1f} % apart, and both doubts together allow {both:.1%}"
        )
    else:
        words = (
            f"{abs(percent):.1f} % {heavier} than {name}, beyond both doubts ({both:.1%}): "
            "trust what was measured, but first make sure that it is this belt and this length"
        )
    if gross:
        words += "; so far off is usually a slip in a unit, a width or a count of teeth"
    return MassComparison(ratio, apart, fits, gross, words)


@dataclass(frozen=True, slots=True)
class PieceLength:
    """How long a piece to weigh: for a relative standard uncertainty `u`, or None: no length does.

    `mass_kg` is what that piece will weigh.
    """

    u: float
    length_m: float | None
    mass_kg: float | None


def plan(
    linear_mass_kg_per_m: float,
    scale: Balance,
    wanted: float,
    length_u_m: float = rectangular(TAPE_LIMIT_M),
) -> PieceLength:
    """Return how long a piece is worth weighing for a relative standard uncertainty.

    ``u^2 = (d/(sqrt6 mu L))^2 + (u_L/L)^2 + u_scale^2``, solved for L.

    Parameters
    ----------
    linear_mass_kg_per_m
        About what the belt weighs.
    scale
        The scale; its own error sets a floor that no length gets below.
    wanted
        Relative standard uncertainty, 0.01 for 1 %.
    length_u_m
        Standard uncertainty of the length.
    """
    check_positive(linear_mass_kg_per_m, "linear mass", "kg/m")
    check_positive(wanted, "uncertainty wanted", "")
    rest = wanted**2 - scale.share_u**2
    if rest <= 0:
        return PieceLength(wanted, None, None)
    per_metre = math.hypot(scale.rounding_u_kg / linear_mass_kg_per_m, length_u_m)
    length = max(
        per_metre / math.sqrt(rest), FEWEST_DIGITS * scale.resolution_kg / linear_mass_kg_per_m
    )
    return PieceLength(wanted, length, length * linear_mass_kg_per_m)
