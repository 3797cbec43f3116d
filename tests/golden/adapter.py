"""The one file of the golden answers that knows the program's modules."""

from __future__ import annotations

import queue
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import beltpitch as bp
from beltpitch.audio.block import Block
from beltpitch.errors import SourceError
from beltpitch.session.verdict import as_json
from beltpitch.terminal.main import run_with
from beltpitch.web.inputs import ChosenInput
from beltpitch.web.worker import Worker, Workspace

Array = NDArray[np.float64]
PATIENCE_S = 120.0
BLOCK_S = 0.02


def command(words: Sequence[str]) -> int:
    """Run a command in this process; it prints on the streams of this process."""
    return run_with(list(words))


def read(path: Path, belt: Mapping[str, str] | None, span: str | None, ends: str) -> dict[str, Any]:
    """Return the record of a recording that is read through `import beltpitch`."""
    known = bp.belt(**belt) if belt else None
    return as_json(bp.judged(bp.read(path, belt=known, span=span, ends=ends)))


def typed(frequencies: Sequence[str], belt: Mapping[str, str], span: str) -> dict[str, Any]:
    """Return the record of typed frequencies, through `import beltpitch`."""
    known = bp.belt(**belt)
    where = bp.span(span, known)
    return as_json(bp.judged(bp.typed_reading(bp.typed(list(frequencies)), known, where)))


class _Sound(ChosenInput):
    """A live input that delivers one sound and is then lost."""

    name = "a microphone"

    def __init__(self, samples: Array, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        step = round(BLOCK_S * rate_hz)
        self._blocks: Iterator[Array] = (
            samples[at : at + step] for at in range(0, samples.size, step)
        )

    def __next__(self) -> Block:
        return Block(next(self._blocks), self.rate_hz)

    def close(self) -> None:
        self._blocks = iter(())


def scene(
    folder: Path,
    wish: Mapping[str, Any],
    files: Sequence[Path] = (),
    live: tuple[Array, float] | None = None,
) -> dict[str, Any]:
    """Return the page's last picture after recordings were dropped or a sound was heard."""
    shown: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
    waiting = [] if live is None else [_Sound(*live)]

    def opener() -> ChosenInput:
        if not waiting:
            raise SourceError("there is no sound input")
        return waiting.pop()

    def show(kind: str, record: dict[str, Any]) -> None:
        if kind == "scene":
            shown.put(record)

    bench = Worker(
        Workspace(None, folder / "book.sqlite", "N", demo=False, folder=folder), opener, show
    )
    bench.start(wish)
    try:
        for file in files:
            bench.ask("read", {"path": str(file), "name": file.name}).result(PATIENCE_S)
        if live is not None:
            bench.ask("listen", {}).result(PATIENCE_S)
    finally:
        bench_ends = _last(shown, heard=live is not None)
        bench.close()
    return bench_ends


def _last(shown: queue.SimpleQueue[dict[str, Any]], *, heard: bool) -> dict[str, Any]:
    """Return the last picture so far; of a sound, that which says that it has ended."""
    while True:
        picture = shown.get(timeout=PATIENCE_S)
        if heard and (picture["lost"] or picture["phase"] == "done"):
            return picture
        if not heard and shown.empty():
            return picture
