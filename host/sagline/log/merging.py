# SPDX-License-Identifier: MIT
"""One log taken into another: the same again changes nothing, and equal labels are asked about.

Ids are unique in the world, so the same id is the same record. The same label in both logs
may be one cell or two, which only a person knows.
"""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sagline.log.opening import LogError, connect, explained, reading_uri
from sagline.log.rows import put_mark
from sagline.log.store import Log

# In the order in which one may refer to the other, with the columns that make an id.
_TABLES = {
    "record": "id",
    "header": "record_id",
    "step": "record_id, n",
    "ending": "record_id",
    "result": "id",
    "mark": "id",
}


@dataclass(frozen=True)
class Merged:
    """How many records, results and marks came in."""

    records: int
    results: int
    marks: int


def equal_labels(log: Log, other: Path) -> list[str]:
    """Return the labels that a record new to `log` shares with one that only `log` has.

    Raises LogError where `other` is no log that this version knows.
    """
    with _attached(log, other) as db:
        rows = db.execute(
            "SELECT DISTINCT label FROM other.record WHERE label IS NOT NULL"
            " AND id NOT IN (SELECT id FROM main.record)"
            " AND label IN (SELECT label FROM main.record WHERE id NOT IN"
            " (SELECT id FROM other.record)) ORDER BY label"
        ).fetchall()
    return [label for (label,) in rows]


def labels_of(log: Log) -> set[str]:
    """Return every label in use. Raises LogError."""
    with explained(log.path):
        rows = log.db.execute("SELECT DISTINCT label FROM record WHERE label IS NOT NULL")
        return {label for (label,) in rows}


def has_simulated(log: Log) -> bool:
    """Whether a run in it is of a simulated rig, or a file that came from one. Raises LogError."""
    with explained(log.path):
        query = (
            "SELECT EXISTS (SELECT 1 FROM record JOIN header ON record_id = id"
            " WHERE kind = 'virtual' OR (kind = 'file'"
            " AND json_extract(document, '$.metadata.kind') = 'virtual'))"
        )
        return bool(log.db.execute(query).fetchone()[0])


def merge(log: Log, other: Path, renamed: Mapping[str, str] | None = None) -> Merged:
    """Take what `other` has into `log`, whole or not at all; `renamed` gives new labels.

    Raises LogError as `equal_labels`, and where both have one id with other contents;
    NotStored where it cannot be written.
    """
    with _attached(log, other), log.writing() as db:
        _refuse_conflicts(db, other)
        new = db.execute(
            "SELECT id, label FROM other.record WHERE id NOT IN (SELECT id FROM main.record)"
        ).fetchall()
        counts = {table: _take(db, table) for table in _TABLES}
        for record_id, label in new:
            if renamed and label in renamed:
                put_mark(db, record_id, "label", renamed[label])
    return Merged(counts["record"], counts["result"], counts["mark"])


class _attached:
    """The other log beside this one, under the name `other`."""

    def __init__(self, log: Log, other: Path) -> None:
        self._log = log
        self._other = other

    def __enter__(self) -> sqlite3.Connection:
        # Looks at its version and kind, in words.
        probe, _ = connect(self._other, write=False)
        probe.close()
        if self._log.path.exists() and self._other.samefile(self._log.path):
            raise LogError(
                "same_log", f"{self._other} is this very log.", "Name the log of another rig."
            )
        with explained(self._other):
            self._log.db.execute("ATTACH ? AS other", (reading_uri(self._other),))
        return self._log.db

    def __exit__(self, *_: object) -> None:
        self._log.db.execute("DETACH other")


def _columns(db: sqlite3.Connection, table: str) -> list[str]:
    """The columns that are written once; what follows from the marks is none of them."""
    if table == "record":
        return ["id", "started_at", "kind", "rig", "designation", "operator", "label"]
    return [row[1] for row in db.execute(f"PRAGMA main.table_info({table})")]


def _take(db: sqlite3.Connection, table: str) -> int:
    columns = _columns(db, table)
    wanted = ", ".join(columns)
    # The other's record bears the label that its marks have made; the header has the first one.
    first_label = "(SELECT document ->> 'label' FROM other.header WHERE record_id = id)"
    taken = ", ".join(
        first_label if (table, column) == ("record", "label") else column for column in columns
    )
    count = f"SELECT count(*) FROM main.{table}"
    before = db.execute(count).fetchone()[0]
    db.execute(
        f"INSERT OR IGNORE INTO main.{table} ({wanted})"
        f" SELECT {taken} FROM other.{table} ORDER BY rowid"
    )
    return db.execute(count).fetchone()[0] - before


def _refuse_conflicts(db: sqlite3.Connection, other: Path) -> None:
    """Refuse where one id stands for two things: a log was changed by hand."""
    for table, key in _TABLES.items():
        if table == "record":
            continue  # The header says the same and more.
        differs = " OR ".join(f"theirs.{c} IS NOT ours.{c}" for c in _columns(db, table))
        found = db.execute(
            f"SELECT * FROM other.{table} AS theirs JOIN main.{table} AS ours USING ({key})"
            f" WHERE {differs} LIMIT 1"
        ).fetchone()
        if found is not None:
            raise LogError(
                "two_contents",
                f"The {table} {found[0]} differs in the two logs: one was changed by hand.",
                f"Nothing was taken in from {other}. Use logs as sagline has written them.",
            )
