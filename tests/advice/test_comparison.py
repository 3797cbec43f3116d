"""Matched, unmatched, not yet known: what cancels, what is said, and how often it is wrong."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from beltpitch import parsing
from beltpitch.advice.comparison import (
    LEAST_PLUCKS,
    MISSED,
    Comparison,
    as_json,
    compare,
    mean_difference,
    share_of_look,
    tighter_by,
    word_of,
)
from beltpitch.advice.window import target_window
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.span import Span
from beltpitch.errors import RequestError
from beltpitch.pitch.results import Pitch, PitchResult, PluckResult
from beltpitch.reading import Reading, both_strands, from_parks, heard_reading, typed_reading
from beltpitch.uncertainty import difference, ratio

BELT = parsing.belt("2GT 9 mm")
SPAN = parsing.span("286 +/- 0.5 mm", BELT, ends="pulley,clamp")


def pitch(frequency_hz: float) -> Pitch:
    return Pitch(frequency_hz, 0.01, None, None, (), 0.0, 1.0, (0.0, 1.0))


def reading(
    frequencies_hz: object, name: str, belt: Belt | None = BELT, span: Span | None = SPAN
) -> Reading:
    plucks = tuple(
        PluckResult(
            float(i), Pitch(float(f), 0.01, None, None, (), 0.0, 1.0, (0.0, 1.0)), True, None
        )
        for i, f in enumerate(np.asarray(frequencies_hz).ravel())
    )
    return heard_reading(PitchResult(plucks), name, belt, span)


# --- how often it is wrong -----------------------------------------------------------------------

SITTINGS = 250
CHANCE = np.random.default_rng(20260105)


def words_of_sitting(
    apart: float, scatter: float, plucks: int, span: Span | None, belt: Belt | None
) -> list[str]:
    """One guided sitting: the first belt is plucked five times, then every pluck is a look.

    Last contact is drawn for each belt as the budget has it: one tooth, half a pitch either way.
    """
    f = 70.0 * math.sqrt(1 + apart / 2) * (1 + scatter * CHANCE.standard_normal(5))
    g = 70.0 * math.sqrt(1 - apart / 2) * (1 + scatter * CHANCE.standard_normal(plucks))
    if span is not None and belt is not None:
        assert belt.pitch_m is not None
        f, g = (x * (1 + CHANCE.uniform(-0.5, 0.5) * belt.pitch_m / span.length_m) for x in (f, g))
    first = reading(f, "left", belt, span)
    return [
        compare(first, reading(g[:n], "right", belt, span), look=n - LEAST_PLUCKS + 1).word
        for n in range(LEAST_PLUCKS, plucks + 1)
    ]


def sittings(apart: float, scatter: float, plucks: int, *, full: bool = False) -> list[list[str]]:
    span, belt = (SPAN, BELT) if full else (None, None)
    return [words_of_sitting(apart, scatter, plucks, span, belt) for _ in range(SITTINGS)]


def at_most(count: int, share: float) -> bool:
    """Whether so many of SITTINGS are compatible with a true share of at most `share`.

    Three standard deviations of the binomial: a false alarm is rarer than 1 in 500.
    """
    return count <= SITTINGS * share + 3 * math.sqrt(SITTINGS * share * (1 - share))


def at_least(count: int, share: float) -> bool:
    return at_most(SITTINGS - count, 1 - share)


def test_five_plucks_of_each_tell_equal_belts_from_belts_ten_percent_apart() -> None:
    """0.5 % scatter, one roll, strands read once, last contact drawn too."""
    equal, apart = sittings(0.0, 0.005, 5, full=True), sittings(0.10, 0.005, 5, full=True)
    assert at_least(sum(words[-1] == "matched" for words in equal), 0.90)
    assert at_least(sum(words[-1] == "unmatched" for words in apart), 0.90)
    assert at_most(sum("unmatched" in words for words in equal), 0.05)
    assert at_most(sum("matched" in words for words in apart), 0.01)


@pytest.mark.parametrize("scatter", [0.002, 0.01, 0.03])
def test_a_look_after_every_pluck_does_not_wear_the_answer_out(scatter: float) -> None:
    equal, apart = sittings(0.0, scatter, 14), sittings(0.10, scatter, 14)
    assert at_most(sum("unmatched" in words for words in equal), 0.05)
    assert at_most(sum("matched" in words for words in apart), 0.01)


def test_equal_belts_at_the_tolerance_are_rarely_called_either() -> None:
    """At the edge itself each wrong side has 2.5 % of all sittings; the looks share it out."""
    edge = sittings(0.05, 0.005, 12)
    called = sum("matched" in words or "unmatched" in words for words in edge)
    assert at_most(called, 0.05)


def test_plain_intervals_would_wear_it_out() -> None:
    """The rule is needed: at the edge of the tolerance a plain 95 % interval errs far oftener."""
    wrong = 0
    for _ in range(SITTINGS):
        f = 70 * math.sqrt(1.025) * (1 + 0.003 * CHANCE.standard_normal(5))
        g = 70 * math.sqrt(0.975) * (1 + 0.003 * CHANCE.standard_normal(14))
        first = reading(f, "left", None, None)
        looks = [compare(first, reading(g[:n], "r", None, None)).word for n in range(3, 15)]
        wrong += any(word != "not yet known" for word in looks)
    assert not at_most(wrong, 0.05)


def test_the_shares_of_all_looks_add_up_to_one_in_twenty() -> None:
    shares = [share_of_look(k) for k in range(1, 20_000)]
    assert sum(shares) == pytest.approx(MISSED, rel=1e-4)
    assert sum(shares) < MISSED
    with pytest.raises(ValueError, match="count from 1"):
        share_of_look(0)


def test_doubling_t_leaves_a_quarter_of_the_tail() -> None:
    """The step of the derivation that bounds a false `matched`, for any look and from 2 dof on."""
    from scipy.stats import t as student

    for dof in (2, 3, 5, 20):
        for look in (1, 2, 5, 50):
            tail = share_of_look(look) / 2
            doubled = float(student.sf(2 * student.isf(tail, dof), dof))
            assert doubled <= 0.26 * tail
            # belts 10 % apart are a little less than twice a tolerance of 5 %
            nearly = float(student.sf(1.95 * student.isf(tail, dof), dof))
            assert nearly <= 0.28 * tail


def test_two_plucks_answer_nothing_in_a_guided_pair() -> None:
    match = compare(reading([70, 70.01], "a"), reading([60, 60.01], "b"), look=1)
    assert match.word == "not yet known"
    assert "3 plucks" in match.notes[0]


# --- what cancels --------------------------------------------------------------------------------


def test_what_one_roll_and_one_tape_share_is_gone_from_the_budget() -> None:
    left = parsing.span("286 +/- 0.5 mm", BELT, ends="pulley,clamp")
    right = parsing.span("300 +/- 0.5 mm", BELT, ends="pulley,clamp")
    a = reading([70, 70.1, 70.2, 70.1, 70], "a", span=left)
    b = reading([66.8, 66.9, 66.7, 66.8, 66.8], "b", span=right)
    match = compare(a, b)
    lost = dict(match.cancelled)
    assert {"linear mass", "clock", "air"} <= set(lost)
    assert lost["linear mass"] == pytest.approx(
        BELT.linear_mass.u / BELT.linear_mass.value, rel=0.1
    )
    assert match.apart is not None
    left_over = {line.name: line.u for line in match.apart.budget()}
    # each span was read for itself, 0.5 mm limit: 2 u(L)/L, twice, in quadrature
    read = 0.0005 / math.sqrt(3)
    expected = math.hypot(2 * read / 0.286, 2 * read / 0.300)
    assert left_over["span"] == pytest.approx(expected, rel=0.05)
    assert left_over["last contact"] > 0
    assert left_over["plucks"] > 0


def test_equal_spans_compare_by_frequency_alone_and_say_so() -> None:
    a, b = reading([70.0] * 5, "a"), reading([71.4] * 5, "b")
    match = compare(a, b)
    assert match.apart is not None
    assert match.apart.value == pytest.approx(2 * math.log(70 / 71.4))
    assert any("frequency alone" in note for note in match.notes)
    assert "span" in dict(match.cancelled)
    assert match.values_n is not None
    x, y = match.values_n
    assert math.log(x / y) == pytest.approx(match.apart.value)


def test_the_tones_of_equal_spans_tell_the_same_as_the_tensions() -> None:
    a, b = reading([70.0] * 5, "a"), reading([72.0] * 5, "b")
    alone = compare(a, b)
    spans_apart = compare(a, b, same_span=False)
    assert alone.apart is not None
    assert spans_apart.apart is not None
    assert alone.apart.value == pytest.approx(spans_apart.apart.value, rel=0.03)


def test_belts_of_two_rolls_do_not_share_their_mass() -> None:
    a, b = reading([70.0] * 5, "a"), reading([70.0] * 5, "b")
    one, two = compare(a, b), compare(a, b, one_roll=False)
    assert one.word == "matched"
    assert two.word == "not yet known"
    assert one.apart is not None
    assert two.apart is not None
    assert "linear mass" not in {line.name for line in one.apart.budget()}
    rolls = math.sqrt(2) * BELT.linear_mass.u / BELT.linear_mass.value
    lines = {line.name: line.u for line in two.apart.budget()}
    assert lines["linear mass"] == pytest.approx(rolls, rel=0.1)


def test_relative_difference_agrees_with_the_books_ratio_and_difference() -> None:
    a, b = reading([70, 70.2, 70.1], "a"), reading([71.0, 71.3, 71.1], "b")
    match = compare(a, b, same_span=False)
    assert match.apart is not None
    assert a.tension is not None
    assert b.tension is not None
    quotient = ratio(a.tension, b.tension).value
    assert match.apart.value == pytest.approx(math.log(quotient))
    apart_n = difference(a.tension, b.tension)
    assert tighter_by(match.apart.value) * a.tension.value == pytest.approx(apart_n.value)
    # what schema 1 calls the difference is relative to the mean
    middle = (a.tension.value + b.tension.value) / 2
    assert as_json(match)["difference"] == pytest.approx(apart_n.value / middle)


def test_swapping_the_belts_swaps_the_sign_and_nothing_else() -> None:
    a, b = reading([70, 70.1, 70.1], "a"), reading([74.0, 74.1, 74.1], "b")
    there, back = compare(a, b, names=("a", "b")), compare(b, a, names=("b", "a"))
    assert there.apart is not None
    assert back.apart is not None
    assert there.word == back.word
    assert there.apart.value == pytest.approx(-back.apart.value)
    assert there.apart.u == pytest.approx(back.apart.u)
    assert there.interval == pytest.approx(tuple(-x for x in reversed(back.interval or ())))
    assert there.turn is not None
    assert back.turn is not None
    assert there.turn.name == back.turn.name == "a"


# --- strands and preloads ------------------------------------------------------------------------


def test_strands_read_once_are_compared_as_strands_and_the_preloads_left_open() -> None:
    a, b = reading([70.0] * 5, "a"), reading([70.1] * 5, "b")
    match = compare(a, b)
    assert (match.word, match.basis) == ("matched", "strand")
    assert any("plucked strands" in note for note in match.notes)
    assert match.preloads is not None
    assert match.apart is not None
    low, high = match.preloads.interval()
    assert low < -0.05 < 0.05 < high  # 3 N each are not common to both
    assert a.tension is not None
    assert a.preload is not None
    strand = math.sqrt(a.preload.u**2 - a.tension.u**2) / a.preload.value
    assert math.sqrt(match.preloads.u**2 - match.apart.u**2) == pytest.approx(
        math.sqrt(2) * strand, rel=0.02
    )


def test_both_strands_of_each_compare_the_preloads() -> None:
    left = both_strands(reading([70.0] * 5, "a"), reading([72.0] * 5, "a2"), ("upper", "lower"))
    right = both_strands(reading([71.9] * 5, "b"), reading([70.1] * 5, "b2"), ("upper", "lower"))
    match = compare(left[1], right[1])
    assert (match.word, match.basis, match.preloads) == ("matched", "preload", None)
    assert match.apart is not None
    assert "strand difference" not in {line.name for line in match.apart.budget()}


def test_unlike_strands_compare_as_preloads_with_their_strand_differences() -> None:
    a = replace(reading([70.0] * 5, "a"), strand="upper")
    b = replace(reading([70.0] * 5, "b"), strand="lower")
    match = compare(a, b)
    assert (match.word, match.basis) == ("not yet known", "preload")
    assert match.apart is not None
    assert match.apart.budget()[0].name == "strand difference"


def test_two_parks_are_compared_by_tension_and_share_the_travel() -> None:
    travel = parsing.travel("160.0 +/- 0.2 mm")
    a = from_parks(reading([40.0] * 5, "a1"), reading([64.0] * 5, "a2"), travel)
    b = from_parks(reading([40.0] * 5, "b1"), reading([64.0] * 5, "b2"), travel)
    match = compare(a, b)
    assert match.apart is not None
    assert match.apart.value == pytest.approx(0.0, abs=1e-12)
    assert "travel" in dict(match.cancelled)


# --- which belt, which way, how far --------------------------------------------------------------


def test_the_slacker_belt_is_tightened_until_the_tones_agree() -> None:
    a, b = reading([70.0] * 5, "a"), reading([65.0] * 5, "b")
    match = compare(a, b, names=("left", "right"))
    assert match.word == "unmatched"
    assert match.turn is not None
    assert (match.turn.name, match.turn.way) == ("right", "tighten")
    assert match.turn.aim_hz == pytest.approx(70.0)
    assert match.turn.share == pytest.approx((70 / 65) ** 2 - 1)
    assert match.values_n is not None
    assert match.turn.force_n == pytest.approx(match.values_n[0] - match.values_n[1])
    assert str(match.turn).startswith("tighten right by")
    assert str(match).startswith("unmatched: left is 16.0% tighter than right")
    assert "(16.0%)" in str(match.turn)


def test_a_target_decides_which_belt_is_changed() -> None:
    a, b = reading([70.0] * 5, "a"), reading([65.0] * 5, "b")
    assert b.tension is not None
    low = target_window(b.tension.value, 0.1)
    match = compare(a, b, names=("left", "right"), window=low)
    assert match.turn is not None
    assert (match.turn.name, match.turn.way) == ("left", "let off")
    assert match.turn.aim_hz == pytest.approx(65.0)


def test_an_upper_end_lets_the_tighter_belt_off() -> None:
    a, b = reading([70.0] * 5, "a"), reading([65.0] * 5, "b")
    assert b.tension is not None
    window = replace(target_window(b.tension.value, 0.05), target_n=None)
    match = compare(a, b, window=window)
    assert match.turn is not None
    assert match.turn.way == "let off"


def test_no_belt_is_tightened_after_one_that_is_past_what_it_may_bear() -> None:
    """2GT 9 mm: the handbook's working tension is 39.3 N; 120 Hz on this span is 59 N."""
    slack, over = reading([94.0] * 5, "a"), reading([120.0] * 5, "b")
    for turning in (None, 0):
        turn = compare(slack, over, turning=turning).turn
        assert turn is not None
        assert (turn.belt, turn.way) == (1, "let off")


