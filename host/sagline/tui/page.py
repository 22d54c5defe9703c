# SPDX-License-Identifier: MIT
"""A page of text over a room: notes, help."""

from collections.abc import Sequence

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.events import Resize
from textual.screen import Screen
from textual.widgets import Static

from sagline.wording import wrapped

BACK = "Esc back   ↑ ↓ scroll   q quit"


class Page(Screen[None]):
    """Scrolling text; Esc, or the key that opened it, goes back."""

    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        Binding("escape,n,question_mark,f1", "back", "back"),
    ]

    def __init__(self, title: str, lines: Sequence[str]) -> None:
        super().__init__()
        self._heading = title
        self._lines = lines

    def compose(self) -> ComposeResult:
        yield Static(self._heading, id="heading", markup=False)
        with VerticalScroll(id="text"):
            yield Static(id="lines", markup=False)
        yield Static(BACK, id="keys", markup=False)

    def on_mount(self) -> None:
        """Let the arrow keys scroll."""
        self.query_one("#text").focus()

    @on(Resize)
    def _wrap(self) -> None:
        """Break the lines anew where the place for them has changed."""
        width = self.query_one("#text").scrollable_content_region.width
        lines = wrapped(self._lines, width)
        self.query_one("#lines", Static).update("\n".join(lines))

    def action_back(self) -> None:
        """Return to the room."""
        self.dismiss()
