# SPDX-License-Identifier: MIT
"""What a ramp truly did, but for a few numbers: a straight line of the ADS1115's codes, or the
discharge of a capacitor that gives a part of its charge late, B + A·exp(−t/τ) + Σ D_k·exp(−t/τ_k).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sagline.analysis.calibrating.ramp import Windows
from sagline.analysis.values import BoolArray, FloatArray

LATE = (3.0, 12.0)
"""τ over τ_k. What comes late comes over decades of time, so that two of them do."""
LATE_LSB = 50.0
"""S.d. of a D_k: 2 % of a whole ramp. Electrolytics absorb some per cent (from memory)."""


@dataclass(frozen=True, eq=False)
class Course:
    """What the ramp did: `columns` (windows, p) by its time constants' logarithms, times p numbers.

    `known` has for each number one over its s.d. before anything was read, 0 for no idea.
    """

    columns: Callable[[FloatArray], FloatArray]
    known: FloatArray

    def rows(self, misfit: FloatArray) -> FloatArray:
        """Residuals with what is known of the numbers as further ones; columns likewise.

        Columns beyond the p are others that nothing is known of.
        """
        if misfit.ndim == 1:
            return np.concatenate([misfit, np.zeros(self.known.size)])
        more = np.zeros((self.known.size, misfit.shape[1]))
        more[:, : self.known.size] = np.diag(self.known)
        return np.concatenate([misfit, more])


def line(windows: Windows) -> Course:
    fixed = np.column_stack([np.ones_like(windows.fine), windows.fine])
    return Course(lambda shape: fixed, np.zeros(2))


def discharge(windows: Windows) -> Course:
    """Columns by the logarithm of τ of each range: B of a range, A and D_k of a ramp."""
    ranges = [high for high in (False, True) if (windows.high == high).any()]
    owns: list[tuple[int, BoolArray]] = []
    known: list[float] = []
    for at, high in enumerate(ranges):
        within = windows.high == high
        owns.append((at, within))
        known.append(0.0)
        for ramp in np.unique(windows.ramp[within]):
            owns.append((at, within & (windows.ramp == ramp)))
            known += [0.0, *(1.0 for _ in LATE)]

    def columns(shape: FloatArray) -> FloatArray:
        made = []
        for at, own in owns:
            tau_s = np.exp(shape[at])
            if own is whole[at]:
                made.append(own.astype(np.float64))
                continue
            made.append(own * np.exp(-windows.t_s / tau_s))
            made += [LATE_LSB * own * np.exp(-windows.t_s * ratio / tau_s) for ratio in LATE]
        return np.column_stack(made)

    whole = {at: next(own for number, own in owns if number == at) for at in range(len(ranges))}
    return Course(columns, np.array(known))


def time_constant_s(windows: Windows) -> float:
    """A first guess: −1 over the slope of dV/dt against V."""
    first = windows.of(windows.ramp == windows.ramp[0])
    step = max(1, first.code.size // 50)
    code, t_s = first.code[::step], first.t_s[::step]
    slope = np.diff(code) / np.diff(t_s)
    return float(-1.0 / np.polyfit(0.5 * (code[1:] + code[:-1]), slope, 1)[0])


def slopes(course: Course, shape: FloatArray, beta: FloatArray) -> list[FloatArray]:
    made = []
    columns = course.columns
    for at in range(shape.size):
        step = np.zeros(shape.size)
        step[at] = 1e-3
        made.append((columns(shape + step) - columns(shape - step)) @ beta / 2e-3)
    return made