def test_the_belt_being_turned_stays_the_one_to_turn() -> None:
    a, b = reading([70.0] * 5, "a"), reading([75.0] * 5, "b")
    match = compare(a, b, names=("left", "right"), turning=1)
    assert match.turn is not None
    assert (match.turn.name, match.turn.way) == ("right", "let off")


def test_a_matched_pair_needs_no_turn() -> None:
    assert compare(reading([70.0] * 5, "a"), reading([70.1] * 5, "b")).turn is None


# --- less than everything is known ---------------------------------------------------------------


def test_tones_alone_can_be_compared() -> None:
    a = typed_reading(parsing.typed(["66.3 Hz", "66.4 Hz"]))
    b = typed_reading(parsing.typed(["60.1 Hz", "60.0 Hz"]))
    match = compare(a, b)
    assert (match.word, match.basis, match.values_n) == ("unmatched", "frequency", None)
    assert match.zone_n is None
    assert match.turn is not None
    assert match.turn.force_n is None
    assert "until it sounds at 66.35 Hz" in str(match.turn)


def test_typed_tones_over_unlike_spans_need_no_mass() -> None:
    a = typed_reading(parsing.typed(["70.0 Hz"] * 3), span=parsing.span("286 mm"))
    b = typed_reading(parsing.typed(["66.7 Hz"] * 3), span=parsing.span("300 mm"))
    match = compare(a, b)
    assert match.apart is not None
    product = (70.0 * 286) ** 2, (66.7 * 300) ** 2
    assert match.apart.value == pytest.approx(2 * (product[0] - product[1]) / sum(product))


