# SPDX-License-Identifier: MIT
"""Keeps a run while it goes on: each repeat is in the log before anybody is told that it is done.

A log that fails does not cost the measurement: it goes on, and `failure` says what to tell.
"""

from collections.abc import Callable, Generator
from datetime import UTC, datetime
from pathlib import Path

from sagline.device.progress import Finished, Planned, Progress, RepeatDone
from sagline.errors import NotStored, SaglineError
from sagline.log.opening import LogError
from sagline.log.store import Log
from sagline.records import Ending
from sagline.results import Result, Warning_


class Keeper:
    """Writes one run after another into one log.

    failure: why something could not be stored, None where all was.
    remark: what to tell about the log where it works with less than it should.
    """

    def __init__(self, path: Path, *, options: str = "") -> None:
        self.path = path
        self.failure: NotStored | None = None
        self.remark: str | None = None
        self._options = options
        self._log: Log | None = None
        self._record_id: str | None = None

    def keep(self, progress: Generator[Progress, None, None]) -> Generator[Progress, None, None]:
        """Pass a run's progress on, and put what it brings into the log first.

        Closing this closes the run. Raises what the run raises, and nothing of its own.
        """
        self.failure = None
        self._record_id = None
        self._attempt(self._open)
        try:
            for item in progress:
                self._attempt(lambda item=item: self._take(item))
                yield item
        except SaglineError as error:
            self._end("failed", error.code)
            raise
        except BaseException:
            # The load first: the log may have to wait for somebody.
            progress.close()
            self._end("stopped", None)
            raise
        finally:
            if self._log is not None:
                self._log.close()
                self._log = None

    def measure(self, progress: Generator[Progress, None, None]) -> Result:
        """Drive a run to its end and return its result; one that was not kept says so."""
        for item in self.keep(progress):
            if isinstance(item, Finished):
                result = item.result
                if self.failure is None:
                    return result
                said = self.failure
                warning = Warning_(code="not_stored", text=said.message, remedy=said.remedy)
                return result.model_copy(update={"warnings": [*result.warnings, warning]})
        raise AssertionError("a measurement ends with Finished or an error")

    def _open(self) -> None:
        self._log = Log(self.path, write=True, options=self._options)
        if not self._log.has_wal:
            self.remark = (
                f"The folder of {self.path} does not allow the log's usual way of writing; it is "
                "written more slowly, and cannot be read meanwhile."
            )

    def _take(self, item: Progress) -> None:
        assert self._log is not None
        match item:
            case Planned(_, record):
                self._log.begin(record)
                self._record_id = record.id
            case RepeatDone() if self._record_id is not None:
                self._log.add_step(self._record_id, item.step)
            case Finished(result, ending) if self._record_id is not None:
                record_id, self._record_id = self._record_id, None
                self._log.end(record_id, ending, result)
            case _:
                pass

    def _end(self, how: str, code: str | None) -> None:
        record_id, self._record_id = self._record_id, None
        if record_id is not None and self._log is not None:
            ending = Ending.model_validate(
                {"at": datetime.now(UTC), "how": how, "code": code, "remarks": []}
            )
            log = self._log
            self._attempt(lambda: log.end(record_id, ending))

    def _attempt(self, act: Callable[[], None]) -> None:
        """Do it unless something failed before; keep the first failure."""
        if self.failure is not None:
            return
        try:
            act()
        except NotStored as error:
            self.failure = error
        except LogError as error:
            self.failure = NotStored(error.code, error.message, error.remedy)
