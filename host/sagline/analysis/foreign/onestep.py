# SPDX-License-Identifier: MIT
"""One pulse of a foreign record as rows of volts about its edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from sagline.analysis.foreign.drive import Drive
from sagline.analysis.foreign.table import Column, ForeignTable
from sagline.analysis.foreign.thinning import thinned
from sagline.analysis.rows import Rows
from sagline.analysis.step import fit_line
from sagline.analysis.values import FloatArray

FEWEST_LOADED = 4
"""Readings after an edge that an r(t) takes."""

ROUNDING = 12.0**-0.5
INSTANT_S = 1e-6
"""Length given to the window of a reading that is an instant's."""


class Left(NamedTuple):
    """A pulse that is not used: its number and why."""

    n: int
    reason: str


@dataclass(frozen=True, eq=False)
class OneStep:
    """One pulse as rows about its edge, at which their time is 0.

    `half_s` is how far the edge may be from there, `on_s` how long what comes after it lasted,
    `loaded_s` how long the load was on; `rest_s` what of rest the record has before it;
    `first_s` and `third_s` the first and third usable reading after the edge; `recovery` are the
    readings of sense after release, from the edge too.
    """

    n: int
    rows: Rows
    drive: Drive
    half_s: float
    on_s: float
    loaded_s: float
    rest_s: float
    first_s: float
    third_s: float
    recovery: Column

    @property
    def before(self) -> Rows:
        """The rows before the edge."""
        return self.rows.of(~self.rows.loaded)

    @property
    def drift_u_v_per_s(self) -> float:
        """S.d. of the slope before the edge, from the noise alone."""
        rows = self.before
        t_s = rows.middle_s - rows.middle_s.mean()
        return float(rows.u_v.mean() / np.sqrt(t_s @ t_s))

    @property
    def noise_v(self) -> float:
        """Noise of one reading, of the calmer side: a level that rounding tosses to and fro looks
        as if noise carried it over the steps."""
        sides = (self.rows.of(side).v for side in (self.rows.loaded, ~self.rows.loaded))
        return min(float(np.std(np.diff(v))) for v in sides) / 2.0**0.5


def step_of(
    table: ForeignTable,
    n: int,
    before: Column,
    after: Column,
    drive: Drive,
    sign: float,
    half_s: float,
    *,
    origin_s: float,
    on_s: float,
    loaded_s: float,
    rest_s: float,
    recovery: Column,
) -> OneStep | Left:
    """Rows of the readings before and after an edge; `sign` of the current that is switched."""
    before, after = since(before, origin_s), since(after, origin_s)
    usable_s = after.t_s[after.t_s >= 2.0 * half_s]
    if after.t_s.size < FEWEST_LOADED or usable_s.size < FEWEST_LOADED - 1:
        return Left(n, f"only {after.t_s.size} readings after its edge")
    u_v = max(_noise(before), table.sense.resolution * ROUNDING, 1e-12)
    t_s = np.concatenate([before.t_s, after.t_s])
    length_s = np.full(t_s.size, max(table.window_s, _instant_s(t_s)))
    current_a = np.zeros(t_s.size)
    current_a[before.t_s.size :] = sign * drive.at(after.t_s)
    rows = Rows(
        # A window that reached across the edge would count as rest.
        start_s=np.where(t_s > 0.0, np.maximum(t_s - 0.5 * length_s, 0.0), t_s - 0.5 * length_s),
        length_s=length_s,
        v=np.concatenate([before.v, after.v]),
        u_v=np.full(t_s.size, u_v),
        code=np.zeros(t_s.size),
        front=np.zeros(t_s.size, dtype=np.int64),
        current_a=current_a,
    )
    third = usable_s[: FEWEST_LOADED - 1][-1]
    first_s = float(usable_s[0])
    return OneStep(
        n, thinned(rows), drive, half_s, on_s, loaded_s, rest_s, first_s, float(third), recovery
    )


def since(column: Column, origin_s: float) -> Column:
    return Column(column.t_s - origin_s, column.v, column.digit)


def _instant_s(t_s: FloatArray) -> float:
    return min(INSTANT_S, 0.1 * float(np.diff(t_s).min()))


def _noise(rest: Column) -> float:
    return fit_line(rest.t_s, rest.v, np.ones_like(rest.v)).noise
