# SPDX-License-Identifier: MIT
"""A log: records put in step by step, results beside them, and read again."""

import os
import sqlite3
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from sagline.anyrecord import AnyRecord, Ending
from sagline.errors import NotStored
from sagline.kinds import DOCUMENTS
from sagline.log import schema
from sagline.log.opening import BUSY_S, LogError, connect, explained
from sagline.log.rows import put_ending, put_mark, put_record, put_result, put_step
from sagline.records import Record, StepRecord
from sagline.results import Result


class Log:
    """An open log. Use as a context manager.

    Every method that writes does so in one transaction: it is in the log whole when the
    method returns, or it raises NotStored and nothing has changed.
    """

    def __init__(
        self, path: Path, *, write: bool = False, options: str = "", busy_s: float = BUSY_S
    ) -> None:
        """Open the log at `path`; with `write` make it where there is none. Raises LogError.

        `options` and `busy_s` (s) are those of `connect`.
        """
        self.path = path
        self.db, self.has_wal = connect(path, write=write, options=options, busy_s=busy_s)
        self._file = os.stat(path)

    def __enter__(self) -> "Log":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.db.close()

    # -- writing -----------------------------------------------------------

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, whole or not at all. Raises NotStored where it fails."""
        with explained(self.path, storing=True):
            self.db.execute("BEGIN IMMEDIATE")
            try:
                yield self.db
                self.db.execute("COMMIT")
                self._require_in_place()
            except BaseException:
                # A full disk may have ended the transaction already.
                if self.db.in_transaction:
                    self.db.execute("ROLLBACK")
                raise

    def _require_in_place(self) -> None:
        """Raise NotStored where `path` is no longer the file that is being written."""
        try:
            moved = not os.path.samestat(self._file, os.stat(self.path))
        except FileNotFoundError:
            moved = True
        if moved:
            raise NotStored(
                "log_moved",
                f"The log {self.path} was moved or deleted while it was being written.",
                "Put it back; move a log only while nothing is measured.",
            )

    def begin(self, record: AnyRecord) -> None:
        """Put a new record in; its steps, if it has any, and its ending too."""
        with self.writing() as db:
            put_record(db, record)
            for step in record.kept_steps:
                put_step(db, record.id, step)
            if record.kept_ending is not None:
                put_ending(db, record.id, record.kept_ending)

    def complete(self, record: AnyRecord, result: Result | None = None) -> None:
        """Put in what of `record` and `result` is not in yet: what could not be written before."""
        with self.writing() as db:

            def held(query: str, key: str) -> set[object]:
                return {value for (value,) in db.execute(query, (key,))}

            if not held("SELECT id FROM record WHERE id = ?", record.id):
                put_record(db, record)
            steps = held("SELECT n FROM step WHERE record_id = ?", record.id)
            for step in record.kept_steps:
                if step.n not in steps:
                    put_step(db, record.id, step)
            ended = held("SELECT record_id FROM ending WHERE record_id = ?", record.id)
            if record.kept_ending is not None and not ended:
                put_ending(db, record.id, record.kept_ending)
            if result is not None and not held("SELECT id FROM result WHERE id = ?", result.id):
                put_result(db, record.id, result)

    def add_step(self, record_id: str, step: StepRecord) -> None:
        """Put a finished step in."""
        with self.writing() as db:
            put_step(db, record_id, step)

    def end(self, record_id: str, ending: Ending, result: Result | None = None) -> None:
        """Say how the run ended, and put its result in."""
        with self.writing() as db:
            put_ending(db, record_id, ending)
            if result is not None:
                put_result(db, record_id, result)

    def add_result(self, record_id: str, result: Result) -> None:
        """Put a result in beside those the record has."""
        with self.writing() as db:
            put_result(db, record_id, result)

    def mark(self, record_ids: Sequence[str], what: str, value: str | None) -> None:
        """Say something of records: "label", "note", or "deleted" yes or no. Nothing is erased."""
        with self.writing() as db:
            for record_id in record_ids:
                put_mark(db, record_id, what, value)

    # -- reading -----------------------------------------------------------

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The log as it is at one moment, whoever writes meanwhile. Raises LogError."""
        with explained(self.path):
            self.db.execute("BEGIN")
            try:
                yield self.db
            finally:
                if self.db.in_transaction:
                    self.db.execute("ROLLBACK")

    def find(self, given: str) -> str:
        """Return the record's id for a record's or result's id, or any unique end or start of one.

        Raises LogError where none or several fit.
        """
        wanted = given.strip().lower()
        if not wanted or set(wanted) - set("0123456789abcdef-"):
            raise LogError(
                "bad_id", f"{given!r} is no id.", "`sagline log list` shows the ids there are."
            )
        with explained(self.path):
            rows = self.db.execute(
                "SELECT id FROM record WHERE id LIKE :start OR id LIKE :end UNION"
                " SELECT record_id FROM result WHERE id LIKE :start OR id LIKE :end LIMIT 6",
                {"start": f"{wanted}%", "end": f"%{wanted}"},
            ).fetchall()
        if not rows:
            raise self._unknown(given)
        if len(rows) > 1:
            some = ", ".join(row[0] for row in rows[:5])
            raise LogError(
                "several_ids", f"Several ids fit {given}: {some}.", "Give more of its letters."
            )
        return rows[0][0]

    def _unknown(self, given: str) -> LogError:
        return LogError(
            "unknown_id",
            f"The log {self.path} has nothing with the id {given}.",
            "`sagline log list` shows what it has; virtual runs are in the demo log (--demo).",
        )

    def record(self, record_id: str) -> Record:
        """Return the whole record of a rig's run, under the label it has now. Raises LogError."""
        record = self.any_record(record_id)
        if not isinstance(record, Record):
            raise LogError(
                "no_run",
                f"The record {record_id} is of the kind {record.kind}, not of a rig's run.",
                "`sagline log show` shows what it is.",
            )
        return record

    def any_record(self, record_id: str) -> AnyRecord:
        """Return the whole record, of whatever kind, under the label it has now.

        Raises LogError, also where it is of a kind that this version does not know.
        """
        with self.reading() as db:
            head = db.execute(
                "SELECT document, label, kind FROM header JOIN record ON id = record_id"
                " WHERE id = ?",
                (record_id,),
            ).fetchone()
            steps = db.execute(
                "SELECT document FROM step WHERE record_id = ? ORDER BY n", (record_id,)
            ).fetchall()
            ending = db.execute(
                "SELECT document FROM ending WHERE record_id = ?", (record_id,)
            ).fetchone()
        if head is None:
            raise self._unknown(record_id)
        if head[2] not in DOCUMENTS:
            raise LogError(
                "unknown_kind",
                f"The record {record_id} is of the kind {head[2]}, which this sagline lacks.",
                "Use the newer sagline that wrote it.",
            )
        with explained(self.path):
            record = (
                DOCUMENTS[head[2]]
                .model_validate_json(head[0])
                .with_kept(
                    [StepRecord.model_validate_json(zlib.decompress(data)) for (data,) in steps],
                    None if ending is None else Ending.model_validate_json(ending[0]),
                )
            )
        return record.model_copy(update={"label": head[1]})

    def is_deleted(self, record_id: str) -> bool:
        """Whether the record is out of the lists."""
        with explained(self.path):
            row = self.db.execute(
                "SELECT deleted FROM record WHERE id = ?", (record_id,)
            ).fetchone()
        return bool(row and row[0])

    @property
    def has_notes(self) -> bool:
        """Whether it has a place for notes; one of an earlier version that is only read has not."""
        return schema.version_of(self.db) >= schema.NOTES_SINCE

    def note(self, record_id: str) -> str | None:
        """Return what somebody has noted beside the record, None where nobody has."""
        if not self.has_notes:
            return None
        with explained(self.path):
            row = self.db.execute("SELECT note FROM record WHERE id = ?", (record_id,)).fetchone()
        return row and row[0]

    def results(self, record_id: str) -> list[Result]:
        """Return the record's results, the first one first, under the label it has now."""
        with explained(self.path):
            rows = self.db.execute(
                "SELECT document, label FROM result JOIN record ON record.id = record_id"
                " WHERE record_id = ? ORDER BY result.id",
                (record_id,),
            ).fetchall()
            return [
                Result.model_validate_json(document).model_copy(update={"label": label})
                for document, label in rows
            ]
