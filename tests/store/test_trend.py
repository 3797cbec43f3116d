"""The trend of a belt against simulated histories whose truth is known, and each of its rules."""

from __future__ import annotations

import datetime as dt
import math
import random
from dataclasses import replace
from pathlib import Path

import pytest

from beltpitch.advice.window import Window
from beltpitch.present.report import interval_words
from beltpitch.store.log import Entry, EntrySummary, History
from beltpitch.store.records import Estimates
from beltpitch.store.trend import About, trend
from beltpitch.uncertainty import Estimate, Part
from tests.store.workshop import START, sitting

WINDOW = Window(30.0, 50.0, "a test", "a test")
DAY = dt.timedelta(days=1)


def reading(
    number: int,
    day: float,
    preload_n: float,
    *,
    own_u: float = 0.4,
    scale_u: float = 0.09,
    mass: float = 0.0126,
    span_m: float = 0.412,
    belt: str = "2GT 9 mm",
    strand: str | None = None,
    park: str | None = "X = 100",
    event: str | None = None,
    temperature_c: float | None = None,
) -> Entry:
    """Return an entry: its preload has a scale error shared by all and an error of its own."""
    preload = Estimate(
        preload_n,
        (
            Part("linear mass", "roll:test", scale_u * preload_n, 8.0),
            Part("span", "tape", 0.002 * preload_n),
            Part("plucks", f"pluck:a@{number}", own_u, 4.0),
        ),
    )
    estimates = Estimates(
        preload=preload,
        linear_mass=Estimate(mass, (Part("linear mass", "roll:test", scale_u * mass, 8.0),)),
        span=Estimate(span_m, (Part("span", "tape", 0.0006),)),
    )
    line = EntrySummary(
        id=number, taken=START + day * DAY, machine="m", belt="y", strand=strand, park=park,
        source="typed", digest=None, event=event, temperature_c=temperature_c, note=None, seen=None,
        revision=1, verdict="within", frequency_hz=None, preload_n=preload_n, preload_u_n=preload.u,
    )  # fmt: skip
    record = {"reading": {"belt": belt}}
    return Entry(line, record, estimates, WINDOW, "test", START, has_sound=False)


def straight(days: list[float], start: float = 42.0, rate: float = -0.02) -> list[Entry]:
    return [reading(i + 1, t, start + rate * t) for i, t in enumerate(days)]


# --- against truth -------------------------------------------------------------------------------


def history(chance: random.Random) -> tuple[list[Entry], float]:
    """Return a simulated history and its true drift in N a day.

    Each reading has its plucks' error, and its strand stands off the preload by up to 3 N; all
    share a wrong linear mass; now and then the tensioner was turned, and one reading in thirty is
    an accident.
    """
    rate, start = chance.uniform(-0.06, 0.01), chance.uniform(35, 60)
    days = sorted(chance.uniform(0, 400) for _ in range(chance.randint(4, 24)))
    scale = 1 + chance.gauss(0, 0.05)
    turned = chance.choice((None, None, chance.randrange(len(days) - 2)))
    found = []
    for i, t in enumerate(days):
        truth = start + rate * (t - days[0])
        if turned is not None and i < turned:
            truth -= 12.0
        off = chance.gauss(0, 0.003 * truth) + chance.uniform(-3, 3)
        if chance.random() < 1 / 30:
            off += chance.choice((-1, 1)) * chance.uniform(6, 15)
        event = "tensioned" if i == turned else None
        own = math.hypot(0.003 * truth, 3 / math.sqrt(3))
        value = scale * (truth + off)
        found.append(reading(i + 1, t, value, own_u=own, scale_u=0.05, event=event))
    return found, rate


def test_the_true_drift_lies_inside_its_interval_in_92_to_98_of_100_histories() -> None:
    chance = random.Random(20260301)
    hits = count = 0
    while count < 500:
        entries, rate = history(chance)
        drift = trend(entries).drift
        if drift is None:
            continue
        low, high = drift.interval(0.95)
        hits, count = hits + (low <= rate <= high), count + 1
    assert 92 <= 100 * hits / count <= 98


