"""Ends by name, and the tooth that is the last contact."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltpitch.belts.end_conditions import KINDS, ends, last_contact
from beltpitch.errors import RequestError
from beltpitch.uncertainty import combine


def test_a_pair_of_kinds_is_as_good_as_the_text() -> None:
    assert ends(("pulley", "clamp"), "b") == ends("pulley,clamp", "b")
    with pytest.raises(RequestError, match="did you mean clamp"):
        ends(("pulley", "clmp"), "b")


def test_one_word_names_both_ends() -> None:
    (kind_a, a), (kind_b, b) = ends("pulley", "2GT 9 mm")
    assert (kind_a, kind_b) == ("pulley", "pulley")
    assert a.value == b.value == pytest.approx(1 / 3)
    assert a.u == pytest.approx(0.29)


def test_two_pulleys_of_one_belt_are_one_error() -> None:
    (_, a), (_, b) = ends("pulley, Idler", "2GT 9 mm")
    assert combine(0.0, [(1.0, a), (1.0, b)]).u == pytest.approx(2 * 0.29)
    (_, other), _ = ends("pulley", "HTD 5M")
    assert combine(0.0, [(1.0, a), (1.0, other)]).u == pytest.approx(math.sqrt(2) * 0.29)
    assert a.parts[0].key == "belt:2GT 9 mm/ends"
    assert a.parts[0].name == "ends"


def test_clamp_and_pin_are_known() -> None:
    (_, clamp), (_, pin) = ends("clamp,pinned", "any")
    assert (clamp.value, clamp.parts) == (1.0, ())
    assert (pin.value, pin.parts) == (0.0, ())


def test_every_kind_stays_within_pinned_and_clamped() -> None:
    for holding, u in KINDS.values():
        assert 0 <= holding <= 1
        assert 0 <= u < 0.3


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("puley", 'end "puley" is not one of pulley, idler, clamp, pinned; did you mean pulley'),
        ("", 'end "" is not one of'),
        ("clamp,pulley,clamp", "a strand has two ends"),
        ("clamp,17", 'end "17"'),
    ],
)
def test_other_ends_are_refused(text: str, message: str) -> None:
    with pytest.raises(RequestError, match=message.replace("?", r"\?")):
        ends(text, "any")


def test_last_contact_is_half_a_pitch_either_way() -> None:
    rng = np.random.default_rng(3)
    drawn = rng.uniform(-0.001, 0.001, (2, 200_000)).sum(axis=0)
    part = last_contact(("pulley", "pulley"), 0.002, key="contact:today")
    assert part.u == pytest.approx(np.std(drawn), rel=0.01)
    assert (part.name, part.key) == ("last contact", "contact:today")


def test_last_contact_needs_teeth_and_shrinks_with_positions() -> None:
    both = last_contact(("pulley", "pulley"), 0.005, key="k").u
    assert last_contact(("pulley", "clamp"), 0.005, key="k").u == pytest.approx(both / math.sqrt(2))
    assert last_contact(("idler", "clamp"), 0.005, key="k").u == 0
    assert last_contact(("pulley", "pulley"), 0.005, key="k", positions=4).u == both / 2
