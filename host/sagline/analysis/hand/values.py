# SPDX-License-Identifier: MIT
"""What readings by hand say of a cell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sagline.analysis.values import BudgetLine, Notice, Quantity, RepeatRow


@dataclass(frozen=True)
class Point:
    """One point of a V-I line: V at the terminals and A; ohms where the load was read."""

    load_ohm: float | None
    current_a: float
    v_v: float


@dataclass(frozen=True)
class HandLine:
    """The V-I line: its intercept (V), minus its slope (ohm), their covariance (V ohm).

    `steepest_ohm` and `shallowest_ohm` are minus the slopes of the extreme lines that still
    pass through all error bars; None where no line does.
    """

    emf: Quantity
    r: Quantity
    covariance_v_ohm: float
    points: tuple[Point, ...]
    steepest_ohm: float | None = None
    shallowest_ohm: float | None = None


@dataclass(frozen=True)
class Row:
    """A line of the repeat table: what was read, how often, and how far it goes apart.

    `unit` is V, A, W or cm; `u` the standard uncertainty of the mean, `half_range` half of the
    greatest less the least reading.
    """

    name: str
    unit: str
    mean: float
    n: int
    half_range: float
    u: float


@dataclass(frozen=True)
class HandEstimate:
    """The figures, as `values.Estimate` has them for a rig; None is unknown.

    `budget` (ohm) belongs to r, `emf_budget` (V) to E. `numbers` are what stands in the working,
    by letter. `table` is a row for each thing that was read, `fitted` whether a line gave r.
    """

    r: Quantity
    emf: Quantity | None
    load: Quantity | None
    current: Quantity | None
    short_circuit: Quantity | None
    max_power: Quantity | None
    groups: tuple[RepeatRow, ...]
    budget: tuple[BudgetLine, ...]
    emf_budget: tuple[BudgetLine, ...]
    line: HandLine | None
    table: tuple[Row, ...]
    numbers: Mapping[str, float]
    notices: tuple[Notice, ...]
    fitted: bool = field(default=False)
