# SPDX-License-Identifier: MIT
"""Arithmetic on a microsecond counter that wraps.

The board's counter runs from 0 to 2**30 - 1 (about 17.9 minutes). Two instants
can be compared when they lie less than half of that apart.
"""

PERIOD = 1 << 30
_MASK = PERIOD - 1
_HALF = PERIOD >> 1


def diff(later, earlier):
    """Return the microseconds from `earlier` to `later`, negative if it is not later."""
    return ((later - earlier + _HALF) & _MASK) - _HALF


def add(tick, delta_us):
    """Return the tick `delta_us` after `tick`."""
    return (tick + delta_us) & _MASK
