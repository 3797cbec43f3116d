"""Checks at birth for the records of advice: one line that names what was given and wanted."""

from __future__ import annotations

import math

from beltpitch.errors import RequestError


def positive(value: float | None, name: str, unit: str) -> None:
    """Refuse a value that is not a finite number above zero; None passes.

    Raises
    ------
    RequestError
        If it is not.
    """
    if value is not None and not (math.isfinite(value) and value > 0):
        raise RequestError(f"{name} is {_said(value, unit)}; it must be greater than zero")


def not_negative(value: float | None, name: str, unit: str) -> None:
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
