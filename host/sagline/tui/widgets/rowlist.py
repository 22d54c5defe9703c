# SPDX-License-Identifier: MIT
"""Lines one below the other, one of them chosen: the rows of a drawer, the runs of a log."""

from collections.abc import Sequence

from textual.widgets import OptionList
from textual.widgets.option_list import Option

CHOSEN, OTHER = "▸", " "


class RowList(OptionList):
    """Rows, each a key and the line that is shown of it. The choice stays with its key.

    The chosen one has a mark before it: without colours nothing else would tell.
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, compact=True, markup=False)
        self._rows: list[tuple[str, str]] = []
        self._marked: int | None = None

    @property
    def key(self) -> str | None:
        """The key of the row that is chosen, None where there is none."""
        number = self.highlighted
        return None if number is None or number >= len(self._rows) else self._rows[number][0]

    def show(self, rows: Sequence[tuple[str, str]], *, choose: str | None = None) -> None:
        """Show these rows. Chosen is `choose`, else the key that was, else the row in its place."""
        if rows == self._rows and choose is None:
            return
        wanted, place = choose or self.key, self.highlighted or 0
        self._rows = list(rows)
        self._marked = None
        self.set_options([Option(f"{OTHER}{line}") for _, line in rows])
        keys = [key for key, _ in rows]
        if keys:
            self.highlighted = keys.index(wanted) if wanted in keys else min(place, len(keys) - 1)

    def watch_highlighted(self, highlighted: int | None) -> None:
        """Move the mark."""
        super().watch_highlighted(highlighted)
        for number, mark in ((self._marked, OTHER), (highlighted, CHOSEN)):
            if number is not None and number < self.option_count:
                line = self._rows[number][1]
                self.replace_option_prompt_at_index(number, f"{mark}{line}")
        self._marked = highlighted
