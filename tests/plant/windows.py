# SPDX-License-Identifier: MIT
"""The windows of a record: what the firmware's schedule makes of a step, rows and points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sagline_board.sampler import slice_plan

Floats = NDArray[np.float64]


class Row(NamedTuple):
    """One capture of one source: its window (us), conversions, and the width of its group."""

    source: int
    start_us: float
    end_us: float
    n: int
    group_us: int


Slice = tuple[int, int, int, int]


def schedule(segments: Sequence[tuple[int, int]]) -> tuple[list[int], list[Slice]]:
    """Edges (us) and slices (start, length, bin, group) as the firmware goes through a step."""
    ends_us = np.cumsum([milliseconds * 1000 for _, milliseconds in segments]).tolist()
    edges_us = ends_us[:-1]
    slices = []
    at_us = 0
    for (mask, _), end_us in zip(segments, ends_us, strict=True):
        while at_us < end_us:
            since = [at_us - edge for edge in edges_us if edge <= at_us]
            until = [edge - at_us for edge in edges_us if edge > at_us]
            length_us, bin_us, group_us = slice_plan(
                since[-1] if since else None, until[0] if until else None, mask
            )
            length_us = min(length_us, end_us - at_us)
            slices.append((at_us, length_us, min(bin_us, length_us), group_us))
            at_us += length_us
    return edges_us, slices


def grouped(
    rows: Sequence[Row], totals: Floats, edges_us: Sequence[int]
) -> list[tuple[int, int, int, int, float]]:
    """Points: rows summed until their window is as wide as the group, none across an edge."""
    points: list[tuple[int, int, int, int, float]] = []
    open_groups: dict[int, tuple[int, int, int, float]] = {}
    left_us = [*edges_us]

    def close(source: int) -> None:
        start_us, end_us, n, total = open_groups.pop(source)
        points.append((source, start_us, end_us - start_us, n, total))

    for row, total in zip(rows, totals.tolist(), strict=True):
        if left_us and row.start_us >= left_us[0]:
            left_us.pop(0)
            for source in sorted(open_groups):
                close(source)
        start_us = round(row.start_us)
        end_us = start_us + round(row.end_us - row.start_us)
        before = open_groups.get(row.source, (start_us, 0, 0, 0.0))
        open_groups[row.source] = (before[0], end_us, before[2] + row.n, before[3] + total)
        if end_us - before[0] >= row.group_us:
            close(row.source)
    for source in sorted(open_groups):
        close(source)
    return points
