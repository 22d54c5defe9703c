# SPDX-License-Identifier: MIT
"""Keeps a run while it goes on: each repeat is in the log before anybody is told that it is done.

A log that fails does not cost the measurement: it goes on, and at its end the whole of it is
tried once more. Where that fails too it goes into a log of its own among the system's temporary
files, and `failure` says what to tell.
"""

import tempfile
from collections.abc import Callable, Generator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sagline.device.progress import Finished, LineStepDone, Planned, Progress, RepeatDone
from sagline.errors import NotStored, SaglineError
from sagline.log.opening import BUSY_S, LogError
from sagline.log.store import Log
from sagline.records import Ending, Record, StepRecord
from sagline.results import Result


def _rescued(failure: NotStored, log_path: Path, whole: Record, result: Result | None) -> NotStored:
    """Put the run into a log of its own, and say so; the same failure where that fails too."""
    path = Path(tempfile.gettempdir()) / f"sagline-{whole.id}.sqlite"
    try:
        with Log(path, write=True) as log:
            log.complete(whole, result)
    except SaglineError:
        path.unlink(missing_ok=True)
        return failure
    command = f"sagline log merge '{path}' --log '{log_path}'"
    remedy = f"{failure.remedy} The run is in {path}; then take it in: {command}"
    return NotStored(failure.code, failure.message, remedy)


class Keeper:
    """Writes one run after another into one log.

    failure: why something could not be stored, None where all was.
    remark: what to tell about the log where it works with less than it should.
    """

    def __init__(self, path: Path, *, options: str = "", busy_s: float = BUSY_S) -> None:
        """`options` and `busy_s` (s) are those of `Log`."""
        self.path = path
        self.failure: NotStored | None = None
        self.remark: str | None = None
        self._options = options
        self._busy_s = busy_s
        self._log: Log | None = None
        # The run so far, and not after its ending.
        self._record: Record | None = None
        self._steps: list[StepRecord] = []

    def keep(self, progress: Generator[Progress, None, None]) -> Generator[Progress, None, None]:
        """Pass a run's progress on, and put what it brings into the log first.

        Closing this closes the run. Raises what the run raises, and nothing of its own.
        """
        self.failure = None
        self._record = None
        self._attempt(self._open)
        try:
            for item in progress:
                self._take(item)
                yield item
        except SaglineError as error:
            self._end("failed", error.code)
            raise
        except Exception:
            self._end("failed", "our_fault")
            raise
        except BaseException:
            try:
                # The load first: the log may have to wait for somebody.
                progress.close()
            finally:
                self._end("stopped", None)
            raise
        finally:
            self._close()

    def measure(self, progress: Generator[Progress, None, None]) -> Result:
        """Drive a run to its end and return its result; one that was not kept says so."""
        with closing(self.keep(progress)) as items:
            for item in items:
                if isinstance(item, Finished):
                    return self.told(item.result)
        raise AssertionError("a measurement ends with Finished or an error")

    def told(self, result: Result) -> Result:
        """Return the result, which says so in its warnings where it was not kept."""
        said = self.failure
        if said is None:
            return result
        return result.with_warning("not_stored", said.message, said.remedy)

    def _open(self) -> Log:
        if self._log is None:
            self._log = Log(self.path, write=True, options=self._options, busy_s=self._busy_s)
            if not self._log.has_wal:
                self.remark = (
                    f"The folder of {self.path} does not allow the log's usual way of writing; "
                    "it is written more slowly, and cannot be read meanwhile."
                )
        return self._log

    def _close(self) -> None:
        log, self._log = self._log, None
        if log is not None:
            log.close()

    def _take(self, item: Progress) -> None:
        match item:
            case Planned(_, record):
                self._record, self._steps = record, []
                self._attempt(lambda: self._open().begin(record))
            case RepeatDone() | LineStepDone() if self._record is not None:
                step, record_id = item.step, self._record.id
                self._steps.append(step)
                self._attempt(lambda: self._open().add_step(record_id, step))
            case Finished(result, ending):
                self._finish(ending, result)
            case _:
                pass

    def _end(self, how: str, code: str | None) -> None:
        ending = {"at": datetime.now(UTC), "how": how, "code": code, "remarks": []}
        self._finish(Ending.model_validate(ending))

    def _finish(self, ending: Ending, result: Result | None = None) -> None:
        """Write the ending, or where something failed before, all that is not in the log yet."""
        record, self._record = self._record, None
        if record is None:
            return
        self._attempt(lambda: self._open().end(record.id, ending, result))
        if self.failure is not None:
            # Whoever was writing may have let go, or room been made.
            first, self.failure = self.failure, None
            self._close()
            whole = record.with_steps(self._steps, ending)
            self._attempt(lambda: self._open().complete(whole, result))
            if self.failure is not None:
                self.failure = _rescued(self.failure, self.path, whole, result)
            elif first.code == "log_moved":
                self.remark = (
                    "The log was moved or deleted during the run, which is in a new one at "
                    f"{self.path}. `sagline log merge FILE` takes the old one's runs into it."
                )

    def _attempt(self, act: Callable[[], object]) -> None:
        """Do it unless something failed before; keep the first failure."""
        if self.failure is not None:
            return
        try:
            act()
        except NotStored as error:
            self.failure = error
        except LogError as error:
            self.failure = NotStored(error.code, error.message, error.remedy)
