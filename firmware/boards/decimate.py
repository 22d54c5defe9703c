# SPDX-License-Identifier: MIT
"""Sums of codes, exact, by machine code: the only part of sampling that sees every code."""

import micropython

from sagline_board.profile import CONVERTERS, ONBOARD

# us that one conversion of each channel takes.
TURN_US = 3 * CONVERTERS[ONBOARD]["sample_ns"] // 1000


@micropython.viper
def sum_turns(codes: ptr16, rows: ptr32, work: ptr32):
    """Sum the turns work[0] to work[1] of `codes` into three rows at work[2].

    A turn is a code of sense, of force and of return. work[3] is the tick at
    which the first code's conversion began; each of the three has a window of
    its own, from its first conversion to the end of its last.
    """
    first = int(work[0])
    last = int(work[1])
    sense = 0
    force = 0
    back = 0
    at = 3 * first
    end = 3 * last
    while at < end:
        sense += codes[at]
        force += codes[at + 1]
        back += codes[at + 2]
        at += 3
    n = last - first
    turn_us = int(TURN_US)
    conversion_us = turn_us // 3
    length_us = turn_us * n - 2 * conversion_us
    start = int(work[3]) + turn_us * first
    row = int(work[2])
    rows[row] = 0
    rows[row + 1] = start & 0x3FFFFFFF
    rows[row + 2] = length_us
    rows[row + 3] = n
    rows[row + 4] = sense
    rows[row + 5] = 1
    rows[row + 6] = (start + conversion_us) & 0x3FFFFFFF
    rows[row + 7] = length_us
    rows[row + 8] = n
    rows[row + 9] = force
    rows[row + 10] = 2
    rows[row + 11] = (start + 2 * conversion_us) & 0x3FFFFFFF
    rows[row + 12] = length_us
    rows[row + 13] = n
    rows[row + 14] = back
