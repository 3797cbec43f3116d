"""What one turn of a tensioner does."""

from __future__ import annotations

import math

import pytest

from beltpitch.advice.tensioner import Tensioner, lead_m, spelled
from beltpitch.errors import RequestError


def test_an_idler_across_a_full_wrap_counts_twice_a_clamp_once() -> None:
    idler, clamp = Tensioner("idler", 0.7e-3), Tensioner("clamp", 0.7e-3)
    assert idler.gain == pytest.approx(2)
    assert clamp.gain == 1
    assert idler.newtons_per_turn(1.4, 2e4) == pytest.approx(2 * clamp.newtons_per_turn(1.4, 2e4))


def test_a_rate_leads_back_to_its_stiffness() -> None:
    for frame in (None, 1e5):
        tensioner = Tensioner("idler", 0.7e-3, math.radians(120), frame)
        rate = tensioner.newtons_per_turn(1.4, 2e4)
        assert tensioner.ea_from(rate, 1.4) == pytest.approx(2e4)


def test_a_rate_beyond_the_frame_alone_means_no_stiffness() -> None:
    assert Tensioner("clamp", 1e-3, frame_n_per_m=1e4).ea_from(11, 1.0) is None


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("spring", 1e-3), "no tensioner is called 'spring'"),
        (("clamp", 0.0), "thread pitch is 0 m"),
        (("idler", 1e-3, 0.0), "wrap of 0 deg"),
        (("idler", 1e-3, 4.0), "up to 180 deg"),
        (("clamp", 1e-3, math.pi, -1.0), "frame's stiffness is -1 N/m"),
    ],
)
def test_a_tensioner_that_cannot_be_is_refused(given: tuple[str, float], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        Tensioner(*given)


def test_a_loop_without_length_is_refused() -> None:
    with pytest.raises(RequestError, match="belt loop is 0 m"):
        Tensioner("clamp", 1e-3).newtons_per_turn(0, 2e4)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("M4", 0.7), ("m3", 0.5), ("M3x0.5", 0.5), ("M8 x 1", 1.0), ("M6\u00d70.75 mm", 0.75),
     ("0.7 mm", 0.7), ("0.8", 0.8)],
)  # fmt: skip
def test_a_thread_is_read_by_its_designation(text: str, mm: float) -> None:
    assert lead_m(text, option="--thread") == pytest.approx(mm / 1000)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("M3x20", "the pitches of M3 are 0.5, 0.35 mm; .* not the length of the screw"),
        ("M3x0.6", "the pitches of M3"),
        ("M7", "no thread known"),
        ("M", "no thread known"),
        ("M3x0,5", "no thread known"),
        ("0,5 mm", "decimal point"),
        ("0", "greater than zero"),
    ],
)
def test_what_is_no_thread_is_refused(text: str, why: str) -> None:
    with pytest.raises(RequestError, match=why):
        lead_m(text, option="--thread")


def test_turns_are_spelled_as_turns_flats_and_degrees() -> None:
    assert spelled(-1.5) == "1.50 turns (9.0 flats of a hex screw, 540 deg)"
    assert spelled(0.1) == "36 deg"
