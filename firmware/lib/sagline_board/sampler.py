# SPDX-License-Identifier: MIT
"""When to sample how finely, and the record of integers that comes of it.

A record is a list of points: source, start and length of the window in us from
the start of the step, conversions summed, and their sum. It is dense just after
an edge, where the cell moves fast, and for half a second around it; elsewhere
points are sums over longer windows. Sums are exact: no float is ever stored.
"""

from array import array

from . import ticks

# What the longest step that the host plans may take: 5 s, 1.2 s under load, 2 s.
CAPACITY = 4350

# Age since the last edge (us) up to which a row holds; the slice after which
# the interpreter looks at its input again; the on-board bin within the slice.
SCHEDULE = (
    (1000, 1000, 50),
    (5000, 4000, 200),
    (20000, 5000, 1000),
    (500000, 5000, 5000),
)
# Around an edge every ADS1115 conversion is kept by itself for this long.
NEAR_EDGE_US = 500000
# Far from edges: slice and bin, and the window over which points are summed.
FAR_SLICE_US = 10000
FAR_GROUP_US = 50000
# Lengths are kept in 16 bits: a window that would be longer, because the interpreter was kept
# from its work, ends before.
MOST_LENGTH_US = 65535
# A point's source and its sum share one integer.
SOURCE_BITS = 3
SOURCES = (1 << SOURCE_BITS) - 1
# Three channels of each converter, and the null channel's difference.
MOST_SOURCES = 7
# With a load on, the interpreter is never away for longer than this.
LOADED_SLICE_US = 5000


def slice_plan(since_edge_us, until_edge_us, loaded):
    """Return (slice_us, bin_us, group_us) at this distance from the edges.

    None for an edge that does not exist. group_us 0 keeps each row as a point.
    """
    if since_edge_us is not None:
        for age_us, slice_us, bin_us in SCHEDULE:
            if since_edge_us < age_us:
                return slice_us, bin_us, 0
    if until_edge_us is not None and until_edge_us <= NEAR_EDGE_US:
        return LOADED_SLICE_US, LOADED_SLICE_US, 0
    slice_us = LOADED_SLICE_US if loaded else FAR_SLICE_US
    return slice_us, slice_us, FAR_GROUP_US


def expected_points(segments):
    """Return an upper bound on the points that (mask, ms) segments will take."""
    near_ms = NEAR_EDGE_US // 1000
    points = 0
    previous = 0
    run_ms = 0
    for index, (mask, duration_ms) in enumerate(segments):
        # Neighbours with one mask are one run: no edge lies between them. Each
        # boundary may cut three windows of each converter short.
        run_ms += duration_ms
        points += 20
        last = index + 1 == len(segments)
        if not last and segments[index + 1][0] == mask:
            continue
        after = previous != mask
        close_ms = min(run_ms, near_ms * (after + (not last)))
        # Near: three on-board points in 5 ms and, at the ADS1115's fastest, 946
        # conversions a second; the first 20 ms are denser still, by 153.
        points += close_ms * 31 // 20 + (160 if after else 0)
        # Far: each source closes a window in 50 ms.
        points += (run_ms - close_ms) * MOST_SOURCES * 1000 // FAR_GROUP_US
        previous = mask
        run_ms = 0
    return points


class Sampler:
    """The record of one step, in arrays allocated once."""

    def __init__(self):
        self.count = 0
        self.full = False
        self._start_us = array("i", bytes(4 * CAPACITY))
        self._length_us = array("H", bytes(2 * CAPACITY))
        self._n = array("H", bytes(2 * CAPACITY))
        # Eight times the sum, and the source: room for 10 922 of the largest codes, as many as
        # a window of MOST_LENGTH_US can hold, in what is no big integer on the board.
        self._sum = array("i", bytes(4 * CAPACITY))
        # One open group per source: start, end (us), n, total. n 0 is none.
        self._open = [[0, 0, 0, 0] for _ in range(8)]
        self._origin = 0

    def begin(self, origin_tick):
        """Start an empty record whose times count from `origin_tick`."""
        self.count = 0
        self.full = False
        self._origin = origin_tick
        for group in self._open:
            group[2] = 0

    def add(self, rows, row_count, group_us):
        """Take `row_count` rows of a capture; sum them into windows of `group_us`."""
        origin = self._origin
        for offset in range(0, row_count * 5, 5):
            source = rows[offset]
            start_us = ticks.diff(rows[offset + 1], origin)
            end_us = start_us + rows[offset + 2]
            group = self._open[source]
            if group[2] and end_us - group[0] > MOST_LENGTH_US:
                self._close(source, group)
            if group[2] == 0:
                group[0] = start_us
                group[2] = rows[offset + 3]
                group[3] = rows[offset + 4]
            else:
                group[2] += rows[offset + 3]
                group[3] += rows[offset + 4]
            group[1] = end_us
            if end_us - group[0] >= group_us:
                self._close(source, group)

    def flush(self):
        """Close the open windows; done before each edge so that no window spans it."""
        for source, group in enumerate(self._open):
            if group[2]:
                self._close(source, group)

    def _close(self, source, group):
        index = self.count
        if index >= CAPACITY:
            self.full = True
        else:
            self._start_us[index] = group[0]
            self._length_us[index] = group[1] - group[0]
            self._n[index] = group[2]
            self._sum[index] = (group[3] << SOURCE_BITS) + source
            self.count = index + 1
        group[2] = 0

    def point(self, index):
        """Return (source, start_us, length_us, n, total) of one point."""
        both = self._sum[index]
        source = both & SOURCES
        return (
            source,
            self._start_us[index],
            self._length_us[index],
            self._n[index],
            both >> SOURCE_BITS,
        )
