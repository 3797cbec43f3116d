"""What one turn of a tensioner does to a belt.

A tensioner moved by s takes up the path length ``g s``: a clamp pulled straight along the belt
g = 1; an idler (or a motor plate) moved along the bisector of the belt wrapped round it
``g = 2 sin(wrap/2)``, which is 2 across a full half turn. The belt stretches and the frame gives:
``dT = g s / (L/EA + g^2/k_f)``, with the frame's stiffness k_f met at the tensioner along its
motion, where the belt pulls with g T (physics notes, section 9, whose 1/k = L/EA + 1/k_f is the
case g = 1; the rest derived here and checked against springs in the tests).

Conventions: SI; positive turns tighten; a hex screw has six flats.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from beltpitch.advice.checks import positive
from beltpitch.errors import RequestError

Pull = Literal["idler", "clamp"]
FLATS = 6  # of a hex screw, in one turn
DEGREES = 360
# Pitch of the coarse metric threads, m (ISO 261)
COARSE_M = {
    "M2.5": 0.45e-3,
    "M3": 0.5e-3,
    "M4": 0.7e-3,
    "M5": 0.8e-3,
    "M6": 1.0e-3,
    "M8": 1.25e-3,
    "M10": 1.5e-3,
    "M12": 1.75e-3,
}


@dataclass(frozen=True, slots=True)
class Tensioner:
    """A screw that tightens a belt.

    Parameters
    ----------
    pull
        ``idler``: it moves a pulley (or a motor) along the bisector of its wrap; ``clamp``: it
        pulls a belt end straight.
    lead_m
        Travel of the screw in one turn: its thread pitch; see `COARSE_M`.
    wrap_rad
        Of the belt on the idler.
    frame_n_per_m
        Stiffness of the frame at the tensioner, along its motion; None takes it as rigid.

    Raises
    ------
    RequestError
        If a number is not positive or the tensioner's kind is unknown.
    """

    pull: str
    lead_m: float
    wrap_rad: float = math.pi
    frame_n_per_m: float | None = None

    def __post_init__(self) -> None:
        positive(self.lead_m, "the thread pitch", "m")
        positive(self.frame_n_per_m, "the frame's stiffness", "N/m")
        if self.pull not in ("idler", "clamp"):
            raise RequestError(
                f"no tensioner is called {self.pull!r}: idler (a pulley or a motor is moved) or "
                "clamp (a belt end is pulled straight)"
            )
        if not 0 < self.wrap_rad <= math.pi + 1e-9:
            raise RequestError(
                f"a wrap of {math.degrees(self.wrap_rad):.4g} deg cannot be taken up by moving the "
                "idler; give the angle the belt turns on it, up to 180 deg"
            )

    @property
    def gain(self) -> float:
        """Path length taken up for each metre of the tensioner's motion."""
        return 1.0 if self.pull == "clamp" else 2 * math.sin(self.wrap_rad / 2)

    @property
    def take_up_m(self) -> float:
        """Path length taken up by one turn."""
        return self.gain * self.lead_m

    def newtons_per_turn(self, loop_m: float, ea_n: float) -> float:
        """Return the rise of strand tension in one turn.

        Parameters
        ----------
        loop_m
            Belt under tension: clamp to clamp, or once round the loop.
        ea_n
            Axial stiffness of the belt.
        """
        positive(loop_m, "the length of the belt loop", "m")
        positive(ea_n, "the belt's stiffness EA", "N")
        give = 0.0 if self.frame_n_per_m is None else self.gain**2 / self.frame_n_per_m
        return self.take_up_m / (loop_m / ea_n + give)

    def ea_from(self, newtons_per_turn: float, loop_m: float) -> float | None:
        """Return the EA that a measured rate means; None if the frame alone is softer than it."""
        give = 0.0 if self.frame_n_per_m is None else self.gain**2 / self.frame_n_per_m
        stretch = self.take_up_m / newtons_per_turn - give
        return loop_m / stretch if stretch > 0 else None


def spelled(turns: float) -> str:
    """Return a turn in words: turns, flats of a hex screw, degrees.

    Below one flat only degrees are said, since no one can turn a third of a flat.
    """
    size = abs(turns)
    degrees = f"{size * DEGREES:.0f} deg"
    if size * FLATS < 1:
        return degrees
    return f"{size:.2f} turns ({size * FLATS:.1f} flats of a hex screw, {degrees})"
