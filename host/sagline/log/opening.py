# SPDX-License-Identifier: MIT
"""Opens a log, and says in words why one does not open or take what is written."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from sagline.errors import NotStored, SaglineError, UsageError
from sagline.log import schema

# How long to wait for another program that is writing.
BUSY_S = 5.0


class LogError(UsageError):
    """The log cannot be read, or what it is told makes no sense."""


def connect(path: Path, *, write: bool, options: str = "") -> tuple[sqlite3.Connection, bool]:
    """Return the open log, made or migrated where `write`, and whether it has its WAL.

    `options` are further parameters of SQLite's file URI. Raises LogError where it does not
    open, is no log, or is of a newer version.
    """
    if not write and not path.exists():
        raise LogError("no_log", f"There is no log {path} yet.", "Measure something first.")
    mode = "rwc" if write else "ro"
    with explained(path):
        if write:
            path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(
            f"file:{quote(str(path))}?mode={mode}&{options}",
            uri=True,
            timeout=BUSY_S,
            isolation_level=None,
        )
    try:
        with explained(path):
            _require_log(db, path)
            has_wal = _settle(db, write)
            if write and schema.version_of(db) < schema.VERSION:
                schema.migrate(db)
    except BaseException:
        db.close()
        raise
    return db, has_wal


def _require_log(db: sqlite3.Connection, path: Path) -> None:
    if not schema.is_log(db):
        raise LogError("not_a_log", f"{path} is no log of sagline.", "Name another file.")
    version = schema.version_of(db)
    if version > schema.VERSION:
        raise LogError(
            "newer_log",
            f"The log {path} is of version {version}; this sagline knows {schema.VERSION}.",
            "Use the newer sagline that wrote it, or another log with --log FILE.",
        )


def _settle(db: sqlite3.Connection, write: bool) -> bool:
    """Set how safely and how fast it writes; return whether readers and a writer may share it."""
    db.execute("PRAGMA foreign_keys = ON")
    if not write:
        return True
    # Nothing that was told as stored is lost, be it to a power cut.
    db.execute("PRAGMA synchronous = FULL")
    return db.execute("PRAGMA journal_mode = WAL").fetchone()[0] == "wal"


@contextmanager
def explained(path: Path, *, storing: bool = False) -> Iterator[None]:
    """Turn what SQLite and the system say into an error with a remedy."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        code, message, remedy = _words(path, error)
        kind: type[SaglineError] = NotStored if storing else LogError
        raise kind(code, message, remedy) from error


def _words(path: Path, error: Exception) -> tuple[str, str, str]:
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith("SQLITE_FULL") or getattr(error, "errno", None) == 28:
        return "log_full", f"There is no room for the log {path}.", "Make room on its drive."
    if name.startswith("SQLITE_READONLY"):
        return (
            "log_read_only",
            f"The log {path} may not be written.",
            "See who owns it and its folder, or use another with --log FILE.",
        )
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return (
            "log_busy",
            f"Another program has been writing to the log {path} for {BUSY_S:g} s.",
            "Let it finish, or close it.",
        )
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return (
            "log_damaged",
            f"The log {path} is damaged, or is no log: {error}.",
            "Keep the file; use a copy of it, or another log with --log FILE.",
        )
    return (
        "log_not_opened",
        f"The log {path} cannot be used: {error}.",
        "Check the path and its drive, or use another log with --log FILE.",
    )
