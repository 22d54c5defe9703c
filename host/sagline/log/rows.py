# SPDX-License-Identifier: MIT
"""Documents into rows: what of each stands in a column of its own, for lists and searches."""

import json
import sqlite3
import zlib
from datetime import UTC, datetime

from uuid6 import uuid7

from sagline.anyrecord import AnyRecord, Ending
from sagline.records import StepRecord
from sagline.results import Result
from sagline.wording import expanded


def moment(at: datetime) -> str:
    """Return a time as text that sorts as times do."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def put_record(db: sqlite3.Connection, record: AnyRecord) -> None:
    """Put the record in without its steps and ending."""
    header = record.with_kept([], None)
    db.execute(
        "INSERT INTO record (id, started_at, kind, rig, designation, operator, label)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            record.id,
            moment(record.started_at),
            record.kind,
            record.rig_name,
            record.designation,
            record.operator,
            record.label,
        ),
    )
    document = header.model_dump_json(by_alias=True)
    db.execute("INSERT INTO header VALUES (?, ?)", (record.id, document))


def put_step(db: sqlite3.Connection, record_id: str, step: StepRecord) -> None:
    """Put one step in."""
    document = zlib.compress(step.model_dump_json().encode())
    db.execute("INSERT INTO step VALUES (?, ?, ?)", (record_id, step.n, document))


def put_ending(db: sqlite3.Connection, record_id: str, ending: Ending) -> None:
    """Put the ending in."""
    db.execute(
        "INSERT INTO ending VALUES (?, ?, ?)", (record_id, ending.how, ending.model_dump_json())
    )


def put_mark(db: sqlite3.Connection, record_id: str, what: str, value: str | None) -> None:
    """Say something of a record: its "label", its "note", or "deleted" yes or no."""
    db.execute(
        "INSERT INTO mark VALUES (?, ?, ?, ?, ?)",
        (str(uuid7()), record_id, moment(datetime.now(UTC)), what, value),
    )


def put_result(db: sqlite3.Connection, record_id: str, result: Result) -> None:
    """Put a result in."""
    times = json.dumps(result.main_times_s, separators=(",", ":"))
    r = result.r_ohm
    db.execute(
        "INSERT INTO result VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            result.id,
            record_id,
            result.method,
            times,
            None if result.emf_v is None else result.emf_v.value,
            r.value,
            expanded(r),
            r.t_s,
            result.model_dump_json(by_alias=True),
        ),
    )
