# SPDX-License-Identifier: MIT
"""The variance of a step in white noise: what least squares can give at best, by derivation."""

from math import sqrt

import numpy as np
import pytest

from sagline.analysis.budget import propagate
from sagline.analysis.influences import Influence
from sagline.analysis.step import fit_line


def test_a_line_on_either_side_costs_four_times_the_difference_of_means() -> None:
    """8 σ²/N for N readings on each side and a slope for each, where the difference of two
    means has 2 σ²/N. At its end a line has σ²(1/N + (T/2)²/(N T²/12)) = 4 σ²/N (Draper and Smith,
    ch. 1)."""
    n, sigma, trials = 400, 0.7, 4000
    rng = np.random.default_rng(1)
    t_s = (np.arange(n) + 0.5) / n
    one = np.ones(n)
    before = [fit_line(t_s - 1.0, sigma * rng.standard_normal(n), one) for _ in range(trials)]
    after = [fit_line(t_s, sigma * rng.standard_normal(n), one) for _ in range(trials)]
    steps = [late.level - early.level for early, late in zip(before, after, strict=True)]
    # A variance from 4000 trials is good to 2.2 %.
    assert np.var(steps) == pytest.approx(8.0 * sigma**2 / n, rel=0.08)
    claimed = np.mean([line.level_u**2 for line in before]) * 2.0
    assert claimed == pytest.approx(8.0 * sigma**2 / n, rel=0.02)


def test_u_of_r_by_two_voltages() -> None:
    """r = R (V0/V1 - 1): R 10 ohm, 1.5 to 1.4 V, σ 1 mV, 200 and 50 readings; u(r) =
    (R/V1) sqrt(σ²/N0 + (V0/V1)² σ²/N1) = 1.1944 mohm (derived)."""
    inputs = [
        Influence("v0", "", 1.5, 1e-3 / sqrt(200), "normal"),
        Influence("v1", "", 1.4, 1e-3 / sqrt(50), "normal"),
    ]
    figure = propagate(lambda x: 10.0 * (x["v0"] / x["v1"] - 1.0), inputs)
    assert figure.value == pytest.approx(0.7142857, abs=1e-7)
    assert figure.u == pytest.approx(1.1944e-3, abs=5e-8)