def test_where_plucks_do_not_tell_it_says_what_would() -> None:
    a, b = reading([70.0] * 5, "a"), reading([70.0] * 5, "b")
    rolls = compare(a, b, one_roll=False)
    assert rolls.hint is not None
    assert "weigh a piece of each belt" in rolls.hint
    edge = compare(a, reading([70.0 / math.sqrt(1.052)] * 5, "b"))
    assert edge.word == "not yet known"
    assert edge.hint is not None
    assert "more plucks will hardly tell" in edge.hint
    assert compare(a, b).hint is None
    assert compare(reading([70.0] * 3, "a"), b, one_roll=False).hint is None


def test_a_silent_belt_is_named() -> None:
    silent = Reading("right.wav")
    match = compare(reading([70.0] * 5, "a"), silent, names=("left", "right"))
    assert match.word == "not yet known"
    assert match.apart is None
    assert str(match) == "not yet known: no frequency yet of right"


@pytest.mark.parametrize("within", [0.0, -0.1, 0.7, math.nan])
def test_a_tolerance_that_is_none_is_refused(within: float) -> None:
    a = reading([70.0] * 3, "a")
    with pytest.raises(RequestError, match="as in 5%"):
        compare(a, a, within=within)


@pytest.mark.parametrize(
    ("interval", "word"),
    [
        ((-0.01, 0.02), "matched"),
        ((-0.05, 0.02), "not yet known"),
        ((0.051, 0.2), "unmatched"),
        ((-0.2, -0.051), "unmatched"),
        ((0.04, 0.2), "not yet known"),
        ((-0.2, 0.2), "not yet known"),
        ((0.0, math.log(1.0499)), "matched"),
        ((math.log(1.0501), 0.2), "unmatched"),
    ],
)
def test_words_of_intervals(interval: tuple[float, float], word: str) -> None:
    assert word_of(interval, 0.05) == word


