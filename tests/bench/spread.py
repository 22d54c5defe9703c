# SPDX-License-Identifier: MIT
"""A study's draws over several processes, with words on how long it will take.

Each item is worked out from itself alone, so nothing depends on how many processes there are or
on which of them had it.
"""

import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

Item = TypeVar("Item")
Done = TypeVar("Done")

EVERY_S = 20.0
"""How often progress is said."""


def spread(
    work: Callable[[Item], Done], items: Sequence[Item], jobs: int, say: bool = True
) -> Iterator[Done]:
    """Yield work(item) for every item, as each is done; `jobs` 1 needs no other process.

    With more, `work` and the items are pickled: `work` is a function of a module, or a
    functools.partial of one.
    """
    if jobs == 1:
        yield from _counted(map(work, items), len(items), say)
        return
    # A library that spreads one small product over all cores makes several processes slower.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        yield from _counted(pool.imap_unordered(work, items), len(items), say)


def _counted(done: Iterator[Done], total: int, say: bool) -> Iterator[Done]:
    began = said = time.monotonic()
    for count, item in enumerate(done, start=1):
        yield item
        now = time.monotonic()
        if say and (now - said >= EVERY_S or count == total):
            said = now
            each_s = (now - began) / count
            left_s = each_s * (total - count)
            print(
                f"{count} of {total}, {each_s:.2f} s each, {_minutes(left_s)} left",
                file=sys.stderr,
                flush=True,
            )


def _minutes(seconds: float) -> str:
    minutes, seconds = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {seconds:02d} s"
