# SPDX-License-Identifier: MIT
"""What a foreign record reads at the cell's terminals, for the working: means without any fit."""

from __future__ import annotations

import numpy as np

from sagline.analysis.foreign.steps import steps_of
from sagline.analysis.foreign.table import ForeignTable
from sagline.analysis.step import FEWEST_FOR_SLOPE, WINDOW_RATIO, fit_line
from sagline.analysis.terminal import Terminal


def terminal(table: ForeignTable, t_s: float) -> Terminal | None:
    """Means over the steps; None where there is no rest, or no reading near the time (s).

    Raises those of `steps.steps_of`.
    """
    found = steps_of(table)
    if found.at_release:
        return None
    levels = []
    for step in found.steps:
        rest = step.rows.of(~step.rows.loaded)
        at_s, v = step.rows.middle_s, step.rows.v
        near = (at_s >= t_s / WINDOW_RATIO) & (at_s <= t_s * WINDOW_RATIO)
        if not near.any():
            return None
        open_v = fit_line(rest.middle_s, rest.v, np.ones_like(rest.v)).level
        loaded_v = float(v[near].mean())
        if near.sum() >= FEWEST_FOR_SLOPE:
            loaded_v = fit_line(np.log(at_s[near] / t_s), v[near], np.ones(int(near.sum()))).level
        levels.append((open_v, loaded_v))
    open_v, loaded_v = np.mean(levels, axis=0)
    return Terminal(float(open_v), float(loaded_v), len(levels))