def test_the_zone_on_the_ruler_is_the_tolerance_seen_from_the_first_belt() -> None:
    match = compare(reading([70.0] * 5, "a"), reading([70.5] * 5, "b"))
    assert match.zone_n is not None
    assert match.bar_n is not None
    assert match.values_n is not None
    first, second = match.values_n
    low, high = match.zone_n
    assert first / low - 1 == pytest.approx(0.05)
    assert high / first - 1 == pytest.approx(0.05)
    assert match.bar_n[0] < second < match.bar_n[1]


def test_one_ratio_tells_how_far_apart_and_how_much_to_turn() -> None:
    """A fourfold tension is 300 % tighter, not 120 %; and no force is written 1.1e+02 N."""
    a, b = reading([60.0] * 5, "a"), reading([30.0] * 5, "b")
    match = compare(a, b, names=("left", "right"))
    assert match.apart is not None
    assert tighter_by(match.apart.value) == pytest.approx(3.0)
    assert str(match).startswith("unmatched: left is 300.0% tighter than right")
    assert "(300.0%), until it sounds at 60.00 Hz" in str(match.turn)
    assert "e+" not in str(compare(reading([230.0] * 5, "a"), b).turn)
    assert match.turn is not None
    assert "lbf (300.0%)" in match.turn.words("lbf")


