# SPDX-License-Identifier: MIT
"""The wire itself: lengths as inputs, each with the end correction, and volts per centimetre."""

from __future__ import annotations

from collections.abc import Sequence

from sagline.analysis.hand.inputs import Inputs, Reading
from sagline.analysis.hand.reading import rows_of
from sagline.analysis.hand.sheet import Group, Sheet
from sagline.analysis.hand.typed import Typed, mean
from sagline.analysis.hand.values import Row
from sagline.analysis.values import AnalysisError
from sagline.errors import UsageError

OPEN, LOADED = "open length", "loaded length"
NULL = "width of the null"
DRIFT = "drift of the driver"


def require_on_wire(sheet: Sheet, groups: Sequence[Group]) -> None:
    """Refuse lengths that no point of the wire has. Raises AnalysisError."""
    wire = sheet.number("wire_length")
    for group in groups:
        for one in (*group.opened, *group.loaded, *group.reopened):
            if one.value <= 0.0:
                raise AnalysisError(
                    "length_not_positive",
                    f"a balance length of {one.value:g} cm is no point of the wire",
                    "measure from the end where the driver's and the cell's like poles meet",
                )
            if wire is not None and one.value > wire.value:
                raise AnalysisError(
                    "beyond_the_wire",
                    f"a balance length of {one.value:g} cm lies beyond the wire's end at "
                    f"{wire.value:g} cm",
                    "check the number; where there is no balance on the wire, give it a driver of "
                    "more volts or less series resistance",
                )


class Wire:
    """Adds lengths (cm) and the gradient (V/cm) to `inputs`.

    `gradient` takes it from them, None where neither it nor a standard cell was given. Raises
    UsageError for a standard cell of which one half is missing, or a gradient besides.
    """

    def __init__(self, sheet: Sheet, inputs: Inputs) -> None:
        self._sheet = sheet
        self._inputs = inputs
        end = sheet.signed("end_correction")
        self._end = None
        if end is not None:
            self._end = inputs.number("end", "end correction", end, None, "end_correction")
        self._null = sheet.number("null_width")
        self.gradient = self._gradient()

    def open_length(self, group: Group) -> Reading:
        """Add l1: before, or the middle of before and after with half of its change as a bound."""
        before = self._length("open", OPEN, group.opened, "open")
        if not group.reopened:
            return before
        after = self._length("reopened", OPEN, group.reopened, "open")
        change = abs(mean(group.reopened).value - mean(group.opened).value)
        drift = self._inputs.width("drift", DRIFT, change)
        return lambda x: 0.5 * (before(x) + after(x)) + drift(x)

    def loaded_length(self, group: Group, n: int) -> Reading:
        """Add l2 of group `n`."""
        return self._length(f"loaded.{n}", LOADED, group.loaded, f"loaded.{n}")

    def rows(self, group: Group, n: int) -> list[Row]:
        """The lines of the repeat table."""
        return rows_of(group, self._inputs, n, "cm")

    def _length(self, key: str, source: str, typed: Sequence[Typed], common: str) -> Reading:
        """The mean length with its end correction; where the null lay in its width is one
        more unknown of each mean."""
        inputs, known = self._inputs, self._sheet.stated("u_length")
        length = inputs.mean(key, source, mean(typed), known, "u_length", common=common)
        end, null = self._end, None
        if self._null is not None:
            null = inputs.width(f"{key}.null", NULL, self._null.value)

        def whole(x):
            found = length(x)
            if end is not None:
                found = found + end(x)
            return found if null is None else found + null(x)

        return whole

    def _gradient(self) -> Reading | None:
        sheet, inputs = self._sheet, self._inputs
        gradient = sheet.number("gradient")
        emf, length = sheet.number("standard_emf"), sheet.number("standard_length")
        if (emf is None) != (length is None):
            raise UsageError(
                "half_a_standard",
                "--standard-emf and --standard-length belong together.",
                "Give both, or neither of them.",
            )
        if gradient is not None and emf is not None:
            raise UsageError(
                "two_gradients",
                "--gradient and a standard cell both say what a centimetre is worth.",
                "Give one of them.",
            )
        if gradient is not None:
            return inputs.number("gradient", "gradient", gradient, None, "gradient")
        if emf is None or length is None:
            return None
        volts = inputs.number(
            "standard", "standard cell", emf, sheet.stated("u_volts"), "standard_emf"
        )
        centimetres = self._length("standard_length", "standard length", [length], "standard")
        return lambda x: volts(x) / centimetres(x)
