"""Give back spent memory, so that it stays level however long one listens."""

from __future__ import annotations

import gc
import sys


def give_back(*, begin: bool = False) -> None:
    """Give back what a pluck left behind; to be called after each, and once with `begin` before.

    Python keeps spent objects for later use, thousands of every size, until it looks through all
    that it holds; beside the modules loaded by now that looks rarely worth while to it, and costs
    a tenth of a second. Taken out of the count once, at the beginning (`gc.freeze`), they leave a
    look of a millisecond after each pluck. The C library in turn keeps the most that was ever in
    use, a third more than is; where it can be asked to, it gives that back too.
    """
    gc.collect()
    if begin:
        gc.freeze()
    if sys.platform == "linux":
        import ctypes

        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # GNU's library has it
        if trim is not None:
            trim(0)
