# SPDX-License-Identifier: MIT
"""Does r(t) rise as a passive cell's must? And what is done where it does not.

A voltage that recovers under load, a contact that improves, a load that heats: r(t) then
falls for a while, and a non-negative spectrum cannot follow. The test compares it with a fit
free to go either way; the fallback asks nothing of the shape but that it is smooth in ln t.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sagline.analysis.rows import Rows
from sagline.analysis.values import BoolArray, FloatArray

SIGMAS = 5.0
FREE_TAUS_PER_DECADE = 2.5
CHECKS = 12

SPAN = 2.0
"""The fallback reads r(t) from t/2 to 2 t."""

WIDE_SPAN = 3.5
"""What it finds from t/3.5 to 3.5 t differs by about as much as a quadratic fails to follow."""


@dataclass(frozen=True)
class LocalQuadratic:
    """1, x and x squared of x = ln(t/t0): a curve about one time."""

    t0_s: float

    def at(self, t_s: FloatArray) -> FloatArray:
        x = np.log(t_s / self.t0_s)
        return np.column_stack([np.ones_like(x), x, x * x])

    def over(self, start_s: FloatArray, length_s: FloatArray) -> FloatArray:
        """At the middle: windows are short beside the time here."""
        return self.at(np.maximum(start_s + 0.5 * length_s, 1e-9))


def around(rows: Rows, t0_s: float, first_s: float, span: float) -> BoolArray:
    """Which rows the fallback at `t0_s` reads: the rest, and the loaded ones near it."""
    from_s, to_s = t0_s / span, t0_s * span
    if from_s < first_s:
        # At the beginning there is nothing before: as wide, but all of it after.
        from_s, to_s = 0.0, t0_s * span * span
    near = (rows.middle_s >= from_s) & (rows.middle_s <= to_s)
    return ~rows.loaded | near


def free_taus(first_s: float, on_s: float) -> FloatArray:
    """Time constants of the fit without constraint: few, that it may not run wild."""
    count = int(FREE_TAUS_PER_DECADE * np.log10(on_s / first_s)) + 1
    return np.geomspace(first_s, on_s, max(2, count))


def check_times(first_s: float, on_s: float) -> FloatArray:
    """Instants at which the two fits are compared, not at the very ends."""
    return np.geomspace(2.0 * first_s, 0.8 * on_s, CHECKS)
