"""Where the keys of a TOML document stand, so that a mistake can be pointed at.

Neither tomllib nor tomlkit gives the lines of keys. This searches a document that tomllib has
already accepted; it therefore checks nothing. A key inside an array or an inline table has no
place of its own: `nearest` gives that of the statement it belongs to.

Conventions: a path is a tuple of keys, list items being their index; lines and columns count
from 1, columns in characters.
"""

from __future__ import annotations

import re
import tomllib

Path = tuple[str | int, ...]
Place = tuple[int, int]

_KEY = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|[A-Za-z0-9_-]+')
_HEADER = re.compile(r"\s*\[\[?([^\]]*)\]")
_STRING_OR_COMMENT = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}'
    r"|'''(?:[^']|'(?!''))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*",
    re.DOTALL,
)


def places(text: str) -> dict[Path, Place]:
    """Return (line, column) of every table and key of a valid TOML document."""
    found: dict[Path, Place] = {}
    table: Path = ()
    depth = 0  # brackets that are open: inside an array of several lines
    bare = _STRING_OR_COMMENT.sub(lambda m: re.sub(r"[^\n]", "_", m.group()), text)
    for number, (line, plain) in enumerate(
        zip(text.split("\n"), bare.split("\n"), strict=True), start=1
    ):
        header = _HEADER.match(plain) if depth == 0 else None
        if header is not None:
            table = _note(found, (), line, header.span(1), number)
        elif depth == 0 and "=" in plain:
            _note(found, table, line, (0, plain.index("=")), number)
        if header is None:
            depth += sum(map(plain.count, "[{")) - sum(map(plain.count, "]}"))
    return found


def _note(
    found: dict[Path, Place], path: Path, line: str, span: tuple[int, int], number: int
) -> Path:
    """Note each part of a dotted key that stands in a span of a line; return the whole path."""
    for part in _KEY.finditer(line, *span):
        path = (*path, _unquoted(part.group()))
        found.setdefault(path, (number, part.start() + 1))
    return path


def nearest(found: dict[Path, Place], path: Path) -> Place:
    """Return the place of a path, or of the nearest table above it."""
    for end in range(len(path), 0, -1):
        if path[:end] in found:
            return found[path[:end]]
    return 1, 1


def _unquoted(key: str) -> str:
    return str(tomllib.loads(f"key = {key}")["key"]) if key[0] in "\"'" else key
