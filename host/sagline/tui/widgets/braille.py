# SPDX-License-Identifier: MIT
"""A picture of dots in braille characters, two dots wide and four high each. Pure."""

from collections.abc import Sequence
from itertools import pairwise

# Bits of a braille cell by dot row and column (Unicode, block U+2800, Braille Patterns).
_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
_EMPTY = 0x2800
DOTS_WIDE, DOTS_HIGH = 2, 4


class Canvas:
    """`columns` by `rows` characters of dots; dot (0, 0) is at the top left."""

    def __init__(self, columns: int, rows: int) -> None:
        self.width = columns * DOTS_WIDE
        self.height = rows * DOTS_HIGH
        self._cells = [[0] * columns for _ in range(rows)]

    def dot(self, x: int, y: int) -> None:
        """Set one dot; one outside the canvas is left out."""
        if 0 <= x < self.width and 0 <= y < self.height:
            self._cells[y // DOTS_HIGH][x // DOTS_WIDE] |= _BITS[y % DOTS_HIGH][x % DOTS_WIDE]

    def line(self, x0: int, y0: int, x1: int, y1: int) -> None:
        """Set the dots of a straight line: as many steps as its longer side has dots."""
        steps = max(abs(x1 - x0), abs(y1 - y0))
        for step in range(steps + 1):
            share = step / steps if steps else 0.0
            self.dot(round(x0 + (x1 - x0) * share), round(y0 + (y1 - y0) * share))

    def path(self, dots: Sequence[tuple[int, int]]) -> None:
        """Set the dots of lines from each point to the next."""
        if len(dots) == 1:
            self.dot(*dots[0])
        for (x0, y0), (x1, y1) in pairwise(dots):
            self.line(x0, y0, x1, y1)

    def lines(self) -> list[str]:
        """Return the rows as text, empty cells as spaces."""
        return ["".join(chr(_EMPTY + c) if c else " " for c in row) for row in self._cells]
