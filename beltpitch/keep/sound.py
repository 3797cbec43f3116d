"""The sound of a kept reading: into FLAC for the book, and out again to be read by a later version.

Conventions: 24 bits, the recording's own rate, one channel (the one that was read).
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from beltpitch.errors import RequestError
from beltpitch.sound.block import Samples
from beltpitch.sound.recording import open_recording, save_sound

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
