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
import re
from dataclasses import dataclass
from typing import Literal

from beltpitch.errors import RequestError, check_positive
from beltpitch.units import LENGTH
from beltpitch.units import positive as read_positive

Pull = Literal["idler", "clamp"]
FLATS = 6  # of a hex screw, in one turn
DEGREES = 360
# Pitches of the metric threads in mm, the coarse one first (ISO 261, the fine ones from memory)
PITCHES_MM = {
    "M2": (0.4, 0.25),
    "M2.5": (0.45, 0.35),
    "M3": (0.5, 0.35),
    "M4": (0.7, 0.5),
    "M5": (0.8, 0.5),
    "M6": (1.0, 0.75),
    "M8": (1.25, 1.0, 0.75),
    "M10": (1.5, 1.25, 1.0, 0.75),
    "M12": (1.75, 1.5, 1.25, 1.0),
}
_THREAD = re.compile(r"(M\d+(?:\.\d+)?)(?:\s*[X\u00d7*]\s*(\d+(?:\.\d+)?)(?:\s*MM)?)?", re.ASCII)


def lead_m(text: str, *, option: str) -> float:
    """Return how far a screw moves in one turn, m.

    Parameters
    ----------
    text
        A thread, "M4" (coarse) or "M8x1", or its pitch, "0.7 mm".
    option
        Where it was written, for the message.

    Raises
    ------
    RequestError
        If it is no metric thread of this size and no length above zero.
    """
    match = _THREAD.fullmatch(text.strip().upper())
    if match is None and not text.strip().upper().startswith("M"):
        return read_positive(text, LENGTH, option=option).value
    name, pitch = (match[1], match[2]) if match else ("", None)
    known = PITCHES_MM.get(name)
    if known is None:
        raise RequestError(
            f'{option} {text!r} is no thread known here: give "M4" (coarse: '
            f'{", ".join(PITCHES_MM)}), "M8x1" or its pitch, "0.7 mm"'
        )
    mm = known[0] if pitch is None else float(pitch)
    if mm not in known:
        pitches = ", ".join(f"{p:g}" for p in known)
        raise RequestError(
            f"{option} {text!r}: the pitches of {name} are {pitches} mm; "
            'give one of them, as in "M8x1", not the length of the screw, or the pitch alone'
        )
    return mm / 1000


@dataclass(frozen=True, slots=True)
class Tensioner:
    """A screw that tightens a belt.

    Parameters
    ----------
    pull
        ``idler``: it moves a pulley (or a motor) along the bisector of its wrap; ``clamp``: it
        pulls a belt end straight.
    lead_m
        Travel of the screw in one turn: its thread pitch; see `lead_m`.
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
        check_positive(self.lead_m, "the thread pitch", "m")
        check_positive(self.frame_n_per_m, "the frame's stiffness", "N/m")
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
        check_positive(loop_m, "the length of the belt loop", "m")
        check_positive(ea_n, "the belt's stiffness EA", "N")
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
