# SPDX-License-Identifier: MIT
"""The keys of the Drawer: what can be asked for, when, and what becomes of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from textual.binding import Binding

from sagline.errors import UsageError
from sagline.tui import helps
from sagline.tui.clerk import Clerk
from sagline.tui.driver import Driver
from sagline.tui.page import Page
from sagline.tui.room import Room
from sagline.tui.widgets.rowlist import RowList

if TYPE_CHECKING:
    from sagline.drawer.beginning import Ask
    from sagline.drawer.news import Inbox
    from sagline.drawer.table import Row
    from sagline.drawer.view import View

CLOSED, BEGINNING, WAITING, MEASURING, PAUSED, TAKE_OUT = (
    "closed", "beginning", "waiting", "measuring", "paused", "take out",
)  # fmt: skip


class DrawerKeys(Room):
    """The keys of the room of a drawer.

    `refusal` says why the rig cannot be had now, "" where it can.
    """

    NAME = "Drawer"
    HELP_LINES = helps.DRAWER
    KEYS = (
        ("begin", "b", "begin"), ("resume", "r", "go on with one"),
        ("tell('go')", "Space", "measure it"), ("tell('skip')", "k", "skip"),
        ("tell('stop')", "x", "stop"), ("tell('again')", "a", "again"),
        ("tell('undo')", "u", "undo"), ("next_label", "l", "label"), ("rename", "n", "rename"),
        ("designate", "c", "cell"), ("reference", "f", "reference"), ("tell('end')", "e", "end"),
        ("filter", "/", "filter"), ("order", "o", "order"), ("turn", "v", "turn round"),
        ("tolerance", "t", "tolerance"), ("groups", "g", "groups"), ("ring", "m", "bell"),
    )  # fmt: skip

    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        *(
            Binding({"Space": "space", "/": "slash"}.get(key, key), action, word)
            for action, key, word in KEYS
        ),
    ]

    def __init__(self, driver: Driver, clerk: Clerk, refusal: Callable[[], str]) -> None:
        super().__init__()
        self.state = CLOSED
        self._driver = driver
        self._clerk = clerk
        self._refusal = refusal
        self._inbox: Inbox | None = None
        self._drawer_name = ""
        self._rows: list[Row] = []
        self._drawer_words = ""
        self._view: View | None = None
        self._rings = False
        self._may_go = False
        self._designation = ""
        self._saying: tuple[str, ...] = ()

    @property
    def has_rig(self) -> bool:
        """Whether the drawer has the rig, or has asked for it."""
        return self._inbox is not None

    @property
    def is_measuring(self) -> bool:
        """Whether a cell is being measured."""
        return self.state == MEASURING

    @property
    def busy_words(self) -> str:
        """What other rooms say of this one while it has the rig."""
        return "Drawer has the rig" if self.has_rig else ""

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether `action` does anything now; its key is shown only then."""
        verb = str(parameters[0]) if parameters else ""
        if action.startswith("tell("):
            action, verb = "tell", action[len("tell('") : -len("')")]
        match action:
            case "begin" | "resume":
                return not self.has_rig
            case "tell" if verb == "go":
                return self.state == PAUSED and self._may_go
            case "tell" if verb == "stop":
                return self.state == MEASURING
            case "tell" if verb in ("skip", "end"):
                return self.has_rig and self.state != MEASURING
            case "next_label" | "designate" | "tell" | "rename" | "reference":
                return self.has_rig and self.state != MEASURING
            case "groups":
                return self._view is not None and self._view.tolerance is not None
            case "filter" | "order" | "turn" | "tolerance":
                return bool(self._rows)
        return super().check_action(action, parameters)

    # -- keys --------------------------------------------------------------

    def action_begin(self) -> None:
        """Ask what is wanted, and begin a drawer."""
        if not self._is_refused():
            self.ask("Printed on the cells, e.g. LR6 (empty: not known)", "", self._designated)

    def action_resume(self) -> None:
        """Ask which drawer to go on with."""
        if not self._is_refused():
            self.ask("Go on with the drawer", self._drawer_name, self._resume)

    def action_tell(self, verb: str) -> None:
        """Tell the drawer a word."""
        self._tell(verb)

    def action_next_label(self) -> None:
        """Ask for the next cell's label."""
        self.ask("The next cell's label", "", lambda text: self._tell("label", text))

    def action_rename(self) -> None:
        """Ask what the last cell is to be called."""
        self.ask("Call the last cell", "", lambda text: self._tell("rename", text))

    def action_designate(self) -> None:
        """Ask what the cells are."""
        self.ask("Printed on the cells (empty: not known)", "", lambda t: self._tell("cell", t))

    def action_reference(self) -> None:
        """Make the chosen row's cell the reference."""
        label = self.query_one(RowList).key
        if label is not None:
            self._tell("reference", label)

    def action_filter(self) -> None:
        """Ask for words; rows that have all of them stay."""
        if self._view is not None:
            self.ask("Rows with these words (empty: all)", self._view.text, self._filter)

    def action_order(self) -> None:
        """Sort by the next column."""
        if self._view is not None:
            self._look(self._view.by_next())

    def action_turn(self) -> None:
        """Show the largest first, or the smallest."""
        if self._view is not None:
            self._look(replace(self._view, falling=not self._view.falling))

    def action_tolerance(self) -> None:
        """Ask within which tolerance r groups."""
        self.ask("Groups whose r lie within, in % (empty: none)", "", self._tolerate)

    def action_groups(self) -> None:
        """Show the groups on a page of their own."""
        from sagline.drawer.words import group_lines

        view = self._view
        if view is not None and view.tolerance is not None:
            groups = view.groups(self._rows)
            self.app.push_screen(Page("Groups", group_lines(groups, view.tolerance)))

    def action_ring(self) -> None:
        """Ring from now on when a cell may be taken out, or do not."""
        self._rings = not self._rings
        self._answer("The bell rings when a cell may be taken out." if self._rings else "No bell.")

    # -- what was asked for --------------------------------------------------

    def _is_refused(self) -> bool:
        why = self._refusal()
        if why:
            self._answer(f"{why}: it has the rig.", "Wait for its end, or stop it there (1, x).")
        return bool(why)

    def _designated(self, text: str) -> None:
        self._designation = text.strip()
        self.ask("The first cell's label", "1", self._begin)

    def _begin(self, label: str) -> None:
        from sagline.drawer.beginning import Ask

        self._start(Ask(designation=self._designation or None, first_label=label.strip() or "1"))

    def _resume(self, name: str) -> None:
        from sagline.drawer.beginning import Ask

        self._start(Ask(resume=name.strip()))

    def _start(self, ask: Ask) -> None:
        from sagline.drawer.news import Inbox

        if self._is_refused() or self.has_rig:
            return
        self._inbox = Inbox()
        self.show_state(BEGINNING)
        self._answer("")
        self._driver.serve_drawer(ask, self._inbox)

    def _tell(self, verb: str, value: str = "") -> None:
        if self._inbox is not None:
            self._answer("")
            self._inbox.put(verb, value.strip())

    def _filter(self, text: str) -> None:
        if self._view is not None:
            self._look(replace(self._view, text=text.strip()))

    def _tolerate(self, text: str) -> None:
        from sagline.drawer.groups import Tolerance, share_of

        try:
            share = share_of(text)
        except UsageError as error:
            self._answer(error.message, error.remedy)
            return
        if self._view is not None:
            tolerance = None if share is None else Tolerance(share)
            self._look(replace(self._view, tolerance=tolerance))

    def _look(self, view: View) -> None:
        self._view = view
        self._show_rows()
        self.show_keys()

    # -- what the room does with it ------------------------------------------

    def _show_rows(self, choose: str | None = None) -> None:
        """Show the rows as they are looked at now; `choose` a label."""
        raise NotImplementedError

    def _answer(self, *lines: str) -> None:
        """Say these lines below the rows."""
        raise NotImplementedError
