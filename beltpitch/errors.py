"""The errors of beltpitch, one small tree.

::

    BeltpitchError            any failure a user may see: one line, what, why, what to do
    |-- RequestError          the request is wrong (exit code 2)
    |   |-- QuantityError     a number or unit that cannot be read
    |   |-- BeltNotFound      no belt of that name in the catalogue
    |   `-- SourceError       a file or sound input that cannot be opened or is no sound
    `-- CannotTell            the measurement could not be made (exit code 1)

The message is the whole story and fits on one line; it is printed as it stands.
"""

from __future__ import annotations

import math


class BeltpitchError(Exception):
    """Any failure that is told to the user in one line.

    Parameters
    ----------
    message
        What happened, why, and what to do about it.
    """

    exit_code = 2

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class RequestError(BeltpitchError):
    """The request is wrong: nothing could be measured from it."""


class QuantityError(RequestError):
    """A number or a unit that cannot be read."""


class BeltNotFound(RequestError):
    """No belt of that name is in the catalogue."""


class SourceError(RequestError):
    """A file or a sound input that cannot be opened, or that holds no sound."""


class CannotTell(BeltpitchError):
    """The request is right, but the measurement could not be made."""

    exit_code = 1


def check_positive(value: float | None, name: str, unit: str) -> None:
    """Refuse a value that is not a finite number above zero; None passes.

    Raises
    ------
    RequestError
        If it is not.
    """
    if value is not None and not (math.isfinite(value) and value > 0):
        raise RequestError(f"{name} is {_said(value, unit)}; it must be greater than zero")


def check_not_negative(value: float | None, name: str, unit: str) -> None:
    """Refuse a value that is negative or not finite; None passes.

    Raises
    ------
    RequestError
        If it is.
    """
    if value is not None and not (math.isfinite(value) and value >= 0):
        raise RequestError(f"{name} is {_said(value, unit)}; it must be zero or more")


def _said(value: float, unit: str) -> str:
    return f"{value:.6g} {unit}".strip()
