# SPDX-License-Identifier: MIT
"""The load's current in one pulse of a foreign record, smooth in time, and how noisy it is."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from sagline.analysis.current import taus_of
from sagline.analysis.foreign.table import Column, ForeignTable
from sagline.analysis.values import FloatArray


class Smooth:
    """A sum of exponentials of fixed time constants through readings, without constraint."""

    def __init__(self, t_s: FloatArray, v: FloatArray) -> None:
        self._tau_s = taus_of(np.maximum(t_s, 1e-9), t_s.size)
        design = self._basis(t_s)
        self._inverse = np.linalg.pinv(design, rcond=1e-10)
        self._part = self._inverse @ v
        residual = v - design @ self._part
        self.dof = max(1, t_s.size - design.shape[1])
        self.scatter = sqrt(float(residual @ residual) / self.dof)

    def _basis(self, t_s: FloatArray) -> FloatArray:
        return np.column_stack([np.ones_like(t_s), np.exp(-t_s[:, None] / self._tau_s)])

    def at(self, t_s: FloatArray) -> FloatArray:
        return self._basis(t_s) @ self._part

    def u(self, t_s: float) -> float:
        """S.d. of the curve at a time, by the readings' scatter about it."""
        weights = self._basis(np.array([t_s])) @ self._inverse
        return self.scatter * sqrt(float((weights**2).sum()))


@dataclass(frozen=True)
class DriveLevels:
    """What the current was at one time: itself (A), or force and return (V; the return's rise
    over its level at rest); `u_rel` of the current by its readings' scatter, with `dof`."""

    current_a: float
    force_v: float
    return_v: float
    u_rel: float
    dof: float


class Drive:
    """The current of one pulse, positive out of the cell, at times after `origin_s`.

    `zero` (from and to, s on the record's clock) is where no current flows: what is read there
    is the zero of current and return. `on` is where it flows. With `held_s` the current of that
    time after the origin stands for every time: what a release ends. `zero_share` is the current
    read while none flows over that which is switched, `unsteady` the scatter of the latter about
    a smooth course, relative. Raises ValueError where `on` has no readings.
    """

    def __init__(
        self,
        table: ForeignTable,
        origin_s: float,
        zero: tuple[float, float],
        on: tuple[float, float],
        held_s: float | None = None,
    ) -> None:
        driver = table.driver.within(*on)
        if not driver.t_s.size:
            raise ValueError("no reading of the current while it flows")
        self._held_s = held_s
        self._load_ohm: float | None = None
        self.zero = 0.0
        self._share = 0.0
        if table.current is not None:
            self.zero = _mean(table.current.within(*zero))
            self._drive = Smooth(driver.t_s - origin_s, driver.v - self.zero)
        else:
            self._load_ohm = (table.load_ohm or 0.0) + table.switch_ohm
            self._drive = Smooth(driver.t_s - origin_s, driver.v)
            if table.back is not None:
                back = table.back.within(*on)
                # The return lead's drop is in proportion to the current.
                rise_v = _mean(back) - _mean(table.back.within(*zero))
                self._share = rise_v / float(np.mean(self._drive.at(back.t_s - origin_s)))
        self._sign = -1.0 if float(driver.v.mean()) - self.zero < 0.0 else 1.0
        step = max(abs(float(driver.v.mean()) - self.zero), 1e-30)
        self.unsteady = self._drive.scatter / step
        self.zero_share = self._sign * self.zero / step

    def at(self, t_s: FloatArray) -> FloatArray:
        """Amperes at each time after the origin (s)."""
        if self._held_s is not None:
            t_s = np.full_like(t_s, self._held_s)
        driven = self._sign * self._drive.at(t_s)
        if self._load_ohm is None:
            return driven
        return driven * (1.0 - self._share) / self._load_ohm

    def levels(self, t_s: float) -> DriveLevels:
        """What the current was at one time after the origin (s)."""
        at_s = t_s if self._held_s is None else self._held_s
        driven = self._sign * float(self._drive.at(np.array([at_s]))[0])
        return DriveLevels(
            current_a=float(self.at(np.array([t_s]))[0]),
            force_v=driven,
            return_v=self._share * driven,
            u_rel=self._drive.u(at_s) / abs(driven) if driven else 0.0,
            dof=float(self._drive.dof),
        )


def _mean(column: Column) -> float:
    return float(column.v.mean()) if column.v.size else 0.0
