# SPDX-License-Identifier: MIT
"""A run given as an exercise: its figures are kept back until the student has given theirs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sagline.errors import UsageError

if TYPE_CHECKING:
    from sagline.results import Result

KEPT_BACK = "Kept back until you have given your own: press a."


class Lesson:
    """`owed` is the result that an answer is owed to, None where none is."""

    def __init__(self) -> None:
        self.owed: Result | None = None

    def take(self, result: Result) -> list[str] | None:
        """Keep a result back; return what is given and asked for, None where it is no exercise."""
        from sagline.teaching import Exercise

        try:
            lines = Exercise.of(result).lines()
        except UsageError:
            return None
        self.owed = result
        return lines

    @property
    def asks_for_emf(self) -> bool:
        """Whether E of a V-I line is asked for too."""
        return self.owed is not None and self.owed.line is not None

    def answer(self, r_text: str, emf_text: str = "") -> tuple[Result, list[str]]:
        """Return the result, owed no more, and the comparison. Raises UsageError for no number."""
        from sagline.analysis.hand.typed import typed
        from sagline.teaching import compare

        if self.owed is None:
            raise UsageError("nothing_owed", "There is no exercise now.", "Measure a cell first.")
        r_ohm = typed("Your r", r_text)
        line_emf_v = typed("Your E", emf_text) if self.asks_for_emf else None
        found = compare(self.owed, r_ohm, line_emf_v)
        result, self.owed = self.owed, None
        return result, [line for one in found for line in one.lines()]
