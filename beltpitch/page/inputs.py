"""What the bench listens to: the microphone, or simulated plucks for ``--demo``."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from beltpitch.sound.block import Block


class Input(Protocol):
    """A live input: blocks as they come, until it is closed or lost."""

    rate_hz: float
    channel_note: str | None
    warnings: tuple[str, ...]

    def __next__(self) -> Block:
        """Wait for the next block."""

    def close(self) -> None:
        """Let go of it."""


Opener = Callable[[], Input]


def microphone(device: str | None) -> Opener:
    """Return what opens the microphone of that name, number, or the default one."""

    def opened() -> Input:
        from beltpitch.sound.microphone import open_microphone

        return open_microphone(device)

    return opened
