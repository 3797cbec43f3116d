"""Text tables on the disk, read as lines.

Source of the rules: project decision. A table is UTF-8 text of at most a megabyte; anything else
is refused in one line.
"""

from __future__ import annotations

from pathlib import Path

from beltpitch.errors import SourceError

LARGEST_BYTES = 1_000_000


def table_lines(path: Path) -> list[str]:
    """Return the lines of a text table.

    Raises
    ------
    SourceError
        If there is no such file, or it is no text.
    """
    if path.is_dir():
        raise SourceError(f"{path} is a folder: give the table itself, a CSV file")
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise SourceError(f"{path} is larger than a megabyte: that is no table of weights")
        raw = path.read_bytes()
    except OSError as error:
        raise SourceError(f"{path} cannot be read: {error.strerror or error}") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SourceError(
            f"{path} is no text in UTF-8: save the table as CSV (comma separated, UTF-8)"
        ) from None
    if "\0" in text:
        raise SourceError(f"{path} is no text: save the table as CSV")
    return text.splitlines()
