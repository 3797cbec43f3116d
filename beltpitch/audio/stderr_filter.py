"""Standard error without what the sound libraries chatter into it.

PortAudio, ALSA and JACK write to file descriptor 2 behind Python's back: when a stream is opened,
when it is closed, and, from a thread of their own, when the sound server is lost. Their lines say
nothing to a person at a machine, who is told in a line of ours.

While a stream is open (`filtered`) descriptor 2 is a pipe: a thread reads it, drops the lines that
are known to be theirs and passes on every other. Python's own ``sys.stderr`` is led past the pipe,
straight to where it went before, so that no message of ours is late or lost. While a stream is
being opened or closed (`hushed`), when they chatter most, all that reaches descriptor 2 is dropped.
"""

from __future__ import annotations

import io
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

# How their lines begin: PortAudio's failed checks, ALSA's and JACK's reports, PortAudio on macOS.
CHATTER = (
    b"Expression '",
    b"PaAlsa",
    b"ALSA lib ",
    b"Cannot connect to server",
    b"jack server",
    b"JackShm",
    b"||PaMacCore",
)
PATIENCE_S = 1.0  # for the last lines to be passed on
STDERR = 2

_lock = threading.RLock()  # two streams of one program: the input's and the beeper's
_filter: _Filter | None = None
_users = 0


class _Filter:
    """Stands before descriptor 2 until it is ended."""

    def __init__(self) -> None:
        self._true = os.dup(STDERR)
        begin, end = os.pipe()
        os.dup2(end, STDERR)
        os.close(end)
        self._thread = threading.Thread(target=self._pass_on, args=(begin,), daemon=True)
        self._thread.start()
        self._before = sys.stderr
        self._past = _past(self._before, self._true)
        if self._past is not None:
            sys.stderr = self._past

    def _pass_on(self, begin: int) -> None:
        with os.fdopen(begin, "rb") as lines:
            for line in lines:
                if not line.startswith(CHATTER):
                    with suppress(OSError):  # nobody reads it any more
                        os.write(self._true, line)

    def end(self) -> None:
        """Put descriptor 2 and ``sys.stderr`` back, with all that was still on its way."""
        os.dup2(self._true, STDERR)
        self._thread.join(PATIENCE_S)
        if self._past is not None:
            with suppress(OSError, ValueError):
                self._past.flush()
        held = sys.stderr is not self._before and sys.stderr is not self._past
        if sys.stderr is self._past and self._before is not None:
            sys.stderr = self._before
        # A child program may still hold the pipe; a live screen our stream, to put it back.
        if not self._thread.is_alive() and not held:
            os.close(self._true)


def _past(stream: TextIO | None, descriptor: int) -> TextIO | None:
    """Return a text stream to where ``sys.stderr`` goes; None if that is not descriptor 2."""
    try:
        if stream is None or stream.fileno() != STDERR:
            return None
        stream.flush()
    except (OSError, ValueError):  # it has no descriptor, or is closed
        return None
    return io.TextIOWrapper(
        io.BufferedWriter(io.FileIO(descriptor, "w", closefd=False)),
        encoding=stream.encoding,
        errors=stream.errors,
        line_buffering=True,
    )


def _begin() -> None:
    global _filter, _users  # there is one descriptor 2
    with _lock:
        if not _users:
            try:
                _filter = _Filter()
            except OSError:  # there is no standard error
                _filter = None
        _users += 1


def _end() -> None:
    global _filter, _users
    with _lock:
        _users -= 1
        if not _users and _filter is not None:
            _filter.end()
            _filter = None


class Filtered:
    """Standard error without chatter from `begin` to `end`; several may overlap."""

    def __init__(self) -> None:
        self._on = False

    def begin(self) -> None:
        """Begin to drop the libraries' lines."""
        if not self._on:
            self._on = True
            _begin()

    def end(self) -> None:
        """Let everything through again, once nobody else wants it filtered."""
        if self._on:
            self._on = False
            _end()


@contextmanager
def hushed() -> Iterator[None]:
    """Drop all that reaches descriptor 2 while a stream is opened or closed."""
    with _lock:
        try:
            kept = os.dup(STDERR)
        except OSError:  # there is no standard error
            yield
            return
        try:
            with open(os.devnull, "wb") as nowhere:
                os.dup2(nowhere.fileno(), STDERR)
            yield
        finally:
            os.dup2(kept, STDERR)
            os.close(kept)