def test_what_all_readings_share_is_no_doubt_of_the_drift_but_of_the_window() -> None:
    found = trend(straight([0, 30, 60, 90, 120]))
    assert found.drift is not None
    assert found.level is not None
    assert found.drift.value == pytest.approx(-0.02, rel=1e-3)
    days = [0, 30, 60, 90, 120]
    stated = 0.4 / math.sqrt(sum((t - 60) ** 2 for t in days))
    assert found.drift.u <= 1.1 * stated
    assert found.level.u > 0.09 * 39  # all of the linear mass
    assert "all readings share" in found.doubt
    assert "linear mass" in found.doubt
    assert found.change is not None
    assert found.change.u == pytest.approx(math.hypot(0.4, 0.4), rel=0.05)


# --- what is joined ------------------------------------------------------------------------------


def test_another_strand_another_park_and_another_belt_are_left_out_and_said() -> None:
    others = [
        reading(11, 1, 20.0, strand="right"),
        reading(12, 2, 20.0, park="X = 500", span_m=0.3),
        reading(13, 3, 20.0, belt="3GT 9 mm"),
    ]
    found = trend([*others, *straight([10, 20, 30])])
    assert [p.entry for p in found.points] == [1, 2, 3]
    assert sum("left out" in words for words in found.notes) == 3
    assert any("strand right, not not named" in words for words in found.notes)


def test_a_later_weighing_rescales_the_past_and_says_so() -> None:
    old = [reading(1, 0, 42.0), reading(2, 30, 42.0)]
    new = [
        reading(3, 60, 44.1, mass=0.01323, scale_u=0.005),
        reading(4, 90, 44.1, mass=0.01323, scale_u=0.005),
    ]
    found = trend([*old, *new])
    assert [p.preload.value for p in found.points] == pytest.approx([44.1] * 4)
    assert any("2 readings rescaled by +5.0% to the latest linear mass" in n for n in found.notes)
    assert found.drift is not None
    assert found.drift.value == pytest.approx(0.0, abs=1e-9)
    assert found.points[0].preload.u < 0.03 * 44  # the doubt of the old figure is gone
    budget = {line.name: line.u for line in found.points[0].preload.budget()}
    assert budget["linear mass"] == pytest.approx(0.005 * 44.1)


def test_a_better_measure_of_the_same_span_rescales_by_its_square() -> None:
    found = trend(
        [reading(1, 0, 42.0), reading(2, 30, 42.0 * (0.4128 / 0.412) ** 2, span_m=0.4128)]
    )
    assert found.points[0].preload.value == pytest.approx(found.points[1].preload.value)
    assert any("measure of the span" in words for words in found.notes)


def test_the_trend_counts_a_recording_once(tmp_path: Path) -> None:
    with History(tmp_path / "book.sqlite") as kept:
        for frequency in (70.2, 70.4):
            kept.keep(sitting(frequency, digest="d" * 64))
        kept.keep(sitting(69.9, day=30))
        found = trend(kept.entries())
    assert len(found.points) == 2


# --- fresh starts and run-in ---------------------------------------------------------------------


def test_a_re_tensioning_starts_the_line_afresh() -> None:
    entries = [*straight([0, 30, 60], 36.0), *(
        reading(10 + i, 90 + t, 44.0 - 0.01 * t, event="tensioned" if i == 0 else None)
        for i, t in enumerate([0, 30, 60, 90])
    )]  # fmt: skip
    found = trend(entries)
    assert [p.entry for p in found.points if p.used] == [10, 11, 12, 13]
    assert found.drift is not None
    assert found.drift.value == pytest.approx(-0.01, rel=1e-3)


def test_a_rise_that_stays_is_a_re_tensioning_and_one_that_does_not_is_an_outlier() -> None:
    stays = [
        *straight([0, 30, 60], 36.0, 0.0),
        *(reading(10 + i, 90 + 30 * i, 44.0) for i in range(3)),
    ]
    found = trend(stays)
    assert [p.entry for p in found.points if p.used] == [10, 11, 12]
    assert next(p for p in found.points if p.entry == 10).event == "?"
    assert any("say so with --tensioned" in words for words in found.notes)
    once = straight([0, 30, 60, 120, 150, 180], 42.0, 0.0)
    once.append(reading(20, 90, 60.0))
    found = trend(once)
    assert all(p.used for p in found.points)
    assert [p.entry for p in found.points if p.outlier] == [20]


