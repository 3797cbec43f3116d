"""Give back spent memory, so that it stays level however long one listens."""

from __future__ import annotations

import gc
import sys

MMAP_THRESHOLD = -3  # its number in malloc.h
LARGE_BYTES = 131_072  # the library's own first limit


def give_back(*, begin: bool = False) -> None:
    """Give back what a pluck left behind; to be called after each, and once with `begin` before.

    Python keeps spent objects for later use, thousands of every size, until it looks through all
    that it holds; beside the modules loaded by now that looks rarely worth while to it, and costs
    a tenth of a second. Taken out of the count once, at the beginning (`gc.freeze`), they leave a
    look of a millisecond after each pluck. The C library by itself learns to keep large arrays in
    its heap, where small things then lie between them; held to its first limit it gives each large
    array back at once.
    """
    gc.collect()
    if not begin:
        return
    gc.freeze()
    if sys.platform == "linux":
        import ctypes

        mallopt = getattr(ctypes.CDLL(None), "mallopt", None)  # GNU's library has it
        if mallopt is not None:
            mallopt(MMAP_THRESHOLD, LARGE_BYTES)
