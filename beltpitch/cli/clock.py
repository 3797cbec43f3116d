"""``--clock``: the rate error of a sound device, as said or as the machine file has it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from beltpitch.estimate import Estimate
    from beltpitch.keep.machine import Machine

ClockOption = Annotated[
    str | None,
    typer.Option(
        "--clock",
        help="Rate error of the sound device, corrected: "
        '"+35 +/- 5 ppm"; recording --reference-tone finds it.',
    ),
]


@dataclass(frozen=True, slots=True)
class Clock:
    """The rate error of a device.

    Parameters
    ----------
    error
        Relative; positive makes tones sound too high.
    text
        As it was written, to be kept.
    words
        What is taken, to be shown.
    """

    error: Estimate
    text: str
    words: str

    @property
    def echo(self) -> str:
        """What was done, in words."""
        return f"the sound device's rate is off by {self.words}, corrected"


def clock_given(text: str | None, option: str = "--clock") -> Clock | None:
    """Return the rate error that was written; None if none was.

    Raises
    ------
    RequestError
        If it cannot be read.
    """
    from beltpitch import asking

    if text is None:
        return None
    error, words = asking.clock(text, option=option)
    return Clock(error, text, words)


def clock_of(given: Clock | None, machine: Machine | None, device: str) -> Clock | None:
    """Return the rate error of a device: as given, else as the machine file has it."""
    if given is not None or machine is None:
        return given
    return clock_given(machine.clock_of(device), "[clock]")
