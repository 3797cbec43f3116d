"""Where each key of a TOML document stands, so that a mistake can be pointed at.

Neither tomllib nor tomlkit tells lines of keys. This walks a document that tomllib has already
accepted, once and in time proportional to its length; it therefore checks nothing.

Conventions: a path is a tuple of keys, list items being their index; lines and columns count
from 1, columns in characters.
"""

from __future__ import annotations

import re
from bisect import bisect_right

Path = tuple[str | int, ...]
Place = tuple[int, int]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_KEY = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|[A-Za-z0-9_-]+')
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}'
    r"|'''(?:[^']|'(?!''))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_PLAIN = re.compile(r"[^,\]}#\n]+")


def places(text: str) -> dict[Path, Place]:
    """Return (line, column) of every key of a valid TOML document."""
    return _Walk(text).found


def nearest(found: dict[Path, Place], path: Path) -> Place:
    """Return the place of a path, or of the nearest table above it."""
    for end in range(len(path), 0, -1):
        if path[:end] in found:
            return found[path[:end]]
    return 1, 1


class _Walk:
    """One walk through the document; positions are kept as offsets until they are asked for."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.starts = [0, *(m.end() for m in re.finditer("\n", text))]
        self.found: dict[Path, Place] = {}
        self.items: dict[Path, int] = {}
        self.last: Place = (1, 1)
        self._document()

    def _document(self) -> None:
        table: Path = ()
        self._skip(_BLANK)
        while self.at < len(self.text):
            if self.text.startswith("[[", self.at):
                self.at += 2
                table = self._next_item(self._keys(table=()))
                self.at += 2
            elif self.text[self.at] == "[":
                self.at += 1
                table = self._keys(table=())
                self.at += 1
            else:
                self._pair(table)
            self._skip(_BLANK)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        assert match is not None  # both patterns match nothing
        self.at = match.end()

    def _next_item(self, path: Path) -> Path:
        self.items[path] = self.items.get(path, -1) + 1
        item = (*path, self.items[path])
        self.found[item] = self.last
        return item

    def _keys(self, table: Path) -> Path:
        """Read a dotted key, note where each of its parts stands, return the whole path."""
        path = table
        while True:
            self._skip(_SPACE)
            match = _KEY.match(self.text, self.at)
            if match is None:
                return path
            path = (*self._inside(path), _unquoted(match.group()))
            self.last = self._place(match.start())
            self.found.setdefault(path, self.last)
            self.at = match.end()
            self._skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return path
            self.at += 1

    def _inside(self, path: Path) -> Path:
        """Return the path; the name of an array of tables means its last item."""
        return (*path, self.items[path]) if path in self.items and path else path

    def _place(self, offset: int) -> Place:
        line = bisect_right(self.starts, offset)
        return line, offset - self.starts[line - 1] + 1

    def _pair(self, table: Path) -> None:
        path = self._keys(table)
        self._skip(_SPACE)
        self.at += 1  # =
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: Path) -> None:
        string = _STRING.match(self.text, self.at)
        if string is not None:
            self.at = string.end()
        elif self.text.startswith("[", self.at):
            self._array(path)
        elif self.text.startswith("{", self.at):
            self._inline(path)
        else:
            plain = _PLAIN.match(self.text, self.at)
            self.at = plain.end() if plain else self.at + 1

    def _array(self, path: Path) -> None:
        index = 0
        self.at += 1
        self._skip(_BLANK)
        while not self.text.startswith("]", self.at):
            item = (*path, index)
            self.found[item] = self._place(self.at)
            self._value(item)
            index += 1
            self._skip(_BLANK)
            self.at += self.text.startswith(",", self.at)
            self._skip(_BLANK)
        self.at += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        self._skip(_BLANK)
        while not self.text.startswith("}", self.at):
            self._pair(path)
            self._skip(_BLANK)
            self.at += self.text.startswith(",", self.at)
            self._skip(_BLANK)
        self.at += 1


def _unquoted(key: str) -> str:
    if key.startswith("'"):
        return key[1:-1]
    if not key.startswith('"'):
        return key
    if "\\" not in key:
        return key[1:-1]
    import tomllib  # its escapes are more than those of JSON

    return str(next(iter(tomllib.loads(f"k = {key}").values())))
