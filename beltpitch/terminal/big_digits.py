"""Figures large enough to be read from two metres, in our own block letters.

Each sign is five rows high; ``#`` stands for a block, drawn two columns wide or one.
"""

from __future__ import annotations

ROWS = 5

_SIGNS = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", " # ", " # ", " # "),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    ".": (" ", " ", " ", " ", "#"),
    "-": ("   ", "   ", "###", "   ", "   "),
    "±": (" # ", "###", " # ", "   ", "###"),
    " ": ("  ", "  ", "  ", "  ", "  "),
    "N": ("#  #", "## #", "# ##", "#  #", "#  #"),
    "H": ("# #", "# #", "###", "# #", "# #"),
    "z": ("   ", "###", "  #", " # ", "###"),
    "l": ("# ", "# ", "# ", "# ", "##"),
    "b": ("#  ", "#  ", "###", "# #", "###"),
    "f": (" ##", "#  ", "###", "#  ", "#  "),
    "k": ("# #", "# #", "## ", "# #", "# #"),
    "g": ("   ", " ##", "# #", " ##", "## "),
    "?": ("###", "  #", " ##", "   ", " # "),
}


def large(text: str, block: str = "█", *, wide: int = 2) -> list[str]:
    """Return text in block letters, one string for each row.

    Parameters
    ----------
    text
        Digits, ``.``, ``-``, ``±``, spaces and units of force or frequency; anything else is
        shown as ``?``.
    block
        The sign to draw with.
    wide
        Columns a block takes.
    """
    signs = [_SIGNS.get(sign, _SIGNS["?"]) for sign in text]
    rows = [" ".join(sign[row] for sign in signs) for row in range(ROWS)]
    return [
        "".join((block if mark == "#" else " ") * wide for mark in row).rstrip() for row in rows
    ]


def beside(left: list[str], right: list[str], gap: int = 3) -> list[str]:
    """Return two blocks of rows side by side."""
    width = max(map(len, left), default=0) + gap
    return [(a.ljust(width) + b).rstrip() for a, b in zip(left, right, strict=True)]
