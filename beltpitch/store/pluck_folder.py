"""The sound of single plucks, each a FLAC with its figures beside it.

``y-left-003.flac`` holds the pluck with the quiet before it, at the input's own rate and 24 bits,
so that ``beltpitch recording y-left-003.flac`` reads it again with the same answer;
``y-left-003.json`` holds what was read at the time. Nothing is ever overwritten.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path

from beltpitch.audio.block import Samples
from beltpitch.audio.files import save_sound
from beltpitch.errors import RequestError

_NUMBERED = re.compile(r"-(\d+)\.flac$")


class PluckFolder:
    """A folder into which plucks are written.

    Parameters
    ----------
    folder
        Made if it is not there.

    Raises
    ------
    RequestError
        If it cannot be made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            why = (error.strerror or str(error)).rstrip(".")
            raise RequestError(f"--save {folder}: cannot make this folder ({why})") from error

    def keep(
        self, name: str, samples: Samples, rate_hz: float, figures: Mapping[str, object]
    ) -> Path:
        """Write one pluck and its figures; return where the sound stands.

        Raises
        ------
        RequestError
            If it cannot be written.
        """
        stem = re.sub(r"[^\w.-]+", "-", name).strip("-.") or "pluck"
        path = self.folder / f"{stem}-{self._next(stem):03d}.flac"
        save_sound(path, samples, rate_hz)
        beside = path.with_suffix(".json")
        try:
            beside.write_text(json.dumps(figures, indent=2, allow_nan=False) + "\n", "utf-8")
        except OSError as error:
            why = (error.strerror or str(error)).rstrip(".")
            raise RequestError(f"{beside} cannot be written: {why}.") from error
        return path

    def _next(self, stem: str) -> int:
        numbers = [
            int(found.group(1))
            for path in self.folder.glob(f"{stem}-*.flac")
            if (found := _NUMBERED.search(path.name))
        ]
        return max(numbers, default=0) + 1
