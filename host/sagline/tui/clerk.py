# SPDX-License-Identifier: MIT
"""The thread that reads and writes logs and drawers for the rooms, one thing after the other.

No worker of Textual, for the reason that `driver.py` gives; and one thread for all, so that what
is asked first is done first.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Any

from sagline.errors import SaglineError


@dataclass(frozen=True)
class _Job:
    work: Callable[[], Any]
    then: Callable[[Any], object]
    refused: Callable[[SaglineError], object]


class Clerk(threading.Thread):
    """Does `work` in its thread, and hands what it gives to the screen's.

    `hand_over` calls a function in the screen's thread; `failed` is told, there too, of an
    exception that is a fault of ours.
    """

    def __init__(
        self,
        hand_over: Callable[[Callable[[], object]], Any],
        failed: Callable[[Exception], object],
    ) -> None:
        super().__init__(name="sagline-clerk", daemon=True)
        self._hand_over = hand_over
        self._failed = failed
        self._jobs: SimpleQueue[_Job | None] = SimpleQueue()

    def do(
        self,
        work: Callable[[], Any],
        then: Callable[[Any], object],
        refused: Callable[[SaglineError], object],
    ) -> None:
        """Do `work` soon; then call `then` with what it returns, or `refused` with its error."""
        self._jobs.put(_Job(work, then, refused))

    def quit(self, within_s: float) -> bool:
        """Do what was asked for, then end; wait for it up to `within_s`. Return whether it has."""
        self._jobs.put(None)
        if self.is_alive():
            self.join(within_s)
        return not self.is_alive()

    def run(self) -> None:
        """Do one job after the other until told to quit."""
        while (job := self._jobs.get()) is not None:
            try:
                done = job.work()
            except SaglineError as error:
                self._tell(job.refused, error)
            except Exception as error:
                self._tell(self._failed, error)
            else:
                self._tell(job.then, done)

    def _tell(self, whom: Callable[[Any], object], what: Any) -> None:
        # Raised where the program has ended its loop: nobody is left to be told.
        with suppress(RuntimeError):
            self._hand_over(lambda: whom(what))
