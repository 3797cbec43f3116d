"""The sound of a kept reading: into FLAC for the book, and out again to be read by a later version.

Conventions: 24 bits, the recording's own rate, one channel (the one that was read).
"""

from __future__ import annotations

import json
import re
import tempfile
from collections import deque
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.audio.files import open_recording, save_sound
from beltpitch.errors import RequestError

MOST_PLUCKS = 30  # of a belt heard live; with the quiet around it a pluck is 2 to 4 s long
LONGEST_S = 300.0  # about 30 MB: more than any sitting


def flac(samples: Samples, rate_hz: float) -> bytes:
    """Return sound as FLAC.

    Raises
    ------
    RequestError
        If it is longer than a sitting.
    """
    if len(samples) > LONGEST_S * rate_hz:
        raise RequestError(
            f"the sound lasts {len(samples) / rate_hz:.0f} s; at most {LONGEST_S:.0f} s are kept "
            "with a reading: cut it to the plucks, or leave out --sound"
        )
    with tempfile.TemporaryDirectory(prefix="beltpitch-") as folder:
        path = Path(folder) / "sound.flac"
        save_sound(path, samples, rate_hz)
        return path.read_bytes()


class PluckSounds:
    """The sound of plucks heard live, until it is known which of them count.

    Holds the last `MOST_PLUCKS` of each belt.
    """

    def __init__(self) -> None:
        self._plucks: dict[int, deque[_Sounding]] = {}

    def add(self, belt: int, onset_s: float, samples: Samples, rate_hz: float) -> None:
        """Keep one pluck of a belt, with the quiet around it."""
        plucks = self._plucks.setdefault(belt, deque(maxlen=MOST_PLUCKS))
        plucks.append(_Sounding(onset_s, samples.astype(np.float32), rate_hz))

    def flac(self, belt: int, onsets_s: Collection[float | None]) -> bytes | None:
        """Return those plucks of a belt that count, one after the other; None if there are none.

        Parameters
        ----------
        belt
            As it was given to `add`.
        onsets_s
            When the plucks that count began.
        """
        used = [one for one in self._plucks.get(belt, ()) if one.onset_s in onsets_s]
        if not used:
            return None
        whole = np.concatenate([one.samples for one in used])
        return flac(whole.astype(np.float64), used[0].rate_hz)


class _Sounding(NamedTuple):
    onset_s: float
    samples: NDArray[np.float32]
    rate_hz: float


def flac_of(files: Sequence[Path]) -> bytes | None:
    """Return the sound of a recording as FLAC; None if there is not exactly one.

    Raises
    ------
    RequestError
        If it is longer than a sitting.
    """
    if len(files) != 1:
        return None
    recording = open_recording(files[0])
    blocks: list[Samples] = []
    count = 0
    for block in recording:
        blocks.append(np.nan_to_num(block.samples, posinf=0.0, neginf=0.0))
        count += len(block.samples)
        if count > LONGEST_S * recording.rate_hz:
            break  # flac() refuses it; there is no need to read on
    return flac(np.concatenate(blocks) if blocks else np.zeros(0), recording.rate_hz)


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
