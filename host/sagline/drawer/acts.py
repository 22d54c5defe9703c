# SPDX-License-Identifier: MIT
"""What is done to a drawer and its log together: undo, relabel, and going on after a crash."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sagline.designations import DESIGNATIONS, find
from sagline.drawer.events import (
    Again,
    Designated,
    Done,
    Event,
    Missed,
    NextLabel,
    Relabelled,
    TakenBack,
)
from sagline.drawer.journal import Journal
from sagline.drawer.labels import free_after
from sagline.drawer.state import INTERRUPTED, undoable
from sagline.errors import UsageError
from sagline.log.store import Log
from sagline.plaintext import plain_text


def undo(journal: Journal) -> str:
    """Take the newest event back; say in words which. Runs are marked deleted in their log.

    Raises UsageError where there is nothing to take back, NotStored, LogError.
    """
    number = undoable(journal.events)
    if number is None:
        raise UsageError("nothing_to_undo", "There is nothing to undo.", "Go on.")
    event = journal.events[number]
    before = journal.drawer
    after = journal.add(TakenBack(number=number))
    gone = sorted(before.record_ids - after.record_ids)
    if gone:
        _mark(journal, gone, "deleted", "yes")
    if isinstance(event, Relabelled):
        cell = after.cell(event.label)
        ids = [] if cell is None else [one.record_id for one in cell.tries if one.record_id]
        _mark(journal, ids, "label", event.label)
    return f"Undone: {words_of(event)}."


def words_of(event: Event) -> str:
    """Return what an event was, in words."""
    match event.what:
        case "begun":
            return f"the run of {event.label}"
        case "missed":
            return f"{event.label}, {event.reason.rstrip('.')}"
        case "next_label":
            return f"next label {event.label}"
        case "again":
            return f"{event.label} once more"
        case "relabelled":
            return f"{event.label} called {event.new}"
        case "designated":
            return f"designation {event.designation or 'none'}"
        case _:
            return event.what


def relabel(journal: Journal, label: str, new: str) -> None:
    """Give a row another label, here and in the log. Raises UsageError, NotStored, LogError."""
    wanted = _label(new)
    drawer = journal.drawer
    cell = drawer.cell(label)
    if cell is None:
        raise UsageError("no_row", f"No row has the label {label!r}.", "See the drawer's rows.")
    if drawer.cell(wanted) is not None:
        raise _taken(wanted)
    journal.add(Relabelled(label=label, new=wanted))
    _mark(journal, [one.record_id for one in cell.tries if one.record_id], "label", wanted)


def choose_label(journal: Journal, label: str) -> None:
    """Let the next cell have this label. Raises UsageError where a row has it, NotStored."""
    wanted = _label(label)
    if journal.drawer.cell(wanted) is not None:
        raise _taken(wanted)
    journal.add(NextLabel(label=wanted))


def newest(journal: Journal) -> str:
    """Return the label of the last row. Raises UsageError where there is none."""
    cells = journal.drawer.cells
    if not cells:
        raise UsageError("no_row", "There is no row yet.", "Put a cell in first.")
    return cells[-1].label


def again(journal: Journal, label: str = "") -> None:
    """Let what is measured next be the cell of this label, or of the last row.

    Raises UsageError, NotStored.
    """
    label = label or newest(journal)
    if journal.drawer.cell(label) is None:
        raise UsageError("no_row", f"No row has the label {label!r}.", "See the drawer's rows.")
    journal.add(Again(label=label))


def pass_over(journal: Journal) -> None:
    """Go on with a new label where a cell was waited for that has a row. Raises NotStored."""
    drawer = journal.drawer
    last = drawer.cells[-1].label if drawer.cells else drawer.next_label
    taken = [cell.label for cell in drawer.cells]
    journal.add(NextLabel(label=free_after(last, taken)))


def designate(journal: Journal, text: str) -> None:
    """Say what cells are from now on, "" for nothing known. Raises UsageError, NotStored."""
    journal.add(Designated(designation=known_designation(text)))


def known_designation(text: str | None) -> str | None:
    """Return a designation as it is written; None for none. Raises UsageError for an unknown."""
    if not text:
        return None
    known = find(text)
    if known is None:
        raise UsageError(
            "unknown_designation",
            f"The designation {text!r} is not in the table.",
            f"Choose one of {', '.join(DESIGNATIONS)}, or leave it out.",
        )
    return known.designation


def heal(journal: Journal) -> list[str]:
    """Take in runs that were finished in the log when the drawer could not be told any more.

    Return their labels. A run that was cut off is said to be, and its cell is next again. Raises
    LogError, NotStored.
    """
    opened = journal.drawer.opened
    healed = []
    for cell in journal.drawer.cells:
        last = cell.tries[-1]
        if last.record_id is None or not last.is_open:
            continue
        with Log(Path(opened.log)) as log:
            finished = log.any_record(last.record_id).state == "complete"
            finished = finished and bool(log.results(last.record_id))
        if finished:
            journal.add(Done(record_id=last.record_id))
            healed.append(cell.label)
            continue
        journal.add(
            Missed(
                label=cell.label,
                designation=cell.designation,
                code=INTERRUPTED,
                reason="The run was interrupted; what there is of it is in the log.",
                again=True,
            )
        )
    return healed


def _label(text: str) -> str:
    wanted = plain_text("label", text)
    if wanted is None:
        raise UsageError("no_label", "A label is empty.", "Give it some letters or digits.")
    return wanted


def _taken(label: str) -> UsageError:
    return UsageError(
        "label_taken",
        f"The label {label!r} is in this drawer already.",
        "Choose another; to measure that cell once more, ask for it again.",
    )


def _mark(journal: Journal, record_ids: Sequence[str], what: str, value: str) -> None:
    with Log(Path(journal.drawer.opened.log), write=True) as log:
        log.mark(record_ids, what, value)
