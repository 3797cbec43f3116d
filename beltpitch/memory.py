"""Give back spent memory, so that it stays level however long one listens."""

from __future__ import annotations

import gc
import sys

MMAP_THRESHOLD, ARENA_MAX = -3, -8  # their numbers in malloc.h
LARGE_BYTES = 131_072  # the library's own first limit
ONE_HEAP = 1
# Python's cache of attributes looked up; cleared under this name from 3.13 on, that one before
FORGET_NAMES = getattr(sys, "_clear_internal_caches", None) or getattr(
    sys, "_clear_type_cache", None
)


def give_back(*, begin: bool = False) -> None:
    """Give back what a pluck left behind; to be called after each, and once with `begin` before.

    `begin` comes before any thread of ours is started. Python keeps spent objects for later use,
    thousands of every size, until it looks through all that it holds; beside the modules loaded by
    now that looks rarely worth while to it, and costs a tenth of a second. Taken out of the count
    once, at the beginning (`gc.freeze`), they leave a look of a millisecond after each pluck. The C
    library by itself learns to keep large arrays in its heap, where small things then lie between
    them; held to its first limit it gives each large array back at once. And it gives every thread
    a heap of its own, which begins empty and grows for hours, as large needs chance to come
    together, while the first heap has tens of megabytes free that were needed to load the modules;
    held to one heap, all threads use those.

    numpy looks some methods up by names made anew each time, and Python's cache of such look-ups
    holds on to them, up to 4096: a quarter of a megabyte, reached in days. It is emptied each time,
    which takes 0.03 ms.
    """
    gc.collect()
    if FORGET_NAMES is not None:
        FORGET_NAMES()
    if not begin:
        return
    gc.freeze()
    if sys.platform == "linux":
        import ctypes

        mallopt = getattr(ctypes.CDLL(None), "mallopt", None)  # GNU's library has it
        if mallopt is not None:
            mallopt(MMAP_THRESHOLD, LARGE_BYTES)
            mallopt(ARENA_MAX, ONE_HEAP)
