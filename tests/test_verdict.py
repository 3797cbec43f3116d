"""Verdicts, remedies, the ruler's scale, and the JSON contract."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch import parsing
from beltpitch.advice.window import target_window
from beltpitch.reading import Reading, from_parks, typed_reading
from beltpitch.session.verdict import RulerScale, Verdict, as_json, in_newtons, judged, scale
from beltpitch.setup.strung_belt import strung
from beltpitch.uncertainty import Estimate, Part

BELT = parsing.belt("2GT 9 mm")
SPAN = parsing.span("412 +/- 1 mm", BELT)


def verdict(frequency: str, target_n: float | None = None, within: float = 0.4) -> Verdict:
    reading = typed_reading(parsing.typed([frequency]), BELT, SPAN)
    window = None if target_n is None else target_window(target_n, within)
    return judged(reading, window)


@pytest.mark.parametrize(
    ("frequency", "word"),
    [("66.3", "within"), ("30", "slack"), ("120", "tight"), ("51", "slack")],
)
def test_word_follows_the_distribution(frequency: str, word: str) -> None:
    assert verdict(frequency, 37.5).word == word


def test_without_a_window_the_verdict_is_unknown_and_says_what_to_give() -> None:
    found = verdict("66.3")
    assert found.word == "cannot tell"
    assert "--target" in found.next_step


def test_near_an_end_the_word_has_its_share_and_leads_to_the_remedy() -> None:
    for frequency, words in (("51", "slack, 5 in 10"), ("79", "tight, 5 in 10")):
        found = verdict(frequency, 37.5)
        assert found.said == words
        assert f"Probably too {found.word} for its window. To know it" in found.next_step
        assert "weigh a piece of this belt" in found.next_step


def test_the_best_remedy_is_the_one_that_shrinks_the_interval_most() -> None:
    remedies = verdict("66.3").remedies
    assert remedies[0].line == "linear mass"
    assert "weigh" in remedies[0].what
    assert all(r.after < r.before for r in remedies)
    assert [r.after for r in remedies] == sorted(r.after for r in remedies)


@pytest.mark.parametrize("target_n", [None, 20.0, 37.5, 80.0])
def test_every_tension_ends_in_what_would_shrink_its_interval_most(target_n: float | None) -> None:
    found = verdict("66.3", target_n)
    best = found.remedies[0]
    assert f"(±{best.before:.0%} becomes ±{best.after:.0%})" in found.better
    assert found.better.startswith("weigh a piece of this belt")
    assert as_json(found)["better"] == found.better


def test_what_is_advised_holds_when_it_is_done() -> None:
    """Weigh the belt as advised: the interval is then what was promised, to a few percent."""
    promised = next(r for r in verdict("66.3").remedies if "weigh" in r.what)
    weighed = parsing.belt("2GT 9 mm", linear_mass="12.60(6) g/m")
    preload = typed_reading(parsing.typed(["66.3"]), weighed, SPAN).preload
    assert preload is not None
    low, high = preload.interval()
    assert (high - low) / 2 / preload.value == pytest.approx(promised.after, rel=0.05)


def test_two_parks_are_advised_where_ends_and_last_contact_rule() -> None:
    belt = parsing.belt("HTD 8M 30 mm", linear_mass="310(1) g/m")
    span = parsing.span("300.0(1) mm", belt)
    tones = parsing.typed(["60.00(1)"] * 5)
    found = judged(typed_reading(tones, belt, span))
    assert {line.name for line in found.reading.budget[:2]} == {"ends", "last contact"}
    assert "two parks" in found.remedies[0].what


def test_whole_teeth_are_advised_where_odd_ones_rule_two_parks() -> None:
    belt = parsing.belt("HTD 8M 30 mm", linear_mass="310(1) g/m")
    long, short = (
        typed_reading(parsing.typed([f"{f} +/- 0.01"] * 5), belt, key=f"{f}") for f in (40.0, 66.0)
    )
    odd = judged(from_parks(long, short, parsing.travel("164.0 +/- 0.1 mm")))
    assert "whole teeth" in {r.line: r.what for r in odd.remedies}["odd teeth"]


def test_where_nothing_helps_much_that_is_said() -> None:
    even = Estimate(100.0, tuple(Part(f"line {i}", f"{i}", 1.0) for i in range(9)))
    found = judged(Reading("a", preload=even, tension=even))
    assert found.remedies == ()
    assert found.better == "no single step shrinks the interval by a tenth (±6%)"


@given(st.floats(20, 200), st.floats(1, 300))
def test_the_scale_holds_every_mark_and_is_readable(frequency: float, target_n: float) -> None:
    found = verdict(f"{frequency:.2f}", target_n, 0.1)
    made = scale([found], in_newtons("lbf"))
    assert made is not None
    marks = [n / in_newtons("lbf") for n in (target_n * 0.9, target_n * 1.1)]
    assert made.low <= min(marks) + 1e-9
    assert made.high >= max(marks) - 1e-9
    assert 2 <= len(made.graduations()) <= 10


KEYS = {
    "source", "belt", "span_mm", "frequency_hz", "frequency_u_hz", "partials_hz", "inharmonicity",
    "plucks", "tension_n", "tension_u_n", "interval_n", "coverage", "dof", "strand", "preload_n",
    "preload_u_n", "strand_difference_n", "budget", "corrections", "window_n", "verdict", "sources",
    "warnings",
}  # fmt: skip
PLUCK_KEYS = {"onset_s", "frequency_hz", "frequency_u_hz", "tension_n", "used", "reason"}


def test_every_key_of_the_contract_is_there_and_strict_json() -> None:
    record = as_json(verdict("66.3", 37.5))
    assert record.keys() >= KEYS
    plucks = record["plucks"]
    assert isinstance(plucks, list)
    assert plucks[0].keys() == PLUCK_KEYS
    budget = record["budget"]
    assert isinstance(budget, list)
    assert budget[0].keys() == {"input", "u_n", "share", "dof", "shared"}
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert record["span_mm"] == 412.0
    assert record["source"] == "typed"


def test_what_is_not_known_is_null() -> None:
    blank = as_json(judged(Reading("silence.wav", warnings=("silence",))))
    assert blank.keys() >= KEYS
    nulls = KEYS - {
        "source",
        "partials_hz",
        "plucks",
        "budget",
        "corrections",
        "verdict",
        "sources",
        "warnings",
    }
    assert all(blank[key] is None for key in nulls)
    assert blank["verdict"] == "cannot tell"
    assert blank["warnings"] == ["silence"]


def test_the_budget_of_the_contract_is_the_tensions_own() -> None:
    record = as_json(verdict("66.3"))
    budget, u = record["budget"], record["tension_u_n"]
    assert isinstance(budget, list)
    assert isinstance(u, float)
    assert sum(line["u_n"] ** 2 for line in budget) == pytest.approx(u**2)
    assert "strand difference" not in {line["input"] for line in budget}


def test_a_verdict_without_tension_asks_for_what_is_missing() -> None:
    reading = replace(typed_reading(parsing.typed(["66.3"])), belt=None)
    assert "belt and span" in judged(reading).next_step


def test_a_place_on_the_ruler_is_a_share_and_stays_on_it() -> None:
    made = RulerScale(20.0, 40.0, 5.0)
    assert [made.share(n) for n in (20.0, 25.0, 40.0)] == [0.0, 0.25, 1.0]
    assert (made.share(-3.0), made.share(99.0)) == (0.0, 1.0)


def test_what_no_belt_can_bear_is_not_judged_but_checked() -> None:
    found = verdict("300")
    assert found.next_step.startswith("More than tears this belt, about 594 N. Check belt, span")
    assert (found.remedies, found.better) == ((), "")
    assert found.warning == "More than tears this belt, about 594 N."
    assert "more than this belt can bear" in found.reading.warnings[0]


def bench(target: str | None, *frequencies: str) -> Verdict:
    """Return the verdict on a weighed belt, as every command makes it."""
    made = strung("2GT 9 mm", None, "12.6 +/- 0.05 g/m", None, "412 +/- 0.2 mm", None, target)
    return judged(typed_reading(parsing.typed(frequencies), made.belt, made.span), made.window)


def test_a_target_above_what_the_belt_may_carry_is_said_first_and_never_left_alone() -> None:
    for frequency, word in (("66.3", "slack"), ("85", "within"), ("100", "tight")):
        found = bench("60 N", frequency)
        assert found.word == word
        assert found.next_step.startswith(
            "A target of 60 N is above 34.0 N, the published working tension of this belt."
        )
        assert "leave it" not in found.next_step
        assert "tighten a little" not in found.next_step


def test_a_tolerance_does_not_reach_past_what_the_belt_may_carry() -> None:
    found = bench("32 N", "62")
    assert found.window is not None
    assert found.window.high_n == pytest.approx(34.01, abs=0.01)
    assert found.window.high_rule == "the published working tension of this belt"
    assert found.warning == ""


def test_a_tension_that_is_surely_above_the_working_tension_is_said_first() -> None:
    found = bench(None, "90")
    assert found.next_step.startswith(f"{found.reading.preload.value:.4g} N is above 34.0 N")  # type: ignore[union-attr]
    assert "loosen it now" in found.next_step
    assert bench(None, "60").warning == ""


def test_a_target_below_what_seats_the_teeth_is_said_first() -> None:
    found = bench("8 N", "31")
    assert found.next_step.startswith("The target is below 13.3 N: minimum for tooth engagement")
    assert "leave it" not in found.next_step


def test_a_reading_with_a_note_is_not_told_to_be_left_alone() -> None:
    clean = verdict("66.3", 37.5)
    assert clean.next_step == "Within its window: leave it, and write it down."
    noted = judged(replace(clean.reading, warnings=("a note",)), clean.window)
    assert (noted.word, "read the notes" in noted.next_step) == ("within", True)
