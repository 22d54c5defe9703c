# SPDX-License-Identifier: MIT
"""What people do to a log, each with what takes it back. Nothing is erased: marks are added."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sagline.ids import short_id
from sagline.log.store import Log
from sagline.plaintext import plain_text


@dataclass(frozen=True)
class Done:
    """What was done, in words, and the marks (record's id, what, value) that take it back.

    Without any nothing was changed.
    """

    words: str
    back: tuple[tuple[str, str, str | None], ...] = ()


@dataclass(frozen=True)
class Changed:
    """A run's label or note before and now; None for none."""

    record_id: str
    what: str
    before: str | None
    now: str | None

    def done(self) -> Done:
        """Return it in words."""
        known = short_id(self.record_id)
        if self.before == self.now:
            return Done(f"{known} has this {self.what} already.")
        words = f"{known} is now {_named(self.what, self.now)}; it was "
        return Done(
            f"{words}{_named(self.what, self.before)}.",
            ((self.record_id, self.what, self.before),),
        )


def change(log: Log, record_id: str, what: str, text: str) -> Changed:
    """Give a run another "label" or "note"; "" takes it away. Raises UsageError, NotStored."""
    new = plain_text(what, text)
    old = log.any_record(record_id).label if what == "label" else log.note(record_id)
    if new != old:
        log.mark([record_id], what, new)
    return Changed(record_id, what, old, new)


def delete(log: Log, record_ids: Sequence[str], *, restore: bool = False) -> Done:
    """Take runs out of the lists, or bring them back. Raises NotStored."""
    log.mark(record_ids, "deleted", "no" if restore else "yes")
    known = " ".join(short_id(record_id) for record_id in record_ids)
    words = f"Restored: {known}" if restore else f"Deleted: {known}."
    return Done(words, tuple((one, "deleted", "yes" if restore else "no") for one in record_ids))


def take_back(path: Path, done: Done) -> str:
    """Take back what was done; return it in words. Raises LogError, NotStored."""
    with Log(path, write=True) as log:
        for record_id, what, value in done.back:
            log.mark([record_id], what, value)
    return f"Undone: {done.words}"


def _named(what: str, text: str | None) -> str:
    return f"without a {what}" if text is None else repr(text)
