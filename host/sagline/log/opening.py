# SPDX-License-Identifier: MIT
"""Opens a log, and says in words why one does not open or take what is written."""

import sqlite3
import time
import unicodedata
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from sagline.errors import NotStored, SaglineError, UsageError
from sagline.log import schema

# How long to wait for another program that is writing.
BUSY_S = 5.0


# How often to ask for what SQLite does not wait for.
ASK_AGAIN_S = 0.02


class LogError(UsageError):
    """The log cannot be read, or what it is told makes no sense."""


def connect(
    path: Path, *, write: bool, options: str = "", busy_s: float = BUSY_S
) -> tuple[sqlite3.Connection, bool]:
    """Return the open log, made or migrated where `write`, and whether it has its WAL.

    `options` are further parameters of SQLite's file URI; another program that writes is waited
    for up to `busy_s`. Raises LogError where it does not open, is no log, or is of a newer
    version.
    """
    with explained(path):
        _require_file(path, write)
        if write:
            path.parent.mkdir(parents=True, exist_ok=True)
        uri = f"file:{quote(str(path))}?mode=rwc" if write else reading_uri(path)
        db = sqlite3.connect(
            f"{uri}&{options}",
            uri=True,
            timeout=busy_s,
            isolation_level=None,
            # A run may be closed by another thread than it was driven by. Never by two at once:
            # it is a generator.
            check_same_thread=False,
        )
    try:
        with explained(path):
            db.create_function("folded", 1, folded, deterministic=True)
            _require_log(db, path)
            has_wal = _settle(db, busy_s) if write else True
            if not write and not schema.version_of(db):
                # Made, but its maker has not come to write anything.
                raise _no_log(path)
            if write and schema.version_of(db) < schema.VERSION:
                schema.migrate(db)
    except BaseException:
        db.close()
        raise
    return db, has_wal


def reading_uri(path: Path) -> str:
    """Return SQLite's URI for reading the log, also on a medium that nobody can write to."""
    uri = f"file:{quote(str(path))}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True)) as db:
        try:
            db.execute("SELECT count(*) FROM sqlite_master")
        except sqlite3.OperationalError as error:
            # SQLite wants to make a file beside the log, for writers that cannot be there. With
            # a write-ahead log left beside it, what is in that one would be missed.
            unmerged = path.with_name(f"{path.name}-wal")
            refused = error.sqlite_errorname.startswith("SQLITE_CANTOPEN")
            if refused and not (unmerged.exists() and unmerged.stat().st_size):
                return f"{uri}&immutable=1"
    return uri


def folded(text: str | None) -> str | None:
    """Return text as it is compared: in any case, however its accents are written."""
    return None if text is None else unicodedata.normalize("NFC", text).casefold()


def _no_log(path: Path) -> LogError:
    return LogError(
        "no_log",
        f"There is no log {path} yet.",
        "Measure something first. Simulated runs are in the demo log: --demo.",
    )


def _require_file(path: Path, write: bool) -> None:
    if path.is_dir():
        raise LogError("not_a_log", f"{path} is a folder.", "Name a file in it.")
    if not write and not path.exists():
        raise _no_log(path)


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


def _settle(db: sqlite3.Connection, busy_s: float) -> bool:
    """Set how safely and how fast it writes; return whether readers and a writer may share it."""
    db.execute("PRAGMA foreign_keys = ON")
    # Nothing that was told as stored is lost, be it to a power cut.
    db.execute("PRAGMA synchronous = FULL")
    until_s = time.monotonic() + busy_s
    while True:
        try:
            return db.execute("PRAGMA journal_mode = WAL").fetchone()[0] == "wal"
        except sqlite3.OperationalError as error:
            # Two programs that make the same log: SQLite does not wait in this place.
            busy = error.sqlite_errorname.startswith("SQLITE_BUSY")
            if not busy or time.monotonic() > until_s:
                raise
            time.sleep(ASK_AGAIN_S)


@contextmanager
def explained(path: Path, *, storing: bool = False) -> Iterator[None]:
    """Turn what SQLite, the system and documents say into an error with a remedy."""
    kind: type[SaglineError] = NotStored if storing else LogError
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        code, message, remedy = _words(path, error)
        raise kind(code, message, remedy) from error
    except (ValueError, zlib.error) as error:
        if storing:
            raise kind(
                "not_text",
                f"Something of the run cannot be written to the log {path}: {error}",
                "See that label and operator are plain text.",
            ) from error
        code, message, remedy = _damaged(path, "a document in it cannot be read")
        raise kind(code, message, remedy) from error


def _damaged(path: Path, how: str) -> tuple[str, str, str]:
    return (
        "log_damaged",
        f"The log {path} is damaged, or is no log: {how}.",
        "Keep the file; use a copy of it, or another log with --log FILE.",
    )


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
            f"Another program is writing to the log {path} and does not let go of it.",
            "Let it finish, or close it.",
        )
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return _damaged(path, str(error))
    return (
        "log_not_opened",
        f"The log {path} cannot be used: {getattr(error, 'strerror', error)}.",
        "Check the path and its drive, or use another log with --log FILE.",
    )
