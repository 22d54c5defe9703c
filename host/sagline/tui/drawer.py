# SPDX-License-Identifier: MIT
"""Drawer: many cells one after the other, each a row of a table that grows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import OptionList, Static

from sagline.device.progress import describe
from sagline.errors import SaglineError
from sagline.tui import messages
from sagline.tui.drawerkeys import CLOSED, MEASURING, PAUSED, TAKE_OUT, WAITING, DrawerKeys
from sagline.tui.widgets.rowlist import RowList
from sagline.wording import shown, volts

if TYPE_CHECKING:
    from sagline.drawer.contact import Look
    from sagline.drawer.news import News, Paused, Rows

NO_DRAWER = "There is no drawer yet: b begins one."


class DrawerRoom(DrawerKeys):
    """The room of a drawer: what is asked of the hands, the rows, and what there is to say."""

    def contents(self) -> ComposeResult:
        """Yield what the room shows."""
        with Horizontal(id="now"):
            yield Static("", id="prompt", markup=False)
            yield Static("", id="reading", markup=False)
        yield Static("", id="where", markup=False)
        yield Static("", id="view", markup=False)
        yield Static("", id="heading-line", markup=False)
        yield RowList(id="list")
        yield Static("", id="words", markup=False)

    def on_mount(self) -> None:
        """Say what can be done."""
        self.show_state(CLOSED)

    def on_screen_resume(self) -> None:
        """Show the drawer that was used last, where none is at the rig."""
        self.focus_again()
        if not self.has_rig:
            self._clerk.do(_newest, self._found, self._refused)

    def focus_again(self) -> None:
        """Let the arrow keys choose a row."""
        self.query_one(RowList).focus()

    # -- what is told --------------------------------------------------------

    def _found(self, found: tuple[str, Rows] | None) -> None:
        if self.has_rig:
            return
        if found is None:
            self.say("#prompt", NO_DRAWER)
            return
        self._drawer_name, rows = found
        self.say(
            "#prompt", f"No drawer is at the rig. r goes on with {self._drawer_name}, b begins one."
        )
        self._take(rows)
        self.show_keys()

    def _say_closed(self) -> None:
        more = f"r goes on with {self._drawer_name}, " if self._drawer_name else ""
        self.say("#prompt", f"No drawer is at the rig: {more}b begins one.")

    def _refused(self, error: SaglineError) -> None:
        self._answer(error.message, error.remedy)

    @on(messages.DrawerBegun)
    def _begun(self, message: messages.DrawerBegun) -> None:
        self._drawer_name = message.name
        self.show_state(WAITING)

    @on(messages.DrawerEnded)
    def _ended(self, message: messages.DrawerEnded) -> None:
        self._inbox = None
        self.show_state(CLOSED)
        self.say("#reading", "")
        self.say(
            "#prompt", f"No drawer is at the rig. r goes on with {self._drawer_name}, b begins one."
        )
        if message.text:
            self._answer(message.text, message.remedy)

    @on(messages.DrawerNews)
    def _news(self, message: messages.DrawerNews) -> None:
        if self.has_rig:
            self._tell_of(message.item)

    def _tell_of(self, item: News) -> None:
        from sagline.drawer import news, words

        match item:
            case news.Rows():
                self._take(item)
            case news.PutIn(label, again):
                self.show_state(WAITING)
                self.say("#prompt", words.put_in_words(label, again=again))
            case news.Reading(look):
                self.say("#reading", _look_words(look))
            case news.Paused():
                self._paused(item)
            case news.Measuring(label, progress):
                if self.state != MEASURING:
                    self._answer("")
                self.show_state(MEASURING, shown(label))
                self.say("#prompt", f"{shown(label)}: {describe(progress)}")
                self.say("#reading", "")
            case news.TakeOut(label):
                self.show_state(TAKE_OUT)
                self.say("#prompt", f"Take {shown(label)} out.")
                if self._rings:
                    self.app.bell()
            case news.Trouble(reason, remedy) | news.Answer(reason, remedy):
                self._answer(reason, remedy)
            case news.Unkept(text, remedy):
                self._answer(text, remedy)

    def _paused(self, item: Paused) -> None:
        doubt = item.doubt
        self._may_go = doubt.may_go
        self.show_state(PAUSED, "no load yet")
        self.say("#prompt", f"{shown(item.label)} is not loaded yet.")
        go = "Space measures it all the same, " if doubt.may_go else ""
        self._answer(doubt.reason, doubt.remedy, f"{go}k leaves it out, c says what it is.")

    def _take(self, item: Rows) -> None:
        from sagline.drawer.table import rows_of
        from sagline.drawer.view import View

        self._view = self._view or View()
        drawer = item.drawer
        grown = len(drawer.cells) > len(self._rows)
        self._rows = rows_of(drawer, item.figures, item.references)
        simulated = ", simulated" if drawer.opened.simulated else ""
        self._drawer_words = (
            f"Drawer {self._drawer_name}{simulated}  cells: {drawer.designation or 'not known'}"
        )
        self._show_rows(drawer.cells[-1].label if grown else None)

    def _show_rows(self, choose: str | None = None) -> None:
        from sagline.drawer.words import HEADING, NO_ROWS

        if self._view is not None:
            lines = self._view.lines(self._rows)
            self.say("#where", self._drawer_words)
            self.say("#view", f"Rows {self._view.words()}")
            self.say("#heading-line", HEADING if lines else NO_ROWS)
            self.query_one(RowList).show(lines, choose=choose)
            self._show_details()

    def _answer(self, *lines: str) -> None:
        self._saying = tuple(line for line in lines if line)
        self._show_details()

    @on(OptionList.OptionHighlighted)
    def _show_details(self) -> None:
        """Say what there is to say, then what there is of the chosen row."""
        from sagline.drawer.words import row_details

        label = self.query_one(RowList).key
        details = (row_details(row) for row in self._rows if row.label == label)
        self.show_words(*self._saying, *next(details, []))


def _look_words(look: Look) -> str:
    from sagline.drawer.table import state_words

    return volts(look.open_v) if look.open_v is not None else state_words(look.code or "")


def _newest() -> tuple[str, Rows] | None:
    # Imported by the clerk, and not before the first screen is painted.
    from sagline.drawer.reading import newest

    return newest()
