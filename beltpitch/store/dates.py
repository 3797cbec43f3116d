"""Dates as a person writes them: neither in the future nor older than any toothed belt.

Outside that a date is a slip of the pen or of a clock, and would spoil every trend.
"""

from __future__ import annotations

import datetime as dt
from typing import TypeVar

from beltpitch.errors import RequestError

EARLIEST = dt.date(1950, 1, 1)  # toothed belts are hardly older (from memory)
AHEAD = dt.timedelta(days=1)  # for clocks and time zones

Day = TypeVar("Day", bound=dt.date)


def plausible(when: Day, what: str, *, ahead: bool = False) -> Day:
    """Return a date, or a date with time, unless it can only be a slip.

    Parameters
    ----------
    when
        A time is aware.
    what
        Where it was written, for the message.
    ahead
        Whether it may lie in the future.

    Raises
    ------
    RequestError
        If it lies before 1950, or in the future where it may not.
    """
    now = dt.datetime.now(dt.UTC).astimezone()
    day = when.astimezone().date() if isinstance(when, dt.datetime) else when
    if day < EARLIEST or (day > (now + AHEAD).date() and not ahead):
        last = "" if ahead else f" to today ({now.date()} by this computer's clock)"
        raise RequestError(f"{what}: {day} must be a slip; dates are read from {EARLIEST}{last}")
    return when


def moment(text: str, what: str, *, ahead: bool = False) -> dt.datetime:
    """Return a date or a date with time as an aware time; local where no zone is given.

    Parameters
    ----------
    text
        Such as "2026-03-01" or "2026-03-01 14:30".
    what, ahead
        As for `plausible`.

    Raises
    ------
    RequestError
        If the text is no date, or can only be a slip.
    """
    try:
        when = dt.datetime.fromisoformat(text).astimezone(dt.UTC)
    except (ValueError, OverflowError, OSError):
        raise RequestError(
            f'{what} {text!r} is no date; write "2026-03-01" or "2026-03-01 14:30"'
        ) from None
    return plausible(when, f"{what} {text!r}", ahead=ahead)
