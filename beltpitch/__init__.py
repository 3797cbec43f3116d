"""Belt tension from the pitch of a plucked span, with an honest uncertainty.

::

    import beltpitch as bp

    belt = bp.belt("2GT", width="9 mm")
    reading = bp.read("y-left.wav", belt=belt, span="412 +/- 1 mm")
    reading.tension.interval(0.95)

The public names are loaded on first use, so that the command line starts at once.

One BLAS thread is asked for here, before numpy is loaded: the matrix products of a pluck are small,
and on a busy machine two threads that wait for each other took 80 times as long. A setting of the
user's own stands.
"""

from __future__ import annotations

import os
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from beltpitch.errors import (
        BeltNotFound,
        BeltpitchError,
        CannotTell,
        QuantityError,
        RequestError,
        SourceError,
    )
    from beltpitch.parsing import belt, span, typed
    from beltpitch.reading import Reading, both_strands, from_parks, read, typed_reading
    from beltpitch.session.verdict import Verdict, judged
    from beltpitch.uncertainty import Estimate

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

_HOME = {
    "belt": "parsing",
    "span": "parsing",
    "typed": "parsing",
    "BeltNotFound": "errors",
    "BeltpitchError": "errors",
    "CannotTell": "errors",
    "QuantityError": "errors",
    "RequestError": "errors",
    "SourceError": "errors",
    "Estimate": "uncertainty",
    "Reading": "reading",
    "both_strands": "reading",
    "from_parks": "reading",
    "read": "reading",
    "typed_reading": "reading",
    "Verdict": "session.verdict",
    "judged": "session.verdict",
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
