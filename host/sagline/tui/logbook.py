# SPDX-License-Identifier: MIT
"""Logbook: the runs that were kept, found again and put in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.widgets import OptionList, Static

from sagline.errors import SaglineError
from sagline.ids import short_id
from sagline.tui import desk, helps
from sagline.tui.clerk import Clerk
from sagline.tui.page import Page
from sagline.tui.room import Room
from sagline.tui.widgets.rowlist import RowList
from sagline.wording import counted, shown

if TYPE_CHECKING:
    from sagline.log.acts import Done
    from sagline.log.listing import Row
    from sagline.log.reading import Listed

READING, WORKING, SHOWN, REFUSED = "reading", "working", "listed", "refused"
NO_RUNS = "No run is as you ask."


class Logbook(Room):
    """The room of a log: the usual one of simulated runs (`demo`) or of real ones."""

    NAME = "Logbook"
    HELP_LINES = helps.LOGBOOK
    KEYS = (
        ("show", "Enter", "show"), ("search", "/", "search"), ("history", "o", "over time"),
        ("label", "l", "label"), ("note", "n", "note"), ("compute", "c", "compute again"),
        ("export", "e", "export"), ("export_all", "w", "export all"), ("delete", "d", "delete"),
        ("restore", "d", "restore"), ("undo", "u", "undo"), ("deleted", "b", "deleted ones"),
        ("listed", "b", "back"), ("other", "m", "other log"),
    )  # fmt: skip

    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        *(
            Binding({"Enter": "enter", "/": "slash"}.get(key, key), action, word)
            for action, key, word in KEYS
        ),
    ]

    def __init__(self, clerk: Clerk, *, demo: bool) -> None:
        super().__init__()
        self.state = READING
        self._clerk = clerk
        self._demo = demo
        self._text = ""
        self._shows_deleted = False
        self._path: Path | None = None
        self._rows: dict[str, Row] = {}
        # What can be taken back, the newest last, each with the log that it was done in.
        self._done: list[tuple[Path, Done]] = []
        self._saying: tuple[str, ...] = ()

    def contents(self) -> ComposeResult:
        """Yield what the room shows."""
        yield Static("", id="where", markup=False)
        yield Static("", id="heading-line", markup=False)
        yield RowList(id="list")
        yield Static("", id="words", markup=False)

    def on_mount(self) -> None:
        """Say what is coming."""
        self.show_state(READING)

    def on_screen_resume(self) -> None:
        """Read anew: something may have been measured meanwhile."""
        self._saying = ()
        self.read()

    def focus_again(self) -> None:
        """Let the arrow keys choose a run."""
        self.query_one(RowList).focus()

    @property
    def chosen(self) -> str | None:
        """The id of the run that is chosen."""
        return self.query_one(RowList).key

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether `action` does anything now; its key is shown only then."""
        match action:
            case "show" | "history" | "label" | "note" | "export":
                return self.chosen is not None
            case "compute" | "delete":
                return self.chosen is not None and not self._shows_deleted
            case "restore":
                return self.chosen is not None and self._shows_deleted
            case "export_all":
                return len(self._rows) > 1
            case "undo":
                return bool(self._done)
            case "deleted":
                return not self._shows_deleted
            case "listed":
                return self._shows_deleted
        return super().check_action(action, parameters)

    def read(self) -> None:
        """List the runs that are asked for."""
        self.show_state(READING)
        work = partial(desk.listed, self._demo, self._text, self._shows_deleted)
        self._clerk.do(work, self._listed, self._refused)

    # -- keys --------------------------------------------------------------

    def action_search(self) -> None:
        """Ask for words; runs that have all of them stay."""
        question = "Words in label, cell, rig, operator, note or id (none: all)"
        self.ask(question, self._text, self._search)

    def action_other(self) -> None:
        """Go to the log of simulated runs, or back to that of real ones."""
        self._demo = not self._demo
        self.read()

    def action_deleted(self) -> None:
        """List the deleted runs."""
        self._shows_deleted = True
        self.read()

    def action_listed(self) -> None:
        """Go back to the runs that are not deleted."""
        self._shows_deleted = False
        self.read()

    def action_show(self) -> None:
        """Show the run that is chosen."""
        self._do(desk.told, partial(self._page, "Run"))

    def action_history(self) -> None:
        """Show every run of the chosen one's label."""
        self._do(desk.over_time, partial(self._page, "Over time"))

    def action_label(self) -> None:
        """Ask for another label."""
        row = self._rows.get(self.chosen or "")
        if row is not None:
            act = partial(self._change, row.id, "label")
            self.ask(f"Label of {short_id(row.id)} (empty: none)", row.label or "", act)

    def action_note(self) -> None:
        """Ask for a note."""
        row = self._rows.get(self.chosen or "")
        if row is not None:
            act = partial(self._change, row.id, "note")
            self.ask(f"Note to {short_id(row.id)} (empty: none)", row.note or "", act)

    def action_compute(self) -> None:
        """Compute the chosen run again; its results stay."""
        self.show_state(WORKING, "computing")
        self._do(desk.computed, self._answered_with)

    def action_export(self) -> None:
        """Ask for a file to write the chosen run to."""
        record_id = self.chosen
        if record_id is not None:
            name = f"sagline-{short_id(record_id)}.csv"
            self.ask("Write to (.csv or .json)", name, partial(self._export, [record_id]))

    def action_export_all(self) -> None:
        """Ask for a file to write all the runs to that are listed."""
        self.ask("Write to (.csv or .json)", "sagline-runs.csv",
                 partial(self._export, list(self._rows)))  # fmt: skip

    def action_delete(self) -> None:
        """Take the chosen run out of the lists."""
        self._do(desk.deleted, self._changed)

    def action_restore(self) -> None:
        """Bring the chosen run back."""
        self._do(desk.restored, self._changed)

    def action_undo(self) -> None:
        """Take back what was done last in this room."""
        if self._done:
            path, done = self._done.pop()
            self._clerk.do(partial(desk.taken_back, path, done), self._answered_with, self._refused)

    @on(OptionList.OptionSelected)
    def _selected(self) -> None:
        self.action_show()

    # -- what was asked for --------------------------------------------------

    def _do(self, work: Callable[[Path, str], Any], then: Callable[[Any], object]) -> None:
        """Let the clerk do something with the chosen run."""
        record_id = self.chosen
        if record_id is not None and self._path is not None:
            self._clerk.do(partial(work, self._path, record_id), then, self._refused)

    def _search(self, text: str) -> None:
        self._text = text.strip()
        self.read()

    def _change(self, record_id: str, what: str, text: str) -> None:
        if self._path is not None:
            work = partial(desk.changed, self._path, record_id, what, text)
            self._clerk.do(work, self._changed, self._refused)

    def _export(self, record_ids: Sequence[str], name: str) -> None:
        if self._path is not None:
            work = partial(desk.exported, self._path, record_ids, name)
            self._clerk.do(work, self._answered_with, self._refused)

    # -- what came of it -------------------------------------------------------

    def _listed(self, found: Listed) -> None:
        from sagline.log.runwords import HEADING, run_line

        self._path = found.path
        self._rows = {row.id: row for row in found.rows}
        kind = "Log of simulated runs" if self._demo else "Log"
        self.say("#where", f"{kind}{', deleted ones' if self._shows_deleted else ''}  {found.path}")
        self.say("#heading-line", HEADING if found.rows else NO_RUNS)
        self.query_one(RowList).show([(row.id, run_line(row)) for row in found.rows])
        number = len(found.rows)
        some = counted(number, "run") if number == found.count else f"{number} of {found.count}"
        self.show_state(SHOWN, f"{some} with {self._text!r}" if self._text else some)
        self._show_details()
        if not self.is_asking:
            self.focus_again()

    def _page(self, title: str, lines: list[str]) -> None:
        self.app.push_screen(Page(title, lines))

    def _changed(self, done: Done) -> None:
        if done.back and self._path is not None:
            self._done.append((self._path, done))
        self._answered_with(done.words)

    def _answered_with(self, words: str) -> None:
        self._saying = (words,)
        self.read()

    def _refused(self, error: SaglineError) -> None:
        self._saying = (error.message, error.remedy)
        self.show_state(REFUSED)
        self._show_details()

    @on(OptionList.OptionHighlighted)
    def _show_details(self) -> None:
        """Say what came of what was asked for, then what is noted of the chosen run."""
        row = self._rows.get(self.chosen or "")
        note = "" if row is None or row.note is None else f"Note: {shown(row.note)}"
        by = "" if row is None or row.operator is None else f"Measured by {shown(row.operator)}"
        self.show_words(*self._saying, note, by)
