# SPDX-License-Identifier: MIT
"""When the load went on and off, by the current or the force voltage.

Two levels are told apart by a threshold half way between them, with a band about it that noise
does not cross; a median of three takes single wild readings out. A reading caught on its way
belongs to neither level. All that is known of an edge is that it lies between the last reading
of the one level and the first of the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sagline.analysis.foreign.table import Column, ForeignTable
from sagline.analysis.values import AnalysisError, BoolArray, FloatArray

LEAST_NOISES = 8.0
"""The two levels are at least so many standard deviations of the noise apart."""

LOWER, UPPER = 0.4, 0.6
"""The band about the threshold, as parts of the way."""

ON_ITS_WAY = 0.1
"""A reading this far from its level, as a part of the way, was caught in between."""

NEAR = 5
"""Readings that tell the level beside an edge."""

SENSE_NOISES = 5.0
MAD_TO_SD = 1.4826
"""Ratio of s.d. to median absolute deviation of a normal distribution."""

EMPTY_SHARE = 0.2
"""Below this part of the other level a force voltage is that of a load with no current."""


@dataclass(frozen=True)
class Edge:
    """An instant of switching (s), within `half_s` of `at_s`."""

    at_s: float
    half_s: float

    @property
    def before_s(self) -> float:
        return self.at_s - self.half_s

    @property
    def after_s(self) -> float:
        return self.at_s + self.half_s


@dataclass(frozen=True)
class Pulse:
    """One time the load was on: `on` None where the record begins so, `off` where it ends so.

    `rest_from_s` is when the rest before it began, `end_s` when the recovery ends.
    """

    on: Edge | None
    off: Edge | None
    rest_from_s: float
    end_s: float


def pulses(table: ForeignTable) -> list[Pulse]:
    """The pulses of a record, in order.

    Raises AnalysisError `no_step`, `bad_edges`, `something_else_connected`.
    """
    if table.on_s:
        on, off = _told(table)
        return _paired(table, on, off)
    driver = table.driver
    smooth = _median3(driver.v)
    low, high = float(smooth.min()), float(smooth.max())
    noise = noise_of(driver.v)
    if not high - low > max(LEAST_NOISES * noise, 2.0 * driver.resolution):
        raise _no_step(table)
    upper = _states((smooth - low) / (high - low))
    changes = np.flatnonzero(upper[1:] != upper[:-1])
    if not changes.size:
        raise _no_step(table)
    edges = [_edge(driver, int(i), high - low) for i in changes]
    on_is_high = _on_is_high(table, edges, upper[changes + 1], low, high)
    goes_on = upper[changes + 1] == on_is_high
    on = [edge for edge, rises in zip(edges, goes_on, strict=True) if rises]
    off = [edge for edge, rises in zip(edges, goes_on, strict=True) if not rises]
    return _paired(table, on, off)


def noise_of(values: FloatArray) -> float:
    """S.d. of the noise, from neighbours' differences by their median, which steps do not move."""
    if values.size < 2:
        return 0.0
    return MAD_TO_SD * float(np.median(np.abs(np.diff(values)))) / np.sqrt(2.0)


def _told(table: ForeignTable) -> tuple[list[Edge], list[Edge]]:
    for times in (table.on_s, table.off_s):
        if any(later <= sooner for sooner, later in pairwise(times)):
            raise AnalysisError(
                "bad_edges",
                "load_on_s or load_off_s of the record is not in order of time",
                "put them in order, or take both lines out: the steps are then found by themselves",
            )
    half_s = table.edge_half_s
    return [Edge(t, half_s) for t in table.on_s], [Edge(t, half_s) for t in table.off_s]


def _paired(table: ForeignTable, on: list[Edge], off: list[Edge]) -> list[Pulse]:
    start_s = float(min(table.sense.t_s[0], table.driver.t_s[0]))
    found: list[Pulse] = []
    if off and (not on or off[0].at_s < on[0].at_s):
        next_s = on[0].before_s if on else table.end_s
        found.append(Pulse(None, off[0], start_s, next_s))
    for index, edge in enumerate(on):
        after = [one for one in off if one.at_s > edge.at_s]
        next_s = on[index + 1].before_s if index + 1 < len(on) else table.end_s
        until = after[0] if after and after[0].before_s <= next_s else None
        before = [one.after_s for one in off if one.at_s < edge.at_s]
        found.append(Pulse(edge, until, max(before, default=start_s), next_s))
    return found


def _median3(values: FloatArray) -> FloatArray:
    if values.size < 3:
        return values
    padded = np.concatenate([values[:1], values, values[-1:]])
    return np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)


def _states(way: FloatArray) -> BoolArray:
    """Which readings are of the upper level; within the band a reading stays with the last one."""
    sure = (way >= UPPER) | (way <= LOWER)
    index = np.maximum.accumulate(np.where(sure, np.arange(way.size), -1))
    index[index < 0] = int(np.argmax(sure))
    return way[index] >= UPPER


def _edge(driver: Column, i: int, contrast: float) -> Edge:
    """The edge after reading i, widened by the readings that were caught on their way."""
    left, right = i, i + 1
    before = float(np.median(driver.v[max(0, i - NEAR) : i + 1]))
    after = float(np.median(driver.v[i + 1 : i + 2 + NEAR]))
    most = ON_ITS_WAY * contrast
    # A level of a single reading is that reading: it cannot be on its way.
    while left > 0 and i - left < NEAR and abs(driver.v[left] - before) > most:
        left -= 1
    last = driver.v.size - 1
    while right < last and right - i < NEAR and abs(driver.v[right] - after) > most:
        right += 1
    from_s, to_s = float(driver.t_s[left]), float(driver.t_s[right])
    return Edge(0.5 * (from_s + to_s), 0.5 * (to_s - from_s))


def _on_is_high(
    table: ForeignTable, edges: list[Edge], rises: BoolArray, low: float, high: float
) -> bool:
    """Whether the load is on at the driver's upper level.

    A current is on where it is the larger. A force voltage may be the load's own, none at rest,
    or the cell's at rest and lower under load: the cell's sag tells.
    """
    moves = [_sense_move(table.sense, edge) for edge in edges]
    fall_v = -sum(
        move if up else -move for move, up in zip(moves, rises, strict=True) if move is not None
    )
    sure_v = SENSE_NOISES * noise_of(table.sense.v) * np.sqrt(max(1, len(moves)))
    if table.current is not None:
        on_is_high = abs(high) >= abs(low)
        if (fall_v if on_is_high else -fall_v) < -sure_v:
            raise AnalysisError(
                "something_else_connected",
                "the cell's voltage rises as the current flows: it is being charged",
                "record a discharge: the cell with a load alone, chargers taken off",
            )
        return on_is_high
    if abs(fall_v) > sure_v:
        return bool(fall_v > 0.0)
    return abs(low) < EMPTY_SHARE * abs(high)


def _sense_move(sense: Column, edge: Edge) -> float | None:
    before = sense.v[sense.t_s <= edge.before_s][-NEAR:]
    after = sense.v[sense.t_s >= edge.after_s][:NEAR]
    if not (before.size and after.size):
        return None
    return float(np.median(after) - np.median(before))


def _no_step(table: ForeignTable) -> AnalysisError:
    name = "current_a" if table.current is not None else "force_v"
    return AnalysisError(
        "no_step",
        f"{name} shows no step of a load that stands out from its noise",
        "record the cell at rest, then with a load switched on at once, then at rest again",
    )
