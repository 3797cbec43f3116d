"""Work shared out to processes, the same on every system."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

Job = TypeVar("Job")
Result = TypeVar("Result")


def shared_out(
    function: Callable[[Job], Result], jobs: Iterable[Job], processes: int, batch: int = 1
) -> Iterator[Result]:
    """Yield ``function(job)`` for each job, in their order.

    Each process uses one thread for linear algebra: two would wait for each other.

    Parameters
    ----------
    function
        Must be picklable, as must jobs and results: processes are started anew, not forked.
    jobs
        What to work on.
    processes
        How many; 1 works in this process.
    batch
        Jobs handed over at once.
    """
    if processes == 1:
        yield from map(function, jobs)
        return
    from joblib import Parallel, delayed, parallel_config

    with parallel_config(backend="loky", inner_max_num_threads=1):
        pool = Parallel(n_jobs=processes, return_as="generator", batch_size=batch)
        yield from pool(delayed(function)(job) for job in jobs)
