"""What a live measurement asks, what it does with the answers, and how often a pair is wrong."""

from __future__ import annotations

import math

import pytest

from beltpitch import parsing
from beltpitch.session.guide import Guide, Question
from beltpitch.session.session import ASKED_ABOUT, Subject
from calibration.pairs import EVERYTHING, KINDS, Tones, tally

BELT = parsing.belt("2GT 10 mm", linear_mass="12.6 +/- 0.1 g/m")
SPAN = parsing.span("286 +/- 0.5 mm", BELT, ends="pulley,clamp")
SPREAD = (0.0, 0.001, -0.001, 0.0005, -0.0005)


class Hands:
    """Plucks belts for a guide."""

    def __init__(self, *names: str, **options: object) -> None:
        self._tones, self._s = Tones(), 0.0
        subjects = [Subject(name, BELT, SPAN) for name in names]
        self.guide = Guide(subjects, same_span=True, hearing=self._tones.hearing, **options)  # type: ignore[arg-type]

    def pluck(self, hertz: float, count: int = 1) -> list[bool]:
        """Pluck so often; return whether each pluck counted."""
        counted = []
        for i in range(count):
            self._s += 3.0
            one = self.guide.hear(self._tones.pluck(self._s, hertz * (1 + SPREAD[i % 5])))
            counted.append(one.used)
            if one.used:
                self.guide.go_on()
        return counted

    @property
    def question(self) -> Question:
        assert self.guide.question is not None
        return self.guide.question

    @property
    def word(self) -> str:
        assert self.guide.match is not None
        return self.guide.match.word

    @property
    def reached(self) -> list[str]:
        assert self.guide.match is not None
        return [str(each) for each in self.guide.match.reached]

    @property
    def keys(self) -> str:
        return "".join(answer.key for answer in self.question.answers)


def unmatched() -> Hands:
    """A pair whose belts are 36 % apart, and that is known."""
    hands = Hands("left", "right")
    hands.pluck(95.0, 5)
    hands.pluck(95.0 / math.sqrt(1.36), 3)
    assert hands.word == "unmatched"
    assert hands.guide.order.startswith("Tighten right by")
    assert "press T" in hands.guide.order
    return hands


# --- a turn is never guessed ---------------------------------------------------------------------


def test_the_other_belt_plucked_after_unmatched_is_not_taken_for_a_turn() -> None:
    """Before, five plucks of the left belt made belts 36 % apart ``matched``."""
    hands = unmatched()
    counted = hands.pluck(95.0, 5)
    assert not any(counted)
    assert hands.word == "unmatched"
    assert "sounds like left, not like right (81.5 Hz): which belt was it?" in hands.question.words
    assert hands.keys == "twx"
    held = [slot.told for slot in hands.guide.sittings[1].held]
    assert [one.reason for one in held] == [ASKED_ABOUT] * 5


def test_a_pluck_of_the_other_belt_is_counted_there_when_said() -> None:
    hands = unmatched()
    hands.pluck(95.2)
    before = len(hands.guide.sittings[0].steps[0].used_hz)
    assert hands.guide.answer("other belt")
    assert len(hands.guide.sittings[0].steps[0].used_hz) == before + 1
    assert len(hands.guide.sittings[1].steps[0].slots) == 3
    assert hands.word == "unmatched"
    assert hands.guide.question is None


def test_a_turn_that_is_told_begins_anew_and_leads_to_a_match() -> None:
    hands = unmatched()
    hands.guide.turned()
    assert hands.word == "not yet known"
    assert str(hands.guide.match).startswith("not yet known: right begins anew")
    hands.pluck(95.1)
    assert hands.keys == "ywx"  # nothing of right's own speaks against it being left
    assert hands.guide.answer("this belt")
    hands.pluck(94.9, 2)
    assert hands.guide.order == "Pluck left once more: a turn of one belt can move the other."
    hands.pluck(95.0)
    assert hands.guide.matched
    assert hands.reached == ["unmatched, left 36.0% tighter", "right turned", "matched"]


