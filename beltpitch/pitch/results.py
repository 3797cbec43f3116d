"""What was heard, as records: from one partial to the answer for a whole recording.

Conventions: frequencies in Hz; amplitudes in units of full scale; every ``u`` is one standard
uncertainty; ``onset_s`` counts from the first sample fed to the PluckDetector. The stiff series is
``f_n = n f_s sqrt(1 + B n^2)`` (physics of a pinned stiff string); ``frequency_hz`` is always
mode 1 at vanishing amplitude, ``f_s sqrt(1 + B)``.
"""

from __future__ import annotations

from dataclasses import dataclass

LOWEST_HZ = 15.0  # a metre and more of slack belt
HIGHEST_HZ = 700.0  # published machine set points reach 637 Hz


@dataclass(frozen=True, slots=True)
class FrequencyRange:
    """Where the fundamental may lie: plain numbers, whatever they were made from.

    Parameters
    ----------
    low_hz, high_hz
        Outer limits; nothing outside them is answered.
    weights
        Pairs (frequency in Hz, relative weight), rising in frequency, read as linear in log
        frequency between the points; empty for equal weight everywhere.
    why
        Where the range comes from, in words to be shown, such as "2GT 9 mm can carry up to 850 N".
    """

    low_hz: float = LOWEST_HZ
    high_hz: float = HIGHEST_HZ
    weights: tuple[tuple[float, float], ...] = ()
    why: str = "searched by default"

    def __post_init__(self) -> None:
        if not 0 < self.low_hz < self.high_hz < float("inf"):
            raise ValueError(f"range is {self.low_hz} to {self.high_hz} Hz, must rise from above 0")


@dataclass(frozen=True, slots=True)
class Partial:
    """One partial of the series: number n, frequency at vanishing amplitude, amplitude, decay."""

    number: int
    frequency_hz: float
    frequency_u_hz: float
    amplitude: float
    decay_per_s: float


@dataclass(frozen=True, slots=True)
class Pitch:
    """The fundamental of one pluck.

    Parameters
    ----------
    frequency_hz, frequency_u_hz
        Mode 1 at vanishing amplitude and its standard uncertainty.
    inharmonicity, inharmonicity_u
        B of the stiff series; None where the partials do not tell.
    partials
        The partials recognised, by number.
    glide
        Relative amount by which the pluck began sharp of ``frequency_hz``; 0 where none is seen.
    quality
        Probability, as the evidence has it, that this is the right fundamental (0 to 1).
    used_s
        Start and end of the stretch that was fitted, from the onset.
    warnings
        What the user should know although there is an answer.
    """

    frequency_hz: float
    frequency_u_hz: float
    inharmonicity: float | None
    inharmonicity_u: float | None
    partials: tuple[Partial, ...]
    glide: float
    quality: float
    used_s: tuple[float, float]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PluckResult:
    """One pluck and what became of it: a pitch, or the reason why not.

    ``used`` is False for a pluck without a pitch and for an outlier; ``reason`` then says why.
    """

    onset_s: float | None
    pitch: Pitch | None
    used: bool
    reason: str | None


@dataclass(frozen=True, slots=True)
class PitchResult:
    """All the plucks of one recording or one sitting.

    Parameters
    ----------
    plucks
        In order of time, refused ones included.
    steady_hz
        Steady tones (mains hum, fans) that were set aside.
    reason
        Why there is no answer; None if at least one pluck is used.
    warnings
        What concerns the recording as a whole.
    """

    plucks: tuple[PluckResult, ...]
    steady_hz: tuple[float, ...] = ()
    reason: str | None = None
    warnings: tuple[str, ...] = ()
