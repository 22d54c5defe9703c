# SPDX-License-Identifier: MIT
"""A log as it is leafed through: what it has, and one run of it in words."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sagline.computing import with_terminal
from sagline.log.listing import Filters, Row, count_runs, list_runs
from sagline.log.opening import LogError
from sagline.log.runwords import about_lines
from sagline.log.store import Log
from sagline.wording import report_lines

MOST = 500
"""So many runs are listed: more are found by searching."""


@dataclass(frozen=True)
class Listed:
    """The newest runs that were asked for, and how many there are."""

    path: Path
    rows: tuple[Row, ...] = ()
    count: int = 0


def listed(path: Path, text: str = "", *, deleted: bool = False) -> Listed:
    """Return the runs with these words; none where there is no log yet. Raises LogError."""
    filters = Filters(text=text, deleted=deleted)
    try:
        with Log(path) as log:
            return Listed(path, tuple(list_runs(log, filters, MOST)), count_runs(log, filters))
    except LogError as error:
        if error.code != "no_log":
            raise
        return Listed(path)


def told(path: Path, record_id: str) -> list[str]:
    """Return a run in words: how it was made, and its main result. Raises LogError."""
    with Log(path) as log:
        record = log.any_record(record_id)
        results = log.results(record_id)
        deleted, note = log.is_deleted(record_id), log.note(record_id)
    lines = about_lines(record, note, deleted=deleted)
    result = record.main_of(results)
    if result is None:
        return [*lines, "", "It has no result."]
    return [*lines, "", *report_lines(with_terminal(record, result))]
