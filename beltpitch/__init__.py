"""Belt tension from the pitch of a plucked span, with an honest uncertainty.

::

    import beltpitch as bp

    belt = bp.belt("2GT", width="9 mm")
    reading = bp.read("y-left.wav", belt=belt, span="412 +/- 1 mm")
    reading.tension.interval(0.95)

The public names are loaded on first use, so that the command line starts at once.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beltpitch.asking import belt, span, typed
    from beltpitch.errors import (
        BeltNotFound,
        BeltpitchError,
        CannotTell,
        QuantityError,
        RequestError,
        SourceError,
    )
    from beltpitch.estimate import Estimate
    from beltpitch.reading import Reading, both_strands, from_parks, read, typed_reading
    from beltpitch.verdict import Verdict, judged

_HOME = {
    "span": "asking",
    "typed": "asking",
    "BeltNotFound": "errors",
    "BeltpitchError": "errors",
    "CannotTell": "errors",
    "QuantityError": "errors",
    "RequestError": "errors",
    "SourceError": "errors",
    "Estimate": "estimate",
    "Reading": "reading",
    "both_strands": "reading",
    "from_parks": "reading",
    "read": "reading",
    "typed_reading": "reading",
    "Verdict": "verdict",
    "judged": "verdict",
}

__all__ = [
    "BeltNotFound",
    "BeltpitchError",
    "CannotTell",
    "Estimate",
    "QuantityError",
    "Reading",
    "RequestError",
    "SourceError",
    "Verdict",
    "belt",
    "both_strands",
    "from_parks",
    "judged",
    "read",
    "span",
    "typed",
    "typed_reading",
]


def __getattr__(name: str) -> object:
    """Load a public name from the module that defines it (PEP 562)."""
    if name not in _HOME:
        raise AttributeError(f"module 'beltpitch' has no attribute {name!r}")
    return getattr(import_module(f"beltpitch.{_HOME[name]}"), name)


class _Package(ModuleType):
    """The package as a module on which ``belt`` is the function, although a room has that name.

    Importing the room ``beltpitch.belt`` makes the import system set it as an attribute here; the
    setter lets that pass. The room is reached by ``from beltpitch.belt.x import y`` as ever.
    """

    @property
    def belt(self) -> object:
        """The function of `beltpitch.asking`."""
        return import_module("beltpitch.asking").belt

    @belt.setter
    def belt(self, room: ModuleType) -> None:
        pass


sys.modules[__name__].__class__ = _Package
