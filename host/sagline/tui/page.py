# SPDX-License-Identifier: MIT
"""A page of text over the bench: notes, help."""

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
HELP = (
    "A cell is taken as an EMF E behind an internal resistance r. With nothing connected its "
    "terminals show E. With a load the current I flows and they show V, which is lower: the "
    "sag. So r = (E − V) / I, and r(0.1 s) is that one tenth of a second after the load went on.",
    "",
    "Left, the equation fills with its numbers; below it the repeats. Right, the newest one: "
    "terminal voltage against time since load on, with the levels of E and V at its edge. "
    "Figures are provisional until the last repeat is in; then ± gives the interval in which "
    "the true value lies with a probability of 95 %, as long as the rig's parts keep to their "
    "limits.",
    "",
    "s   start a measurement, or open a lost rig again and measure",
    "x   stop it; the load goes off",
    "n   notes: what must be known beside the figures, and the budget",
    "?   this page",
    "q   quit; the load goes off and the rig is closed",
    "",
    "Without the screen: sagline measure prints the same as lines, --json as JSON.",
)


class Page(Screen[None]):
    """Scrolling text; Esc, or the key that opened it, goes back."""

    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        Binding("escape,n,question_mark", "back", "back"),
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
        """Return to the bench."""
        self.dismiss()