def test_a_turn_that_was_not_told_is_asked_about_at_the_first_pluck() -> None:
    hands = unmatched()
    assert hands.pluck(88.0) == [False]
    assert hands.question.words.startswith("The last pluck lies at 88.0 Hz, the others at 81.5 Hz")
    assert hands.keys == "tex"
    hands.guide.answer("turned")
    assert hands.guide.sittings[1].steps[0].used_hz == [88.0]
    assert hands.reached[-1] == "right turned"


def test_plucks_that_are_as_before_count_as_before() -> None:
    hands = unmatched()
    assert hands.pluck(95.0 / math.sqrt(1.36), 2) == [True, True]
    assert hands.word == "unmatched"
    assert len(hands.guide.sittings[1].steps[0].used_hz) == 5


def test_the_key_pressed_without_a_turn_does_not_make_a_match() -> None:
    """The other belt is plucked then; only somebody who says that it is this one is believed."""
    hands = unmatched()
    hands.guide.turned()
    assert not any(hands.pluck(95.0, 5))
    assert hands.word == "not yet known"
    hands.guide.answer("other belt")
    hands.pluck(95.0 / math.sqrt(1.36), 3)
    assert hands.word == "unmatched"


# --- one belt for both ---------------------------------------------------------------------------


def test_who_plucks_on_at_the_first_belt_is_asked() -> None:
    hands = Hands("left", "right")
    hands.pluck(95.0, 5)
    assert not any(hands.pluck(95.0, 4))
    assert hands.question.words == "This pluck at 95.0 Hz sounds like left: which belt was it?"
    assert hands.guide.match is None


def test_without_anybody_to_answer_the_order_is_trusted() -> None:
    hands = Hands("left", "right", answers=False)
    hands.pluck(95.0, 5)
    assert all(hands.pluck(95.0, 3))
    assert hands.pluck(95.0) == [True]
    assert hands.guide.matched


def test_a_first_belt_that_has_moved_is_found_before_a_match_is_said() -> None:
    hands = Hands("left", "right")
    hands.pluck(95.0, 5)
    hands.pluck(95.2)
    hands.guide.answer("this belt")
    hands.pluck(95.1, 2)
    assert hands.word == "not yet known"
    assert hands.guide.subject == 0
    assert hands.pluck(90.0) == [False]
    assert "was left turned?" in hands.question.words
    assert hands.word == "not yet known"


# --- two groups ----------------------------------------------------------------------------------


def test_two_groups_of_one_belt_are_asked_about_and_the_answer_before_stays() -> None:
    hands = Hands("y")
    hands.pluck(81.4, 5)
    before = hands.guide.sittings[0].verdict
    assert hands.pluck(95.0, 2) == [False, False]
    assert hands.keys == "tex"
    assert hands.question.words == ("2 plucks lie at 95.0 Hz, the others at 81.4 Hz: was y turned?")
    now = hands.guide.sittings[0].verdict
    assert before is not None
    assert now is not None
    assert now.reading.frequency == before.reading.frequency
    assert hands.pluck(95.0, 3) == [False] * 3


@pytest.mark.parametrize(("task", "left_hz"), [("turned", 95.0), ("only these", 95.0)])
def test_an_answer_that_the_last_ones_count_keeps_them(task: str, left_hz: float) -> None:
    hands = Hands("y")
    hands.pluck(81.4, 5)
    hands.pluck(95.0, 3)
    hands.guide.answer(task)  # type: ignore[arg-type]
    reading = hands.guide.sittings[0].reading
    assert reading is not None
    assert reading.frequency is not None
    assert reading.frequency.value == pytest.approx(left_hz, rel=1e-3)
    assert sum(p.used for p in reading.plucks) == 3