def test_a_belt_that_is_loosened_keeps_to_the_same_ratio() -> None:
    a, b = reading([70.0] * 5, "a"), reading([65.0] * 5, "b")
    match = compare(a, b, names=("left", "right"), turning=0)
    assert match.turn is not None
    words = str(match.turn)
    assert words.startswith("loosen left by ")
    assert words.endswith("until it sounds at 65.00 Hz (it is 16.0% above right)")
    assert match.turn.share == pytest.approx((65 / 70) ** 2 - 1)


def test_the_ratio_is_the_same_whichever_belt_is_named_first() -> None:
    for value in (0.0, 0.03, 0.2, 1.4):
        assert tighter_by(-value) == -tighter_by(value)
        assert tighter_by(value) == pytest.approx(math.exp(value) - 1)
        x, y = math.exp(value), 1.0
        assert mean_difference(value) == pytest.approx(2 * (x - y) / (x + y))
    assert math.expm1(math.log1p(0.05)) == pytest.approx(0.05)


def test_not_yet_known_says_which_belt_to_pluck_and_never_to_turn() -> None:
    two, five = reading([70.0, 70.4], "a"), reading([69.0, 69.5, 68.7, 69.2, 69.1], "b")
    match = compare(two, five, names=("left", "right"), look=1)
    assert (match.word, match.turn) == ("not yet known", None)
    assert str(match.again) == "pluck left once more"
    assert as_json(match)["pluck_again"] == {"belt": "left", "plucks": 1, "why": ""}
    wild = reading([66.0, 70.5, 68.7, 71.2, 69.1], "b")
    scattered = compare(reading([70.0] * 5, "a"), wild, names=("left", "right"), look=1)
    assert (scattered.word, scattered.turn) == ("not yet known", None)
    assert str(scattered.again) == "pluck right twice more"