@pytest.mark.parametrize("how", ["event", "fitted"])
def test_the_run_in_of_a_new_belt_is_shown_but_makes_no_drift(how: str) -> None:
    days, values = [0, 1, 2, 10, 40, 70], [46.0, 43.0, 41.0, 40.0, 40.0, 40.0]
    entries = [
        reading(i, t, v, event="new belt" if how == "event" and i == 0 else None)
        for i, (t, v) in enumerate(zip(days, values, strict=True))
    ]
    about = About(fitted=START.date() if how == "fitted" else None)
    found = trend(entries, about)
    assert [p.entry for p in found.points if p.used] == [3, 4, 5]
    assert found.drift is not None
    assert found.drift.value == pytest.approx(0.0, abs=1e-6)
    first = trend(entries[:2], about)
    assert first.drift is None
    assert first.next_check is not None
    assert (first.next_check - START) / DAY == pytest.approx(3.0, abs=0.2)
    assert "runs in" in first.why


# --- when to look again --------------------------------------------------------------------------


def test_it_says_when_the_belt_leaves_its_window_and_looks_again_half_way() -> None:
    found = trend(straight([0, 10, 20, 30, 40, 50, 60], 35.0, -0.05), About(check_every_days=365))
    assert found.leaves is not None
    assert found.leaves_earliest is not None
    assert (found.leaves - START) / DAY == pytest.approx(100, abs=1)  # 35 N, 30 N, 0.05 N a day
    assert found.leaves_earliest < found.leaves
    assert found.next_check is not None
    assert (found.next_check - START) / DAY == pytest.approx(80, abs=1)


def test_a_steady_belt_is_looked_at_after_the_usual_time() -> None:
    found = trend(straight([0, 30, 60, 90, 120, 150], 42.0, 0.0), About(check_every_days=90))
    assert found.next_check is not None
    assert (found.next_check - START) / DAY == pytest.approx(240, abs=0.1)
    assert found.holds


def test_a_belt_out_of_its_window_is_adjusted_now() -> None:
    found = trend([reading(1, 0, 20.0)])
    assert found.word == "slack"
    assert "adjust it" in found.why


def test_a_belt_that_does_not_hold_is_called_out_only_if_that_is_sure() -> None:
    days: list[float] = [0, 10, 20, 30, 40, 50, 60, 70]
    assert not trend(straight(days, 48.0, -0.1), About(check_every_days=90)).holds
    noisy = [
        reading(i, t, 48.0 - 0.1 * t + (8 if i % 2 else -8), own_u=8.0) for i, t in enumerate(days)
    ]
    assert trend(noisy, About(check_every_days=90)).holds
    assert trend(straight(days, 48.0, -0.01), About(check_every_days=90)).holds


def test_readings_at_different_temperatures_are_said_to_be_so() -> None:
    warm = [
        replace(e, line=replace(e.line, temperature_c=15.0 + 4 * i))
        for i, e in enumerate(straight([0, 30, 60, 90]))
    ]
    assert any("15 to 27 degC" in words for words in trend(warm).notes)
    told = trend(warm, About(newtons_per_kelvin=0.5)).notes
    assert any("+0.5 N for each kelvin" in words for words in told)
    assert not any("degC" in words for words in trend(warm[:2]).notes)


def test_no_reading_and_one_reading_say_what_they_can() -> None:
    none = trend([], About(window=WINDOW))
    assert none.level is None
    assert none.why == "no reading yet: measure it"
    assert none.window == WINDOW
    one = trend(straight([0]))
    assert one.drift is None
    assert one.level is not None
    assert one.change is None
    same_day = trend([reading(1, 0, 42.0), reading(2, 0, 42.2)])
    assert same_day.drift is None


def test_nothing_is_less_than_none_by_rounding() -> None:
    small = Estimate.single(-0.001, 0.3, name="plucks", key="pluck")
    assert interval_words(small, "N", what=" a month").startswith("+0.0 N a month")


def test_one_reading_of_one_strand_is_told_what_would_help() -> None:
    only = reading(1, 0, 42.0, own_u=0.1, scale_u=0.0)
    strand = Part("strand difference", "strand:y", 1.7)
    preload = only.estimates.preload
    assert preload is not None
    doubtful = replace(preload, parts=(*preload.parts, strand))
    entry = replace(only, estimates=replace(only.estimates, preload=doubtful))
    assert "most of it strand difference): read both strands" in trend([entry]).doubt
    assert "more readings help" in trend([reading(1, 0, 42.0, scale_u=0.0)]).doubt
