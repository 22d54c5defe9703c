# SPDX-License-Identifier: MIT
"""Logbook: the runs that were kept, found again and put in order."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.widgets import OptionList, Static

from sagline.errors import SaglineError
from sagline.tui import helps
from sagline.tui.clerk import Clerk
from sagline.tui.page import Page
from sagline.tui.room import Room
from sagline.tui.widgets.rowlist import RowList
from sagline.wording import counted

if TYPE_CHECKING:
    from sagline.log.reading import Listed

READING, SHOWN, REFUSED = "reading", "listed", "refused"
NO_RUNS = "No run is as you ask."


class Logbook(Room):
    """The room of a log: `path`, or the usual one of simulated or real runs."""

    NAME = "Logbook"
    HELP_LINES = helps.LOGBOOK
    KEYS = (
        ("show", "Enter", "show"), ("search", "/", "search"), ("other", "m", "other log"),
    )  # fmt: skip

    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        Binding("slash", "search", "search"),
        Binding("m", "other", "other log"),
        Binding("enter", "show", "show"),
    ]

    def __init__(self, clerk: Clerk, *, demo: bool) -> None:
        super().__init__()
        self.state = READING
        self._clerk = clerk
        self._demo = demo
        self._text = ""
        self._path: Path | None = None

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
        self.read()

    def focus_again(self) -> None:
        """Let the arrow keys choose a run."""
        self.query_one(RowList).focus()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether `action` does anything now; its key is shown only then."""
        if action == "show":
            return self.query_one(RowList).key is not None
        return super().check_action(action, parameters)

    def read(self) -> None:
        """List the runs that are asked for."""
        self.show_state(READING)
        self._clerk.do(partial(_list, self._demo, self._text), self._listed, self._refused)

    def action_search(self) -> None:
        """Ask for words; runs that have all of them stay."""
        self.ask("Words in label, cell, rig, operator or id (none: all)", self._text, self._search)

    def action_other(self) -> None:
        """Go to the log of simulated runs, or back to that of real ones."""
        self._demo = not self._demo
        self.read()

    def action_show(self) -> None:
        """Show the run that is chosen."""
        record_id = self.query_one(RowList).key
        if record_id is not None and self._path is not None:
            self._clerk.do(partial(_tell, self._path, record_id), self._told, self._refused)

    @on(OptionList.OptionSelected)
    def _chosen(self) -> None:
        self.action_show()

    def _search(self, text: str) -> None:
        self._text = text.strip()
        self.read()

    def _listed(self, found: Listed) -> None:
        from sagline.log.runwords import HEADING, run_line

        self._path = found.path
        kind = "Log of simulated runs" if self._demo else "Log"
        self.say("#where", f"{kind}  {found.path}")
        self.say("#heading-line", HEADING if found.rows else NO_RUNS)
        self.query_one(RowList).show([(row.id, run_line(row)) for row in found.rows])
        shown = len(found.rows)
        some = counted(shown, "run") if shown == found.count else f"{shown} of {found.count} runs"
        self.show_state(SHOWN, f"{some} with {self._text!r}" if self._text else some)
        self.say("#words", "")
        if not self.is_asking:
            self.focus_again()

    def _told(self, lines: list[str]) -> None:
        self.app.push_screen(Page("Run", lines))

    def _refused(self, error: SaglineError) -> None:
        self.show_state(REFUSED)
        self.show_words(error.message, error.remedy)


# What the clerk does: imported there, and not before the first screen is painted.


def _list(demo: bool, text: str) -> Listed:
    from sagline.log.choice import usual_log
    from sagline.log.reading import listed

    return listed(usual_log(demo=demo), text)


def _tell(path: Path, record_id: str) -> list[str]:
    from sagline.log.reading import told

    return told(path, record_id)
