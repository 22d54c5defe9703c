# SPDX-License-Identifier: MIT
"""The tables of a log, and how a log of an earlier version becomes one of this.

What was measured is written once and never changed: `record`, `header`, `step`, `ending`,
`result`. What people say of it afterwards is added as a `mark`. The columns of `record` that a
list is made from follow the marks by a trigger.
"""

import sqlite3
from collections.abc import Sequence

# Tells a log from any other SQLite file.
APPLICATION_ID = 0x5361676C

VERSION_1 = """
CREATE TABLE record (
    id TEXT PRIMARY KEY,
    started_at TEXT NOT NULL,
    kind TEXT NOT NULL,
    rig TEXT NOT NULL,
    designation TEXT,
    operator TEXT,
    label TEXT,
    deleted INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX record_started ON record (started_at);
CREATE INDEX record_label ON record (label);
CREATE TABLE header (
    record_id TEXT PRIMARY KEY REFERENCES record (id),
    document TEXT NOT NULL
) STRICT;
CREATE TABLE step (
    record_id TEXT NOT NULL REFERENCES record (id),
    n INTEGER NOT NULL,
    document BLOB NOT NULL,
    PRIMARY KEY (record_id, n)
) STRICT;
CREATE TABLE ending (
    record_id TEXT PRIMARY KEY REFERENCES record (id),
    how TEXT NOT NULL,
    document TEXT NOT NULL
) STRICT;
CREATE TABLE result (
    id TEXT PRIMARY KEY,
    record_id TEXT NOT NULL REFERENCES record (id),
    method TEXT NOT NULL,
    times TEXT NOT NULL,
    emf_v REAL NOT NULL,
    r_ohm REAL NOT NULL,
    r_u95_ohm REAL,
    r_t_s REAL,
    document TEXT NOT NULL
) STRICT;
CREATE INDEX result_record ON result (record_id, id);
CREATE TABLE mark (
    id TEXT PRIMARY KEY,
    record_id TEXT NOT NULL REFERENCES record (id),
    at TEXT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('label', 'deleted')),
    value TEXT
) STRICT;
CREATE INDEX mark_record ON mark (record_id, what, id);
CREATE TRIGGER mark_counts AFTER INSERT ON mark BEGIN
    UPDATE record SET
        label = CASE NEW.what WHEN 'label' THEN (
            SELECT value FROM mark WHERE record_id = NEW.record_id AND what = 'label'
            ORDER BY id DESC LIMIT 1
        ) ELSE label END,
        deleted = CASE NEW.what WHEN 'deleted' THEN (
            SELECT value = 'yes' FROM mark WHERE record_id = NEW.record_id AND what = 'deleted'
            ORDER BY id DESC LIMIT 1
        ) ELSE deleted END
    WHERE id = NEW.record_id;
END;
"""

# Readings by hand may give r without E.
VERSION_2 = """
CREATE TABLE result_2 (
    id TEXT PRIMARY KEY,
    record_id TEXT NOT NULL REFERENCES record (id),
    method TEXT NOT NULL,
    times TEXT NOT NULL,
    emf_v REAL,
    r_ohm REAL NOT NULL,
    r_u95_ohm REAL,
    r_t_s REAL,
    document TEXT NOT NULL
) STRICT;
INSERT INTO result_2 SELECT * FROM result ORDER BY rowid;
DROP TABLE result;
ALTER TABLE result_2 RENAME TO result;
CREATE INDEX result_record ON result (record_id, id);
"""

# People write notes beside a run. The check of a column cannot be changed, so the marks move.
VERSION_3 = """
ALTER TABLE record ADD COLUMN note TEXT;
CREATE TABLE mark_3 (
    id TEXT PRIMARY KEY,
    record_id TEXT NOT NULL REFERENCES record (id),
    at TEXT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('label', 'deleted', 'note')),
    value TEXT
) STRICT;
INSERT INTO mark_3 SELECT * FROM mark ORDER BY rowid;
DROP TABLE mark;
ALTER TABLE mark_3 RENAME TO mark;
CREATE INDEX mark_record ON mark (record_id, what, id);
CREATE TRIGGER mark_counts AFTER INSERT ON mark BEGIN
    UPDATE record SET
        label = CASE NEW.what WHEN 'label' THEN (
            SELECT value FROM mark WHERE record_id = NEW.record_id AND what = 'label'
            ORDER BY id DESC LIMIT 1
        ) ELSE label END,
        note = CASE NEW.what WHEN 'note' THEN (
            SELECT value FROM mark WHERE record_id = NEW.record_id AND what = 'note'
            ORDER BY id DESC LIMIT 1
        ) ELSE note END,
        deleted = CASE NEW.what WHEN 'deleted' THEN (
            SELECT value = 'yes' FROM mark WHERE record_id = NEW.record_id AND what = 'deleted'
            ORDER BY id DESC LIMIT 1
        ) ELSE deleted END
    WHERE id = NEW.record_id;
END;
"""
NOTES_SINCE = 3

# Entry k takes a log from version k to k + 1.
MIGRATIONS = (VERSION_1, VERSION_2, VERSION_3)
VERSION = len(MIGRATIONS)


def version_of(db: sqlite3.Connection) -> int:
    """Return the version of the log; 0 for a file that is still empty."""
    return db.execute("PRAGMA user_version").fetchone()[0]


def is_log(db: sqlite3.Connection) -> bool:
    """Whether the file is a log, or so empty and unclaimed that it may become one."""
    owner = db.execute("PRAGMA application_id").fetchone()[0]
    if owner or version_of(db):
        return owner == APPLICATION_ID
    return not db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]


def migrate(db: sqlite3.Connection, migrations: Sequence[str] = MIGRATIONS) -> None:
    """Bring the log to the newest version, all of the way or not at all."""
    db.execute("BEGIN IMMEDIATE")
    try:
        for statements in migrations[version_of(db) :]:
            for statement in _split(statements):
                db.execute(statement)
        db.execute(f"PRAGMA user_version = {len(migrations)}")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute("COMMIT")
    except BaseException:
        # A full disk may have ended the transaction already.
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _split(statements: str) -> list[str]:
    """Single statements: `executescript` would end the transaction."""
    found, part = [], ""
    for line in statements.splitlines(keepends=True):
        part += line
        if sqlite3.complete_statement(part):
            found.append(part)
            part = ""
    return found
