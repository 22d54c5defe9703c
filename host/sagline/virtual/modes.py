# SPDX-License-Identifier: MIT
"""Exact response of relaxation modes: integrals of e^(-λt) that stay exact as λ goes to 0."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Rates below this are indistinguishable from 0 in any run, and it keeps 0/0 out.
LEAST_RATE = 1e-15

# Below this λ·L the closed form of the mean loses digits and the series has converged.
_SERIES_BELOW = 0.05


def rise(rate: Floats, time_s: Floats | float) -> Floats:
    """g(t) = (1 − e^(−λt))/λ, which is t for λ → 0: what a mode of initial slope 1 has moved.

    rate ≥ LEAST_RATE, in 1/s; shapes broadcast. Seconds.
    """
    return -np.expm1(-rate * time_s) / rate


def mean_rise(rate: Floats, start_s: Floats, length_s: Floats) -> Floats:
    """Mean of g over [start, start + length]; length 0 gives g(start).

    The window's own part is L·(x − 1 + e^(−x))/x² with x = λL; its numerator cancels for small
    x, so there the series Σ (−x)^k/(k + 2)! is used. Shapes broadcast. Seconds.
    """
    x = rate * length_s
    small = x < _SERIES_BELOW
    safe = np.where(small, 1.0, x)
    closed = (safe + np.expm1(-safe)) / (safe * safe)
    series = 1 / 2 - x * (1 / 6 - x * (1 / 24 - x * (1 / 120 - x * (1 / 720 - x / 5040))))
    within = length_s * np.where(small, series, closed)
    fallen = np.expm1(-rate * start_s)
    return (1.0 + fallen) * within - fallen / rate
