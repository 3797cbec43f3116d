"""What vibrates, and what is found from its tone.

Conventions: SI floats; a strand is the free length of belt between two ends; the holding of an end
as in `beltpitch.belts.modes`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from beltpitch.errors import RequestError, check_not_negative, check_positive
from beltpitch.uncertainty import Estimate


@dataclass(frozen=True, slots=True)
class Strand:
    """What vibrates: a free length of belt between two ends.

    Parameters
    ----------
    span_m
        Free length between the last points of contact.
    linear_mass_kg_per_m
        Mass per length of the slack belt, without air.
    stiffness_n_m2
        Bending stiffness EI; 0 leaves it uncorrected.
    hold_a, hold_b
        Holding of the ends, 0 pinned to 1 clamped.
    air_kg_per_m
        Air carried along.
    stretch_n
        Axial stiffness EA; infinite leaves the stretch of the belt uncorrected.

    Raises
    ------
    RequestError
        If a figure is not finite or has the wrong sign.
    """

    span_m: float
    linear_mass_kg_per_m: float
    stiffness_n_m2: float = 0.0
    hold_a: float = 0.0
    hold_b: float = 0.0
    air_kg_per_m: float = 0.0
    stretch_n: float = math.inf

    def __post_init__(self) -> None:
        check_positive(self.span_m, "span", "m")
        check_positive(self.linear_mass_kg_per_m, "linear mass", "kg/m")
        check_not_negative(self.stiffness_n_m2, "bending stiffness", "N m^2")
        check_not_negative(self.air_kg_per_m, "air carried along", "kg/m")
        if not self.stretch_n > 0:
            raise RequestError(
                f"axial stiffness is {self.stretch_n:g} N; it must be greater than zero"
            )
        for hold in (self.hold_a, self.hold_b):
            if not 0 <= hold <= 1:
                raise RequestError(f"holding of an end is {hold:g}, must be 0 (pinned) to 1")

    def xi(self, tension_n: float) -> float:
        """Return ``L sqrt(T/EI)``: how much like a string it is."""
        if self.stiffness_n_m2 == 0:
            return math.inf
        return self.span_m * math.sqrt(tension_n / self.stiffness_n_m2)

    def moving_mass(self, tension_n: float) -> float:
        """Return the mass per length that moves, stretched belt and air, in kg/m."""
        return self.linear_mass_kg_per_m / (1 + tension_n / self.stretch_n) + self.air_kg_per_m

    def softening(self, tension_n: float) -> float:
        """Return ``e``: by how much ln m falls as ln T rises."""
        strain = tension_n / self.stretch_n
        belt = self.linear_mass_kg_per_m / (1 + strain)
        return belt / self.moving_mass(tension_n) * strain / (1 + strain)


@dataclass(frozen=True, slots=True)
class Sensitivities:
    """Log sensitivities of an output Y: ``d ln Y / d ln x``, for the ends ``d ln Y / d s``."""

    frequency: float
    span: float
    linear_mass: float
    air: float
    stiffness: float
    stretch: float
    end_a: float
    end_b: float
    inharmonicity: float = 0.0


@dataclass(frozen=True, slots=True)
class Result:
    """A tension or a stiffness found from a tone, with its sensitivities.

    Parameters
    ----------
    value
        The output, in N or N m^2.
    tension_n, xi
        Tension of the strand and how much like a string it is.
    strand, frequency_hz, mode_n
        What it was found from.
    log
        Log sensitivities of the output.
    inharmonicity
        The B it was found from; None where it was not used.
    """

    value: float
    tension_n: float
    xi: float
    strand: Strand
    frequency_hz: float
    mode_n: int
    log: Sensitivities
    inharmonicity: float | None = None

    def terms(
        self,
        *,
        frequency: Estimate | None = None,
        span: Estimate | None = None,
        linear_mass: Estimate | None = None,
        air: Estimate | None = None,
        stiffness: Estimate | None = None,
        stretch: Estimate | None = None,
        ends: tuple[Estimate, Estimate] | None = None,
        inharmonicity: Estimate | None = None,
    ) -> list[tuple[float, Estimate]]:
        """Return (derivative, input) pairs for `beltpitch.uncertainty.combine`.

        Inputs not given are taken as exact; their values must be those of the strand. Relative
        uncertainties carry over: an input of value 0 has no part.
        """
        y, log = self.value, self.log
        relative = (
            (log.frequency, frequency),
            (log.span, span),
            (log.linear_mass, linear_mass),
            (log.air, air),
            (log.stiffness, stiffness),
            (log.stretch, stretch),
            (log.inharmonicity, inharmonicity),
        )
        terms = [(y * c / x.value, x) for c, x in relative if x is not None and x.value != 0]
        if ends is not None:
            terms += [(y * log.end_a, ends[0]), (y * log.end_b, ends[1])]
        return terms
