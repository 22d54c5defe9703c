# SPDX-License-Identifier: MIT
"""The values that pass between the stages of the analysis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sagline.errors import Refused, sentence

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SENSE, FORCE, RETURN = 0, 1, 2
NULL_DIFFERENCE = 3
"""Channel of the ADS1115: sense less the null channel's voltage, in signed codes of its own."""

ONBOARD, ADS1115 = 0, 1
# From here on a segment's mask is of no loads.
_BEYOND_LOADS = 256
_POINT_FIELDS = ("source", "start_us", "length_us", "n", "total")


class AnalysisError(Refused):
    """A record that yields no figure, or a plan that may not be made."""


@dataclass(frozen=True, eq=False)
class RawStep:
    """One step as the board recorded it: integers only.

    `source, start_us, length_us, n, total` are int64 arrays of one length: converter*4 +
    channel, start and length of the point's window (from the start of the step),
    conversions summed, sum of codes. `edges_us` are the instants of switching (load on,
    load off), `load` an index into the bank, `segments` pairs of load mask and ms. Sums that a
    linearity table has corrected are float64. `null_setting` is the setting at which the null
    channel was held, None where it was not in use: its points then mean nothing.
    Raises ValueError for arrays of unequal length.
    """

    source: IntArray
    start_us: IntArray
    length_us: IntArray
    n: IntArray
    total: IntArray | FloatArray
    edges_us: tuple[int, ...]
    load: int
    range_high: bool
    segments: tuple[tuple[int, int], ...]
    null_setting: int | None = None

    def __post_init__(self) -> None:
        for name in _POINT_FIELDS:
            array: Any = np.asarray(getattr(self, name))
            if name != "total" or array.dtype.kind != "f":
                array = array.astype(np.int64)
            object.__setattr__(self, name, array)
        if len({getattr(self, name).shape for name in _POINT_FIELDS}) != 1 or self.source.ndim != 1:
            raise ValueError("the arrays of a raw step must be of one length")

    @property
    def mask(self) -> int:
        """The loads of the pulse, a bit each; 0 where there was none."""
        return next((mask for mask, _ in self.segments if 0 < mask < _BEYOND_LOADS), 0)


@dataclass(frozen=True)
class Quantity:
    """A figure with its uncertainty.

    `dof` None is infinite; `u`, `k`, `low95`, `high95` None are unknown or unbounded.
    """

    value: float
    u: float | None
    dof: float | None
    k: float | None
    low95: float | None
    high95: float | None


@dataclass(frozen=True)
class Notice:
    """Something the reader must know beside the figure, and what to do about it."""

    code: str
    text: str
    remedy: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", sentence(self.text))
        object.__setattr__(self, "remedy", sentence(self.remedy))


@dataclass(frozen=True)
class RepeatRow:
    """One repeat: r at the first time and E; None where the step gave neither."""

    n: int
    r_ohm: float | None
    emf_v: float | None
    kept: bool
    reason: str | None


@dataclass(frozen=True)
class BudgetLine:
    """One source: its contribution `u` in the unit of the figure, its share of u squared."""

    source: str
    type: str
    u: float
    share: float


@dataclass(frozen=True)
class Estimate:
    """What one series of steps says about a cell.

    `emf` (V), `current` (A, of the load, at the first time), `short_circuit` (A),
    `max_power` (W); `load` (ohm) is the load resistor alone, without its switch, None where it
    is not known. `rest_s` is None where there was no rest. `r_at`
    pairs a time after load on (s) with r then (ohm). `budget` (ohm) belongs to r at the
    first time, `emf_budget` (V) to E; `covariance_v_ohm` is that of E and r.
    `short_circuit` and `max_power` are None where r is not positive. `ohmic` is t_f, the first
    time at which r can be told, and r then, which is also the last item of `r_at`; `start_ohm`
    r at 0+ by the model's word, None where there is no model. `open_level` is the code that E was
    taken from and its s.d. from noise.
    """

    emf: Quantity
    r_at: tuple[tuple[float, Quantity], ...]
    load: Quantity | None
    current: Quantity
    short_circuit: Quantity | None
    max_power: Quantity | None
    repeats: tuple[RepeatRow, ...]
    rejected: int
    budget: tuple[BudgetLine, ...]
    emf_budget: tuple[BudgetLine, ...]
    covariance_v_ohm: float
    rest_s: float | None
    dvdt_v_per_s: float
    on_s: float
    notices: tuple[Notice, ...]
    ohmic: tuple[float, Quantity]
    start_ohm: float | None
    open_level: tuple[float, float] | None = None
