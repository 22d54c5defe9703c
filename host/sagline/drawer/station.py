# SPDX-License-Identifier: MIT
"""A drawer at the rig: cells come and go between the clips, and each becomes a row.

`Station.run` is a generator of News: whoever drives it may stop at any item, and closing it turns
the load off. What happened is in the drawer's file, and runs in the log, before it is told.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from sagline.analysis import presence
from sagline.analysis.quickplan import REPEATS
from sagline.device.procedure import run as procedure
from sagline.device.progress import Finished, Planned
from sagline.device.settings import Settings
from sagline.drawer import acts
from sagline.drawer.beginning import references_for
from sagline.drawer.choosing import choose_row
from sagline.drawer.contact import Contact, Look
from sagline.drawer.events import Begun, Done, Missed
from sagline.drawer.figures import Figures, figures_of
from sagline.drawer.journal import Journal
from sagline.drawer.looking import Doubt, doubt_of, look
from sagline.drawer.news import (
    Answer,
    Command,
    Inbox,
    Measuring,
    News,
    Paused,
    PutIn,
    Reading,
    Rows,
    TakeOut,
    Trouble,
    Unkept,
)
from sagline.errors import BoardRefused, RigError, SaglineError, UsageError
from sagline.log.keeper import Keeper

if TYPE_CHECKING:
    from sagline.device.rig import Rig
    from sagline.drawer.state import Drawer

POLL_S = 0.1
# What a cell that is put in may be: a row of its own, without a figure.
_ROWS = ("no_voltage", "cell_reversed")
# After these the same cell is put in once more: it was not at fault, or only wants turning.
_SAME_AGAIN = {*presence.CODES, "stopped", "another_cell", "step_ended"} - {"no_voltage"}

_Steps = Generator[News, None, None]


class Station:
    """One drawer at one rig. `figures` are those of its runs so far, `references` of each
    designation's own. `idle` is called after each look where nothing is measured: a rig whose
    clock runs faster than the wall's must not be asked without end.
    """

    def __init__(
        self,
        rig: Rig,
        journal: Journal,
        inbox: Inbox,
        figures: dict[str, Figures] | None = None,
        references: dict[str, Figures] | None = None,
        *,
        idle: Callable[[], object] = lambda: None,
    ) -> None:
        self._rig = rig
        self._journal = journal
        self._inbox = inbox
        self._figures = dict(figures or {})
        self._references = dict(references or {})
        self._idle = idle
        self._contact = Contact()
        self._later: deque[Command] = deque()
        self._lifting: str | None = None
        self._look: Look | None = None
        self._asked: PutIn | None = None
        self._ended = False

    def run(self) -> _Steps:
        """Serve cells until told to end. Raises RigError, NotStored for the drawer's own file."""
        # What was left by the run before is of another cell.
        self._rig.set_null(None)
        yield self._rows()
        yield from self._put_in()
        while True:
            yield from self._obey()
            if self._ended:
                return
            self._look = look(self._rig)
            yield Reading(self._look)
            settled = self._contact.take(self._look)
            if settled is not None:
                yield from self._settled(settled)
            self._rig.wait(POLL_S)
            self._idle()

    @property
    def _drawer(self) -> Drawer:
        return self._journal.drawer

    def _rows(self, about: str = "") -> Rows:
        return Rows(self._drawer, dict(self._figures), about, dict(self._references))

    def _put_in(self) -> _Steps:
        """Ask for the next cell, each once."""
        asked = PutIn(self._drawer.next_label, self._drawer.repeats)
        if asked != self._asked:
            self._asked = asked
            yield asked

    def _settled(self, look_: Look) -> _Steps:
        if look_.is_empty:
            self._lifting = None
            yield from self._put_in()
        elif self._lifting is not None:
            # Clips come off one by one; what is still between them has its row.
            return
        elif look_.open_v is not None:
            yield from self._cell(look_.open_v)
        elif look_.code in _ROWS:
            yield from self._miss(look_.code or "", look_.reason, None)
            if look_.code == "cell_reversed":
                self._lifting = None
                yield Trouble(look_.reason, look_.remedy)
        else:
            yield Trouble(look_.reason, look_.remedy)

    def _cell(self, open_v: float) -> _Steps:
        """A cell is in: think before any load, then measure."""
        while True:
            doubt = doubt_of(self._drawer.designation, open_v)
            if doubt is None:
                break
            said = yield from self._pause(doubt)
            if said == "go":
                break
            if said != "cell":
                yield from self._miss(doubt.code, doubt.reason, open_v, again=said == "stop")
                if said == "gone":
                    self._lifting = None
                    yield from self._put_in()
                return
        trip = yield from self._measure(open_v, clear_trip=False)
        while trip is not None:
            said = yield from self._pause(Doubt("tripped", trip.message, trip.remedy, True))
            if said != "go":
                return
            trip = yield from self._measure(open_v, clear_trip=True)

    def _pause(self, doubt: Doubt) -> Generator[News, None, str]:
        """Wait for a word; return it, or "gone" where the cell was taken out."""
        yield Paused(self._drawer.next_label, doubt)
        while True:
            command = self._inbox.take()
            if command is not None:
                if command.verb == "cell":
                    try:
                        acts.designate(self._journal, command.value)
                    except UsageError as error:
                        yield Answer(error.message, error.remedy)
                        continue
                    return "cell"
                if command.verb in ("skip", "stop") or (command.verb == "go" and doubt.may_go):
                    return command.verb
                if command.verb == "end":
                    self._ended = True
                    return "stop"
                if command.verb == "go":
                    yield Answer(doubt.reason, doubt.remedy)
                else:
                    self._later.append(command)
            seen = look(self._rig)
            yield Reading(seen)
            if seen.is_empty:
                self._contact.take(seen)
                return "gone"
            self._rig.wait(POLL_S)
            self._idle()

    def _measure(
        self, open_v: float, *, clear_trip: bool
    ) -> Generator[News, None, BoardRefused | None]:
        """Make a run of the cell that is in; return the guard's trip, if it was one."""
        drawer = self._drawer
        opened, label = drawer.opened, drawer.next_label
        settings = Settings(
            load_ohm=opened.load_ohm,
            designation=drawer.designation,
            repeats=REPEATS,
            label=label,
            operator=opened.operator,
            temperature_c=opened.temperature_c,
            clear_trip=clear_trip,
            quick=True,
        )
        keeper = Keeper(Path(opened.log))
        record_id = ""
        try:
            with closing(keeper.keep(procedure(self._rig, settings))) as items:
                for item in items:
                    if isinstance(item, Planned):
                        record_id = item.record.id
                        self._journal.add(
                            Begun(
                                label=label,
                                designation=item.record.designation,
                                record_id=record_id,
                            )
                        )
                    yield Measuring(label, item)
                    if isinstance(item, Finished):
                        self._figures[record_id] = figures_of(
                            record_id, item.result, label, item.result.designation
                        )
                        break
                    if self._stop_asked():
                        break
        except RigError:
            raise
        except BoardRefused as refusal:
            yield from self._miss(refusal.code, refusal.message, open_v, again=True)
            return refusal if refusal.is_trip else None
        except SaglineError as error:
            yield from self._miss(error.code, error.message, open_v)
            return None
        if record_id not in self._figures:
            yield from self._miss("stopped", "Stopped by you; the load is off.", open_v)
            return None
        self._journal.add(Done(record_id=record_id))
        yield self._rows()
        if keeper.failure is not None:
            yield Unkept(keeper.failure.message, keeper.failure.remedy)
        self._lifting = label
        self._asked = None
        yield TakeOut(label)
        return None

    def _stop_asked(self) -> bool:
        """Whether to stop the run that goes on; other commands are kept for its end."""
        command = self._inbox.take()
        if command is None:
            return False
        if command.verb in ("stop", "end"):
            self._ended = command.verb == "end"
            return True
        self._later.append(command)
        return False

    def _miss(
        self, code: str, reason: str, open_v: float | None, *, again: bool | None = None
    ) -> _Steps:
        drawer = self._drawer
        event = Missed(
            label=drawer.next_label,
            designation=drawer.designation,
            code=code,
            reason=reason,
            open_v=open_v,
            again=code in _SAME_AGAIN if again is None else again,
        )
        known = drawer.cell(event.label)
        last = None if known is None else known.tries[-1]
        if last is None or (last.code, last.reason) != (code, reason) or not event.again:
            self._journal.add(event)
        self._lifting = event.label
        self._asked = None
        yield self._rows()
        yield TakeOut(event.label)

    def _obey(self) -> _Steps:
        while not self._ended:
            command = self._later.popleft() if self._later else self._inbox.take()
            if command is None:
                return
            try:
                yield from self._do(command)
            except SaglineError as error:
                if isinstance(error, RigError):
                    raise
                yield Answer(error.message, error.remedy)

    def _do(self, command: Command) -> _Steps:
        match command.verb:
            case "end":
                self._ended = True
                return
            case "again":
                acts.again(self._journal, command.value)
                # One that is still in is measured at once.
                self._contact.forget()
                self._lifting = None
            case "skip" if self._drawer.repeats:
                acts.pass_over(self._journal)
            case "skip":
                yield from self._miss("absent", "No cell is in this place.", None, again=False)
                self._lifting = None
            case "undo":
                said = acts.undo(self._journal)
                yield self._rows(said)
                yield Answer(said)
            case "label":
                acts.choose_label(self._journal, command.value)
            case "rename":
                acts.relabel(self._journal, acts.newest(self._journal), command.value)
                yield self._rows()
            case "cell":
                acts.designate(self._journal, command.value)
                yield self._rows()
            case "reference":
                label = command.value or acts.newest(self._journal)
                designation = choose_row(self._journal, label)
                self._references = references_for(self._journal)
                yield self._rows()
                yield Answer(f"{label} is your reference for {designation} now.")
            case _:
                yield Answer("Nothing goes on that this is about.", "Put a cell in.")
                return
        yield from self._put_in()