def test_plucks_that_are_left_out_on_request_leave_the_earlier_answer() -> None:
    hands = Hands("y")
    hands.pluck(81.4, 5)
    hands.pluck(95.0, 2)
    hands.guide.answer("leave out")
    reading = hands.guide.sittings[0].reading
    assert reading is not None
    assert reading.frequency is not None
    assert reading.frequency.value == pytest.approx(81.4, rel=1e-3)
    assert hands.guide.question is None


@pytest.mark.parametrize("later", [2, 5])
def test_without_an_answer_both_groups_are_shown_and_no_mean(later: int) -> None:
    hands = Hands("y")
    hands.pluck(81.4, 5)
    hands.pluck(95.0, later)
    hands.guide.finish()
    reading = hands.guide.sittings[0].reading
    assert reading is not None
    assert reading.frequency is None
    assert reading.tension is None
    assert [len(group.plucks) for group in reading.groups] == [5, later]
    assert [group.frequency.value for group in reading.groups] == pytest.approx([81.4, 95.0], 1e-3)


def test_a_pair_with_two_groups_and_no_answer_is_not_yet_known() -> None:
    hands = unmatched()
    hands.pluck(88.0, 4)
    hands.guide.finish()
    assert hands.word == "not yet known"
    assert "nobody answered" in str(hands.guide.match)
    assert hands.reached == ["unmatched, left 36.0% tighter", "not yet known"]
    right = hands.guide.sittings[1].reading
    assert right is not None
    assert [len(group.plucks) for group in right.groups] == [3, 4]


def test_plucks_of_two_belts_by_turns_are_asked_about() -> None:
    hands = Hands("left", "right")
    hands.pluck(101.0)
    hands.pluck(89.0, 2)
    hands.pluck(101.0)
    assert "2 plucks lie at 101.0 Hz, the others at 89.0 Hz" in hands.question.words


def test_a_single_stray_pluck_is_left_out_without_a_question() -> None:
    hands = Hands("y")
    hands.pluck(95.0, 4)
    assert hands.pluck(70.0) == [False]
    assert hands.guide.question is None
    assert hands.pluck(95.0) == [True]


# --- answers that are none -----------------------------------------------------------------------


def test_an_answer_to_nothing_does_nothing() -> None:
    hands = Hands("y")
    hands.pluck(95.0, 3)
    assert not hands.guide.answer("leave out")
    hands.pluck(81.0, 2)
    assert not hands.guide.answer("other belt")
    assert hands.guide.question is not None


def test_left_out_by_hand_it_need_not_be_answered() -> None:
    hands = Hands("y")
    hands.pluck(95.0, 3)
    hands.pluck(81.0, 2)
    for slot in hands.guide.sittings[0].held:
        assert slot.heard.onset_s is not None
        hands.guide.by_hand(0, slot.heard.onset_s, use=False)
    assert hands.guide.question is None


# --- how often it is wrong -----------------------------------------------------------------------

PEOPLE = 40
SEED = 20260108
MISTAKEN = ("plucks on the wrong belt", "turns not told", "turns between plucks", "all of it")


@pytest.mark.parametrize("kind", MISTAKEN)
def test_belts_ten_percent_apart_are_called_equal_in_one_of_a_hundred_at_most(kind: str) -> None:
    """Whole sequences with every mistake; 1 % of 40 people and three standard deviations: 2.

    ``python calibration/pairs.py`` counts it sharply, and with more kinds of people.
    """
    found = tally(KINDS[kind], PEOPLE, SEED)
    assert found["false match"] <= PEOPLE * 0.01 + 3 * math.sqrt(PEOPLE * 0.01 * 0.99)
    assert found["matched"] >= PEOPLE * 0.5


def test_the_mistakes_are_made() -> None:
    assert all(
        getattr(EVERYTHING, each) > 0
        for each in ("wrong", "unnoticed", "forgotten", "empty", "between", "untrue", "silent")
    )
