"""The live screen drawn into memory: what it shows, what it leaves out, and without fine signs."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from rich.console import Console

from beltpitch import parsing
from beltpitch.advice.window import target_window
from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.session.live import Measuring, State
from beltpitch.session.session import Subject
from beltpitch.terminal.live_screen import Screen

RATE_HZ = 16_000.0
BELT = parsing.belt("2GT 9 mm")
SPAN = parsing.span("286 +/- 0.5 mm", BELT, ends="pulley,clamp")


def states(*subjects: Subject) -> Iterator[State]:
    measuring = Measuring(RATE_HZ, subjects, same_span=True)
    yield measuring.state
    for i, hertz in enumerate((95.0, 88.0)[: len(subjects)]):
        sound = pluck_recording(
            hertz, rate_hz=RATE_HZ, plucks=3, apart_s=1.8, decay_s=0.12, scatter=0.001, seed=i
        )
        for start in range(0, len(sound), 320):
            yield from measuring.feed(Block(sound[start : start + 320], RATE_HZ))
        yield from measuring.move_on()
        yield measuring.now()


@pytest.fixture(scope="module")
def single() -> list[State]:
    return list(states(Subject("y", BELT, SPAN, window=target_window(36.0, 0.1))))


@pytest.fixture(scope="module")
def pair() -> list[State]:
    return list(states(Subject("left", BELT, SPAN), Subject("right", BELT, SPAN)))


def drawn(
    shown: list[State],
    names: tuple[str, ...],
    *,
    height: int = 40,
    encoding: str = "utf-8",
    unit: str = "N",
) -> str:
    """Return everything that was written to a terminal of 80 columns."""
    raw = io.BytesIO()
    paper = io.TextIOWrapper(raw, encoding=encoding, errors="strict")
    where = Console(
        file=paper,
        force_terminal=True,
        width=80,
        height=height,
        color_system="truecolor",
        highlight=False,
        legacy_windows=False,
        _environ={},
    )
    screen = Screen(names, unit, where)
    for state in shown:
        screen.show(state)
        screen.tick(state)
    screen.close()
    paper.flush()
    return raw.getvalue().decode(encoding)


def test_lines_figures_ruler_and_level(single: list[State]) -> None:
    text = drawn(single, ("y",))
    assert "pluck 3  9" in text
    assert "still sounding" in text
    assert "██████" in text
    assert "▒▒▒" in text
    assert "three plucks agree" in text
    assert "hearing" in text
    assert " dB " in text
    assert "(q end, t turned)" in text  # there is nowhere to go on to


def test_words_stand_beside_colours(single: list[State]) -> None:
    (verdict,) = {s.taken.verdict.word for s in single if s.taken}
    assert verdict == "within"
    assert "within, " in drawn(single, ("y",))  # the catalogue's mass leaves it open


def test_a_pair_stands_on_one_axis_with_its_answer(pair: list[State]) -> None:
    text = drawn(pair, ("left", "right"))
    assert "tolerance" in text
    assert "unmatched: left is" in text
    assert "to do: loosen left by" in text
    assert "press T" in text
    assert "pluck 4  right  8" in text
    assert "(q end, n next, t turned)" in text


def test_a_low_terminal_lets_the_ruler_go(pair: list[State]) -> None:
    high, low = (drawn(pair, ("left", "right"), height=h) for h in (40, 16))
    assert "  mean   " in high
    assert "  mean   " not in low
    assert "██████" in low
    assert "unmatched: left is" in low


def test_without_fine_signs_it_is_drawn_in_ascii(single: list[State]) -> None:
    text = drawn(single, ("y",), encoding="ascii")
    assert "######" in text
    assert "+/-" in text


def test_the_unit_is_the_one_asked_for(single: list[State]) -> None:
    text = drawn(single, ("y",), unit="lbf")
    assert " lbf" in text
    assert " N " not in text
