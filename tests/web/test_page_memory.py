"""The page holds no more after an hour than after a minute: calibration/live_page.py in short."""

from __future__ import annotations

import gc
import threading
import tracemalloc
from pathlib import Path

import pytest

from beltpitch.audio.block import Block
from beltpitch.session import session
from beltpitch.web.inputs import ChosenInput
from beltpitch.web.server import Clients
from beltpitch.web.worker import Worker
from calibration.live_page import OFTEN
from calibration.memory import RATE_HZ, minute
from tests.web.workbench import shop

PATIENCE_S = 240.0
LATER_KB = 150  # a few plucks' sound; a pluck that stayed would add 60 each time


class Metered(ChosenInput):
    """Delivers the same 20 s of sound as fast as they are taken, and weighs memory each time."""

    def __init__(self, times: int) -> None:
        self.rate_hz = RATE_HZ
        self.kilobytes: list[float] = []
        self.over = threading.Event()
        self._sound = minute(1, *OFTEN)[: round(20 * RATE_HZ)]
        self._at, self._times = 0, times

    def __next__(self) -> Block:
        if self._at + 800 > len(self._sound):
            self._at = 0
            gc.collect()
            self.kilobytes.append(tracemalloc.get_traced_memory()[0] / 1000)
        if len(self.kilobytes) == self._times:
            self.over.set()
            self.over.wait(0.05)
        self._at += 800
        return Block(self._sound[self._at - 800 : self._at].copy(), self.rate_hz)

    def close(self) -> None:
        """Nothing to let go of."""


def test_memory_does_not_grow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(session, "MOST_PLUCKS", 3)
    source, windows = Metered(3), Clients()
    bench = Worker(shop(tmp_path), lambda: source, windows.show)
    tracemalloc.start()
    try:
        bench.start({"belt": "2GT 9 mm", "span": "286 mm"}, listen=True)
        assert source.over.wait(PATIENCE_S)
    finally:
        bench.close()  # first: Python may crash if tracing stops while a thread allocates
        tracemalloc.stop()
    _, second, third = source.kilobytes[:3]
    assert third - second < LATER_KB
