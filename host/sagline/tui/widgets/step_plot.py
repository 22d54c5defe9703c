# SPDX-License-Identifier: MIT
"""The widget that shows one step: terminal voltage against time since load on."""

from rich.segment import Segment
from textual.events import Resize
from textual.strip import Strip
from textual.widget import Widget

from sagline.tui.widgets.axes import Curve, Row, draw


class StepPlot(Widget):
    """One curve, drawn anew when it changes or the place for it does."""

    COMPONENT_CLASSES = {"step-plot--curve"}  # noqa: RUF012 - so declared by Textual

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._curve: Curve | None = None
        self._waiting = ""
        self._rows: list[Row] = []

    def show(self, curve: Curve) -> None:
        """Draw `curve` instead of what was there."""
        self._curve = curve
        self._redraw()

    def clear(self, waiting: str) -> None:
        """Draw nothing but the words `waiting`."""
        self._curve = None
        self._waiting = waiting
        self._redraw()

    def on_resize(self, _event: Resize) -> None:
        """Draw for the new size."""
        self._redraw()

    def render_line(self, y: int) -> Strip:
        """Return line `y` of the drawing."""
        # Every segment has a style: Textual's filter for NO_COLOR expects one.
        plain = self.rich_style
        if y >= len(self._rows):
            return Strip.blank(self.size.width, plain)
        row = self._rows[y]
        curve = self.get_component_rich_style("step-plot--curve")
        segments = [Segment(row.axis, plain), Segment(row.curve, curve), Segment(row.mark, plain)]
        return Strip(segments).adjust_cell_length(self.size.width, plain)

    def _redraw(self) -> None:
        width, height = self.size
        if self._curve is None:
            self._rows = [Row(self._waiting, "", "")]
        else:
            self._rows = draw(self._curve, width, height)
        self.refresh()