def test_a_match_of_strands_says_what_it_leaves_open_of_the_preloads() -> None:
    a, b = reading([70.0] * 5, "a"), reading([70.1] * 5, "b")
    match = compare(a, b)
    assert match.word == "matched"
    assert "the preloads may still differ by up to" in str(match)
    assert "preloads" in match.closing
    assert as_json(match)["preloads_within"] is False
    left = both_strands(reading([70.0] * 5, "a"), reading([70.2] * 5, "a2"), ("upper", "lower"))
    right = both_strands(reading([70.1] * 5, "b"), reading([70.1] * 5, "b2"), ("upper", "lower"))
    sure = compare(left[1], right[1])
    assert (sure.word, sure.open_preloads, sure.closing) == ("matched", "", "The two belts match.")


def test_a_tone_that_the_belt_cannot_have_is_not_compared() -> None:
    """20 Hz on a 40 mm span told to tighten by 989 % before."""
    short = parsing.span("40 mm", BELT)
    a, b = reading([20.0] * 5, "a", span=short), reading([160.0] * 5, "b", span=short)
    match = compare(a, b, names=("left", "right"))
    assert (match.word, match.apart, match.turn, match.again) == ("not yet known", None, None, None)
    assert match.notes[0].startswith("left: 20 Hz is no higher than this span would sound")


def test_json_has_every_key_known_or_not() -> None:
    full = as_json(compare(reading([70.0] * 5, "a"), reading([65.0] * 5, "b")))
    bare = as_json(Comparison("not yet known", ("a", "b"), 0.05, "frequency", notes=("nothing",)))
    assert set(full) == set(bare)
    assert bare["difference"] is None
    assert full["word"] == "unmatched"
