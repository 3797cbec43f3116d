"""Standard error while a stream is open: the libraries' chatter is dropped, nothing else is."""

from __future__ import annotations

import io
import subprocess
import sys

import pytest

from beltpitch.audio import stderr_filter

START = """
import os, sys
from beltpitch.audio.stderr_filter import Filtered, hushed

def library(words):
    os.write(2, words.encode() + b"\\n")

one, two = Filtered(), Filtered()
one.begin()
"""
CHATTER = "Expression 'ret' failed in 'src/hostapi/alsa/pa_linux_alsa.c', line: 3350"


def said(program: str, *, code: int = 0) -> str:
    """Run a program of its own and return what reached its standard error."""
    done = subprocess.run(
        [sys.executable, "-c", START + program],
        check=False,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == code, done.stderr
    return done.stderr


def test_chatter_is_dropped_and_every_other_line_passes() -> None:
    told = said(
        f"""
library({CHATTER!r})
library("something else")
print("ours", file=sys.stderr)
one.end()
library("ALSA lib after the end")
print("the last", file=sys.stderr)
"""
    )
    lines = told.splitlines()
    assert sorted(lines[:2]) == ["ours", "something else"]
    assert lines[2:] == ["ALSA lib after the end", "the last"]


def test_a_traceback_is_never_lost() -> None:
    told = said("raise RuntimeError('a fault of ours')\n", code=1)
    assert "RuntimeError: a fault of ours" in told


def test_it_lasts_until_the_last_of_several_ends() -> None:
    told = said(
        f"""
two.begin(); two.begin(); one.end(); one.end()
library({CHATTER!r})
two.end()
library("Expression 'after'")
"""
    )
    assert told == "Expression 'after'\n"


def test_opening_and_closing_drops_all_that_is_not_pythons() -> None:
    told = said(
        """
with hushed():
    library("something else")
    print("ours", file=sys.stderr)
one.end()
with hushed():
    library("once more")
"""
    )
    assert told == "ours\n"


def test_a_screen_that_put_itself_before_standard_error_can_put_it_back() -> None:
    """A live display wraps sys.stderr while we stand behind it and ends after us."""
    told = said(
        """
import io
ours = sys.stderr
sys.stderr = io.StringIO()
one.end()
sys.stderr = ours
print("still heard", file=sys.stderr)
library("and the others")
"""
    )
    assert told == "still heard\nand the others\n"


def test_without_standard_error_nothing_breaks() -> None:
    program = """
one.end()
os.close(2)
two.begin()
with hushed():
    pass
two.end()
sys.stdout.write("went on")
"""
    done = subprocess.run(
        [sys.executable, "-c", START + program], check=True, capture_output=True, timeout=60
    )
    assert done.stdout == b"went on"


def test_a_stream_that_is_not_descriptor_2_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    mine = io.StringIO()
    monkeypatch.setattr(sys, "stderr", mine)
    filtered = stderr_filter.Filtered()
    filtered.begin()
    assert sys.stderr is mine
    filtered.end()
    assert sys.stderr is mine
