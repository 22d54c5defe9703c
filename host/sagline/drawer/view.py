# SPDX-License-Identifier: MIT
"""How somebody looks at a drawer: which rows, in which order, in which groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sagline.drawer.groups import Group, Tolerance, group_rows
from sagline.drawer.table import SORTS, Row, filter_rows, sort_rows
from sagline.drawer.words import group_names, row_line


@dataclass(frozen=True)
class View:
    """Rows with the words of `text`, by `sort` of SORTS, in groups where there is a tolerance."""

    sort: str = "order"
    falling: bool = False
    text: str = ""
    tolerance: Tolerance | None = None

    def chosen(self, rows: Sequence[Row]) -> list[Row]:
        """Return the rows that are shown, in their order."""
        return sort_rows(filter_rows(rows, self.text), self.sort, falling=self.falling)

    def groups(self, rows: Sequence[Row]) -> list[Group]:
        """Return the groups of the rows that are shown."""
        return [] if self.tolerance is None else group_rows(self.chosen(rows), self.tolerance)

    def lines(self, rows: Sequence[Row]) -> list[tuple[str, str]]:
        """Return label and line of each row that is shown."""
        names = group_names(self.groups(rows))
        return [(row.label, row_line(row, names)) for row in self.chosen(rows)]

    def by_next(self) -> View:
        """Return the same by the next of SORTS."""
        names = list(SORTS)
        following = dict(zip(names, [*names[1:], names[0]], strict=True))
        return replace(self, sort=following[self.sort])

    def words(self) -> str:
        """Return in words what is shown and how."""
        said = [f"sorted by {self.sort}{', falling' if self.falling else ''}"]
        if self.text:
            said.append(f"with {self.text!r}")
        if self.tolerance is not None:
            said.append(f"groups within {100 * self.tolerance.r_share:g} %")
        return "; ".join(said)
