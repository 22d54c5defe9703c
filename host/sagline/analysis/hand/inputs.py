# SPDX-License-Identifier: MIT
"""Readings as inputs of a measurement model: each with what it may be off by.

A mean of readings has a part that repeating does not lessen, stated by whoever read it or, for
want of that, half of the last digit either way; and where it was repeated, its scatter.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import sqrt
from typing import Any

from sagline.analysis.hand.typed import Mean, Stated, Typed
from sagline.analysis.influences import Influence

Reading = Callable[[Mapping[str, Any]], Any]
"""Takes the inputs by name and gives one of them, as numbers, arrays or uncertain numbers."""

REPEATS = "repeats of "
"""Begins the source of a scatter."""


class Inputs:
    """The list of influences while it is made; each is an error, so that its value is 0.

    `guessed` holds the options that would have stated what was taken from the last digit, each
    with the greatest half digit and what it was a digit of.
    """

    def __init__(self) -> None:
        self.influences: list[Influence] = []
        self.guessed: dict[str, tuple[float, str]] = {}

    def mean(
        self, key: str, source: str, mean: Mean, known: Stated | None, option: str,
        *, common: str | None = None, scatter: bool = True,
    ) -> Reading:  # fmt: skip
        """Add the mean of readings; return what takes it from the inputs.

        Means with the same `common` key share the part that repeating does not lessen; one key
        is one mean. Without `scatter` that of its readings is left out, for it is counted in a
        scatter of the whole.
        """
        shared = f"{common or key}.common"
        if shared not in self._names:
            self._add_common(shared, source, mean.value, mean.half_digit, known, option)
        if not (mean.scatter_u and scatter):
            return lambda x: mean.value + x[shared]
        name = f"{key}.scatter"
        if name not in self._names:
            self.influences.append(
                Influence(name, REPEATS + source, 0.0, mean.scatter_u, "t", mean.dof)
            )
        return lambda x: mean.value + x[shared] + x[name]

    def number(
        self, key: str, source: str, one: Typed, known: Stated | None, option: str
    ) -> Reading:
        """Add a single number; one key is one input."""
        if key not in self._names:
            self._add_common(key, source, one.value, one.half_digit, known, option)
        return lambda x: one.value + x[key]

    def width(self, key: str, source: str, width: float) -> Reading:
        """Add an error of at most half of `width` either way, alike likely everywhere."""
        self.influences.append(Influence(key, source, 0.0, 0.5 * width, "rectangular"))
        return lambda x: x[key]

    @property
    def no_errors(self) -> dict[str, float]:
        """The inputs with every error 0."""
        return dict.fromkeys(self._names, 0.0)

    def u_of(self, name: str) -> float:
        """The standard uncertainty of one input, 0 where there is none of the name."""
        return sqrt(sum(item.u**2 for item in self.influences if item.name == name))

    @property
    def _names(self) -> set[str]:
        return {item.name for item in self.influences}

    def _add_common(
        self, name: str, source: str, value: float, half_digit: float, known: Stated | None,
        option: str,
    ) -> None:  # fmt: skip
        if known is not None:
            self.influences.append(Influence(name, source, 0.0, known.of(value), "normal"))
            return
        before, _ = self.guessed.get(option, (0.0, source))
        self.guessed[option] = (max(before, half_digit), source)
        self.influences.append(Influence(name, source, 0.0, half_digit, "rectangular"))
