"""Which tones agree: one string, several groups of plucks, an overtone taken for the tone."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltpitch.pitch.groups import agreeing, groups, overtone


def split(*hertz: float, u: float = 0.0) -> tuple[tuple[int, ...], ...]:
    return groups(hertz, [u] * len(hertz))


def test_plucks_of_one_string_are_one_group() -> None:
    assert split() == ()
    assert split(66.3) == ((0,),)
    assert split(66.3, 66.1, 66.5, 66.2) == ((0, 1, 2, 3),)
    assert split(110.0, 112.0) == ((0, 1),)  # a rough hand


def test_two_tones_are_two_groups_with_their_plucks_in_order() -> None:
    assert split(130.0, 110.0) == ((1,), (0,))
    assert split(77.1, 66.3, 77.3, 66.2, 77.0) == ((1, 3), (0, 2, 4))


def test_more_plucks_tell_smaller_differences() -> None:
    """A tensioner turned by 4 % of tension: 2 % of frequency."""
    assert split(66.0, 67.3) == ((0, 1),)
    assert split(66.0, 66.1, 66.05, 67.4, 67.35, 67.5) == ((0, 1, 2), (3, 4, 5))


def test_a_belt_that_settles_slowly_is_one_group() -> None:
    assert len(groups(np.linspace(66.0, 68.0, 9).tolist(), [0.0] * 9)) == 1


def test_what_is_known_badly_does_not_disagree() -> None:
    assert len(split(66.0, 70.0, u=0.1)) == 2
    assert len(split(66.0, 70.0, u=2.0)) == 1


def test_a_single_value_agrees_with_none() -> None:
    assert agreeing(split(66.0, 66.1, 80.0)) == ((0, 1),)
    assert agreeing(split(66.0, 80.0)) == ()


def test_plucks_of_a_usual_hand_are_seldom_split() -> None:
    chance, trials = np.random.default_rng(3), 2000
    for count in (2, 5, 10):
        wrong = 0
        for _ in range(trials):
            scatter = 0.003 * np.sqrt(4 / chance.chisquare(4))
            hertz = 66.0 * (1 + scatter * chance.standard_normal(count))
            wrong += len(agreeing(groups(hertz.tolist(), [0.0] * count))) > 1
        assert wrong <= 0.01 * trials


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [(66.3, 132.6, (2, 1)), (199.0, 66.3, (3, 1)), (66.0, 99.5, (3, 2)), (110.0, 130.0, None)],
)
def test_overtones_are_known_by_their_ratio(
    one: float, other: float, ratio: tuple[int, int] | None
) -> None:
    assert overtone(one, other) == ratio


@given(st.lists(st.floats(15, 700), max_size=12))
def test_every_value_is_in_one_group_and_groups_rise(hertz: list[float]) -> None:
    found = groups(hertz, [0.01] * len(hertz))
    assert sorted(k for group in found for k in group) == list(range(len(hertz)))
    ends = [(min(hertz[k] for k in g), max(hertz[k] for k in g)) for g in found]
    assert all(a[1] < b[0] for a, b in pairwise(ends))
