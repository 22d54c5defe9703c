# SPDX-License-Identifier: MIT
"""A drawer as its events make it: rows, the next label, what an undo would take back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sagline.drawer.events import (
    Again,
    Begun,
    Designated,
    Done,
    Event,
    Missed,
    NextLabel,
    Opened,
    Relabelled,
    TakenBack,
)
from sagline.drawer.labels import free_after

INTERRUPTED = "interrupted"


@dataclass(frozen=True)
class Try:
    """One try at a cell: a run (`record_id`), done or not, or a reason why there is none.

    A run that is neither done nor has a code goes on, or was interrupted.
    """

    record_id: str | None
    is_done: bool = False
    code: str | None = None
    reason: str | None = None
    open_v: float | None = None

    @property
    def is_open(self) -> bool:
        """Whether nobody has said how the run ended."""
        return self.record_id is not None and not self.is_done and self.code is None


@dataclass(frozen=True)
class Cell:
    """One row of the drawer; `tries` in their order, of which there may be several."""

    label: str
    designation: str | None
    tries: tuple[Try, ...] = ()

    @property
    def done_ids(self) -> tuple[str, ...]:
        """The runs that have a result: one a turn of the cell in its holder."""
        return tuple(one.record_id for one in self.tries if one.is_done and one.record_id)


@dataclass(frozen=True)
class Drawer:
    """`next_label` is shown before the cell is put in; `repeats` where it is a row's again."""

    opened: Opened
    designation: str | None
    next_label: str
    cells: tuple[Cell, ...] = ()
    repeats: bool = False

    def cell(self, label: str) -> Cell | None:
        """Return the row of this label, None where there is none."""
        return next((one for one in self.cells if one.label == label), None)

    @property
    def record_ids(self) -> frozenset[str]:
        """Every run of the drawer."""
        return frozenset(
            one.record_id for cell in self.cells for one in cell.tries if one.record_id
        )


def drawer_of(events: Sequence[Event]) -> Drawer:
    """Return the drawer that these events make. Raises ValueError where they make none.

    A run that was begun and is not done was interrupted: its cell is next again.
    """
    if not events or not isinstance(events[0], Opened):
        raise ValueError("a drawer begins with its opening")
    opened = events[0]
    drawer = Drawer(opened, opened.designation, opened.first_label)
    for event in counting(events)[1:]:
        drawer = _after(drawer, event)
    return drawer


def counting(events: Sequence[Event]) -> list[Event]:
    """Return the events without those that were taken back, and what belongs to these."""
    gone: set[int] = set()
    for event in events:
        if isinstance(event, TakenBack):
            gone |= _with_its_run(events, event.number)
    return [
        event
        for number, event in enumerate(events)
        if number not in gone and not isinstance(event, TakenBack)
    ]


def undoable(events: Sequence[Event]) -> int | None:
    """Return the number of the event that an undo takes back, None where there is none.

    That is the newest that still counts; a run goes with its result, as one.
    """
    gone: set[int] = set()
    outcomes: set[int] = set()
    for number, event in enumerate(events):
        if isinstance(event, TakenBack):
            gone |= _with_its_run(events, event.number)
        elif isinstance(event, Begun):
            outcomes |= _with_its_run(events, number) - {number}
    for number in range(len(events) - 1, 0, -1):
        if number not in gone | outcomes and not isinstance(events[number], TakenBack):
            return number
    return None


def _with_its_run(events: Sequence[Event], number: int) -> set[int]:
    found = {number}
    event = events[number] if number < len(events) else None
    if isinstance(event, Begun):
        # What became of the run stands right behind it: nothing else happens meanwhile.
        for later in range(number + 1, len(events)):
            other = events[later]
            if isinstance(other, TakenBack):
                continue
            if isinstance(other, Done | Missed) and _ends(other, event):
                found.add(later)
            break
    return found


def _ends(event: Done | Missed, run: Begun) -> bool:
    if isinstance(event, Done):
        return event.record_id == run.record_id
    return event.label == run.label


def _after(drawer: Drawer, event: Event) -> Drawer:
    match event:
        case Begun():
            started = Try(event.record_id, reason="It was interrupted.")
            drawer = _with_try(drawer, event.label, event.designation, started)
            # Until it is done, this is the cell to go on with.
            return replace(drawer, next_label=event.label, repeats=True)
        case Done():
            return _done(drawer, event.record_id)
        case Missed():
            return _missed(drawer, event)
        case NextLabel(label=label):
            return replace(drawer, next_label=label, repeats=drawer.cell(label) is not None)
        case Again(label=label):
            return replace(drawer, next_label=label, repeats=True)
        case Relabelled(label=label, new=new):
            cells = tuple(
                replace(one, label=new) if one.label == label else one for one in drawer.cells
            )
            next_label = new if drawer.next_label == label else drawer.next_label
            drawer = replace(drawer, cells=cells, next_label=next_label)
            if not drawer.repeats and drawer.cell(next_label) is not None:
                return _run_on(drawer, next_label)
            return drawer
        case Designated(designation=designation):
            return replace(drawer, designation=designation)
        case _:
            return drawer


def _with_try(drawer: Drawer, label: str, designation: str | None, one: Try) -> Drawer:
    known = drawer.cell(label)
    if known is None:
        return replace(drawer, cells=(*drawer.cells, Cell(label, designation, (one,))))
    grown = replace(known, designation=designation, tries=(*known.tries, one))
    return replace(drawer, cells=tuple(grown if cell is known else cell for cell in drawer.cells))


def _done(drawer: Drawer, record_id: str) -> Drawer:
    cells, label = [], drawer.next_label
    for cell in drawer.cells:
        if any(one.record_id == record_id for one in cell.tries):
            label = cell.label
            tries = (
                Try(record_id, is_done=True) if one.record_id == record_id else one
                for one in cell.tries
            )
            cell = replace(cell, tries=tuple(tries))
        cells.append(cell)
    return _run_on(replace(drawer, cells=tuple(cells)), label)


def _missed(drawer: Drawer, event: Missed) -> Drawer:
    known = drawer.cell(event.label)
    one = Try(None, code=event.code, reason=event.reason, open_v=event.open_v)
    if known is not None and known.tries[-1].is_open:
        # Why the run that was begun has no result.
        one = replace(one, record_id=known.tries[-1].record_id)
        shorter = replace(known, tries=known.tries[:-1])
        drawer = replace(
            drawer, cells=tuple(shorter if cell is known else cell for cell in drawer.cells)
        )
    drawer = _with_try(drawer, event.label, event.designation, one)
    if event.again:
        return replace(drawer, next_label=event.label, repeats=True)
    return _run_on(drawer, event.label)


def _run_on(drawer: Drawer, label: str) -> Drawer:
    """Go on behind the last row: a cell that was measured again does not turn labels back."""
    newest = label if not drawer.cells else drawer.cells[-1].label
    taken = (cell.label for cell in drawer.cells)
    return replace(drawer, next_label=free_after(newest, taken), repeats=False)
