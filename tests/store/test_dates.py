"""Dates as a person writes them: what is read, and what can only be a slip."""

from __future__ import annotations

import datetime as dt

import pytest

from beltpitch.errors import RequestError
from beltpitch.store.dates import moment, plausible

TODAY = dt.datetime.now(dt.UTC).astimezone().date()


def test_today_and_the_past_are_read() -> None:
    assert plausible(TODAY, "x") == TODAY
    assert moment("2026-03-01T09:30Z", "x") == dt.datetime(2026, 3, 1, 9, 30, tzinfo=dt.UTC)
    assert plausible(dt.date(1950, 1, 1), "x") == dt.date(1950, 1, 1)


@pytest.mark.parametrize("day", [TODAY + dt.timedelta(days=3), dt.date(1949, 12, 31)])
def test_the_future_and_old_times_are_slips_and_the_rule_is_said(day: dt.date) -> None:
    rule = r"fitted.* read from 1950-01-01 to today \("
    with pytest.raises(RequestError, match=rule):
        plausible(day, "fitted")
    with pytest.raises(RequestError, match=rule) as why:
        moment(f"{day} 12:00", "fitted")
    assert "\n" not in why.value.message


def test_an_end_of_a_range_may_lie_ahead() -> None:
    assert moment("2926-12-31", "--until", ahead=True).year == 2926
    with pytest.raises(RequestError, match="slip"):
        moment("1026-12-31", "--until", ahead=True)


@pytest.mark.parametrize("text", ["", "yesterday", "2026-13-01", "1.3.2026"])
def test_what_is_no_date_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="is no date; write"):
        moment(text, "--taken")
