"""What the bench listens to: the microphone, or simulated plucks for ``--demo``."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable

from beltpitch.audio.block import Block
from beltpitch.audio.microphone import open_microphone


class ChosenInput(ABC):
    """A live input: blocks as they come, until it is closed or lost.

    Attributes
    ----------
    name
        What the driver calls it.
    rate_hz
        Samples per second.
    channel_note
        What was made of several channels; None for one.
    warnings
        What the user should know before trusting it.
    silence
        Why it delivers only digital silence; None if it does not.
    """

    name: str = ""
    rate_hz: float
    channel_note: str | None = None
    warnings: tuple[str, ...] = ()
    silence: str | None = None

    @abstractmethod
    def __next__(self) -> Block:
        """Wait for the next block."""

    @abstractmethod
    def close(self) -> None:
        """Let go of it."""


Opener = Callable[[], ChosenInput]


class _Live(ChosenInput):
    """The microphone as the bench wants it."""

    def __init__(self, device: str | None) -> None:

        self._microphone = open_microphone(device)
        self.name = self._microphone.input.name
        self.rate_hz = self._microphone.rate_hz
        self.channel_note = self._microphone.channel_note
        self.silence = self._microphone.silence or None
        self.warnings = tuple(w for w in self._microphone.warnings if w != self.silence)

    def __next__(self) -> Block:
        return next(self._microphone)

    def close(self) -> None:
        self._microphone.close()


def microphone(device: str | None) -> Opener:
    """Return what opens the microphone of that name, number, or the default one."""
    return lambda: _Live(device)
