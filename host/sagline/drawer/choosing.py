# SPDX-License-Identifier: MIT
"""A reference chosen: by a drawer's row, or any run of its log that has a designation and r."""

from pathlib import Path

from sagline.drawer import references
from sagline.drawer.journal import Journal
from sagline.errors import UsageError
from sagline.log.store import Log


def choose_row(found: Journal, label: str) -> str:
    """Make the newest run of a row the reference; return its designation.

    Raises UsageError where there is no such row or nothing to compare with, NotStored.
    """
    cell = found.drawer.cell(label)
    ids = () if cell is None else cell.done_ids
    if not ids:
        raise UsageError(
            "no_figures", f"No row {label!r} has figures.", "Choose one that was measured."
        )
    return choose_run(found, ids[-1])


def choose_run(found: Journal, given: str) -> str:
    """Make a run of the drawer's log the reference; return its designation. Raises as above."""
    opened = found.drawer.opened
    with Log(Path(opened.log)) as log:
        record_id = log.find(given)
        record = log.any_record(record_id)
        result = record.main_of(log.results(record_id))
    if record.designation is None or result is None:
        what = "designation" if record.designation is None else "result"
        raise UsageError(
            f"no_{what}",
            f"The run {record_id[-8:]} has no {what}.",
            "A reference needs a designation, and figures to compare with.",
        )
    references.put(record.designation, record_id, simulated=opened.simulated)
    return record.designation
