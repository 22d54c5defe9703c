# SPDX-License-Identifier: MIT
"""Round values for an axis."""

import math


def ticks(low: float, high: float, most: int) -> tuple[list[float], int]:
    """Return at most `most` round values within low..high and their decimals.

    Steps are 1, 2 or 5 times a power of ten.
    """
    if not high > low or most < 1:
        return [], 0
    power = math.floor(math.log10((high - low) / most))
    for exponent in (power, power + 1):
        for factor in (1, 2, 5):
            step = factor * 10.0**exponent
            first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
            if last - first + 1 <= most:
                return [n * step for n in range(first, last + 1)], max(0, -exponent)
    return [], 0
