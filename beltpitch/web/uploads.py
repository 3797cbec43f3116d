"""A dropped recording: streamed to the disk, never larger than it may be, under a name of ours.

The name it came with is only ever shown; the file lies in a folder of its own that is made for it,
so that nothing in a name leads anywhere. What the bytes are is found out where every recording is
opened.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import AsyncIterator
from http import HTTPStatus
from pathlib import Path

from beltpitch.errors import BeltpitchError, SourceError
from beltpitch.store.log import one_line

LARGEST_BYTES = 256 * 2**20  # a quarter of an hour of 24 bit stereo at 48 kHz
LONGEST_NAME = 80
TOO_LARGE = (
    f"the recording is larger than {LARGEST_BYTES // 2**20} MB: cut it to the plucks, or read it "
    "with beltpitch recording"
)


class TooLarge(SourceError):
    """More was sent than is taken."""

    status = HTTPStatus.REQUEST_ENTITY_TOO_LARGE


def shown_name(name: str) -> str:
    """Return a file's name as it may be shown: the last part of any path, on one line."""
    last = re.split(r"[\\/]", one_line(name))[-1].strip(". ")
    return last[-LONGEST_NAME:] or "recording"


async def stored(
    chunks: AsyncIterator[bytes], claimed: int | None, name: str, folder: Path
) -> Path:
    """Write what is sent to a file of its own and return it.

    Parameters
    ----------
    chunks
        What is sent, as it comes.
    claimed
        How many bytes the sender says there are; None where it does not say.
    name
        As shown; only letters and digits of its last part are kept, as the file's kind.
    folder
        Where to write.

    Raises
    ------
    TooLarge
        If there are more than `LARGEST_BYTES`; nothing is left on the disk.
    SourceError
        If nothing came, or the disk does not take it.
    """
    if claimed is not None and claimed > LARGEST_BYTES:
        raise TooLarge(TOO_LARGE)
    kind = re.sub(r"[^a-z0-9]", "", Path(name).suffix.lower())[:8]
    try:
        own = Path(tempfile.mkdtemp(prefix="dropped-", dir=folder))
        path = own / f"as-it-was-dropped.{kind or 'bin'}"
        try:
            await _written(chunks, path)
        except BaseException:
            shutil.rmtree(own, ignore_errors=True)
            raise
    except OSError as error:
        raise SourceError(f"{name} could not be stored: {error.strerror or error}") from None
    return path


async def _written(chunks: AsyncIterator[bytes], path: Path) -> None:
    count = 0
    with path.open("wb") as file:
        async for chunk in chunks:
            count += len(chunk)
            if count > LARGEST_BYTES:
                raise TooLarge(TOO_LARGE)
            file.write(chunk)
    if not count:
        raise SourceError("the recording is empty")


def status_of(error: BeltpitchError) -> int:
    """Return the HTTP status that fits an error."""
    return int(getattr(error, "status", HTTPStatus.UNPROCESSABLE_ENTITY))
