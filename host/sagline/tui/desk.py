# SPDX-License-Identifier: MIT
"""What the clerk does for the Logbook, each with the log's file.

Everything is imported when it is done, in the clerk's thread, and not before the first screen.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sagline.log.acts import Done
    from sagline.log.reading import Listed


def listed(demo: bool, text: str, deleted: bool) -> Listed:
    """Return the runs with these words. Raises LogError."""
    from sagline.log import reading
    from sagline.log.choice import usual_log

    return reading.listed(usual_log(demo=demo), text, deleted=deleted)


def told(path: Path, record_id: str) -> list[str]:
    """Return the run in words. Raises LogError."""
    from sagline.log import reading

    return reading.told(path, record_id)


def over_time(path: Path, record_id: str) -> list[str]:
    """Return every run of its label in words. Raises LogError."""
    from sagline.log import overtime
    from sagline.log.store import Log

    with Log(path) as log:
        return overtime.over_time(log, record_id).lines()


def computed(path: Path, record_id: str) -> str:
    """Compute the run again; return in words what came of it.

    Raises AnalysisError, LogError, NotStored.
    """
    from sagline.log.recomputing import recompute
    from sagline.log.runwords import recomputed_line
    from sagline.log.store import Log

    with Log(path, write=True) as log:
        return recomputed_line(recompute(log, record_id))


def changed(path: Path, record_id: str, what: str, text: str) -> Done:
    """Give the run another "label" or "note". Raises UsageError, LogError, NotStored."""
    from sagline.log.acts import change
    from sagline.log.store import Log

    with Log(path, write=True) as log:
        return change(log, record_id, what, text).done()


def deleted(path: Path, record_id: str) -> Done:
    """Take the run out of the lists. Raises LogError, NotStored."""
    return _marked(path, record_id, restore=False)


def restored(path: Path, record_id: str) -> Done:
    """Bring the run back. Raises LogError, NotStored."""
    return _marked(path, record_id, restore=True)


def _marked(path: Path, record_id: str, *, restore: bool) -> Done:
    from sagline.log.acts import delete
    from sagline.log.store import Log

    with Log(path, write=True) as log:
        return delete(log, [record_id], restore=restore)


def taken_back(path: Path, done: Done) -> str:
    """Take back what was done. Raises LogError, NotStored."""
    from sagline.log.acts import take_back

    return take_back(path, done)


def exported(path: Path, record_ids: Sequence[str], name: str) -> str:
    """Write the runs to a file. Raises UsageError, LogError, NotStored."""
    from sagline.log.exporting import export

    return export(path, record_ids, name)
