# SPDX-License-Identifier: MIT
"""Very many readings as fewer means: what a fast recorder gives would only cost time."""

from __future__ import annotations

import numpy as np

from sagline.analysis.rows import Rows
from sagline.analysis.values import FloatArray, IntArray

MOST_ROWS = 3000
"""Before and after the edge each. More are averaged."""

RATIO = 1.01
"""Of the times that a bin after the edge spans: r(t) is straight within it."""


def thinned(rows: Rows) -> Rows:
    """The rows, averaged in bins where there are more than MOST_ROWS on one side."""
    parts = []
    for side in (~rows.loaded, rows.loaded):
        part = rows.of(side)
        if part.v.size > MOST_ROWS:
            part = _binned(part, _bins(part.middle_s))
        parts.append(part)
    return Rows(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in Rows.__dataclass_fields__
        }
    )


def _bins(t_s: FloatArray) -> IntArray:
    """The bin of each time: evenly spread before the edge, in equal ratios after it."""
    if t_s[0] < 0.0:
        return np.floor(np.arange(t_s.size) * (MOST_ROWS / t_s.size)).astype(np.int64)
    return np.floor(np.log(np.maximum(t_s, 1e-12)) / np.log(RATIO)).astype(np.int64)


def _binned(rows: Rows, bins: IntArray) -> Rows:
    _, where, count = np.unique(bins, return_inverse=True, return_counts=True)

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(where, weights=values) / count

    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    last = first + count - 1
    start_s = rows.start_s[first]
    # Readings at even distances stand for half a distance to both sides.
    gap_s = (rows.start_s[last] - start_s) / np.maximum(count - 1, 1)
    length_s = np.where(count > 1, gap_s * count, rows.length_s[first])
    middle_s = mean(rows.middle_s)
    begin_s = np.where(count > 1, middle_s - 0.5 * length_s, start_s)
    return Rows(
        start_s=np.where(middle_s > 0.0, np.maximum(begin_s, 0.0), begin_s),
        length_s=length_s,
        v=mean(rows.v),
        u_v=mean(rows.u_v) / np.sqrt(count),
        code=mean(rows.code),
        front=rows.front[first],
        current_a=mean(rows.current_a),
    )
