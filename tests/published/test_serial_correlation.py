# SPDX-License-Identifier: MIT
"""Readings that follow their neighbours: by how much the s.d. of their mean is wider.

For a first-order autoregression of lag-1 correlation rho the mean of n readings is as good as
that of n (1 - rho)/(1 + rho) independent ones; exactly, its variance is s²/n times
(1 + rho)/(1 - rho) - 2 rho (1 - rho^n)/(n (1 - rho)²) (the correlations summed; both from memory,
as in books on time series, and tried out below).
"""

from math import sqrt

import numpy as np
import pytest
from scipy.signal import lfilter

from published import mavro
from sagline.analysis import jointfit
from sagline.analysis.course import BATCH, correlation
from sagline.analysis.rows import Rows
from sagline.analysis.spectrum import Curves
from sagline.analysis.values import FloatArray


def variance_factor(rho: float, n: float = np.inf) -> float:
    whole = (1.0 + rho) / (1.0 - rho)
    return whole if n == np.inf else whole - 2.0 * rho * (1.0 - rho**n) / (n * (1.0 - rho) ** 2)


def autoregression(rho: float, series: int, n: int, rng: np.random.Generator) -> FloatArray:
    """(series, n) of s.d. 1, in its stationary state from the beginning."""
    driven = sqrt(1.0 - rho**2) * rng.standard_normal((series, n))
    driven[:, 0] /= sqrt(1.0 - rho**2)
    return np.asarray(lfilter([1.0], [1.0, -rho], driven))


def found_factor(rho: float, rng: np.random.Generator, repeats: int = 5, n: int = 4000) -> float:
    """Our factor on the s.d. of a rest level, from the residuals of fits of whole steps."""
    fits = []
    for _ in range(repeats):
        rows = Rows(
            start_s=np.concatenate([np.linspace(-1.0, -1e-3, n), np.linspace(0.01, 0.3, 40)]),
            length_s=np.full(n + 40, 2e-4),
            v=1.5 + 1e-4 * autoregression(rho, 1, n + 40, rng)[0] - 0.02 * (np.arange(n + 40) >= n),
            u_v=np.full(n + 40, 1e-4),
            code=np.zeros(n + 40),
            front=np.zeros(n + 40, dtype=np.int64),
            current_a=np.repeat([0.0, 0.1], [n, 40]),
        )
        fits.append(jointfit.linear(rows, Curves(np.array([0.1])), [0.1], None, None))
    joint = jointfit.JointFit((0.1,), Curves(np.array([0.1])), Curves(np.array([0.1])), tuple(fits))
    return correlation(joint)


def test_the_exact_form_by_trial() -> None:
    """That the formula above is right: means of 8 of 100 000 drawn series."""
    rng = np.random.default_rng(80)
    for rho in (0.3, 0.938):
        means = autoregression(rho, 100_000, 8, rng).mean(axis=1)
        assert 8.0 * means.var() == pytest.approx(variance_factor(rho, 8), rel=0.02)


def test_white_noise_is_not_widened() -> None:
    found = [found_factor(0.0, np.random.default_rng(seed)) for seed in range(10)]
    assert min(found) >= 1.0 and np.mean(found) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("rho", [0.1, 0.2, 0.3, 0.5])
def test_readings_that_follow_their_neighbours_a_little(rho: float) -> None:
    """The factor on u is that of batches of 8, a little less than of all: 8 % at rho = 0.5."""
    found = np.mean([found_factor(rho, np.random.default_rng(seed)) for seed in range(4)])
    assert found == pytest.approx(sqrt(variance_factor(rho, BATCH)), rel=0.02)
    assert found == pytest.approx(sqrt(variance_factor(rho)), rel=0.1)


def test_readings_as_tightly_bound_as_those_of_mavro() -> None:
    """NIST's Mavro, fifty readings of a real instrument: s over the root of 50 is far from what
    their mean is good for. With the certified correlation they are as good as 1.6 readings.

    Ours tells that such readings are worse than independent ones, but not by how much: batches
    of 8 can widen u by at most the root of 8, where 5.6 would be right.
    """
    readings = mavro.READINGS - mavro.READINGS.mean()
    lag_1 = float(readings[1:] @ readings[:-1] / (readings @ readings))
    assert lag_1 == pytest.approx(mavro.LAG_1, rel=1e-13)
    assert readings.size / variance_factor(mavro.LAG_1) == pytest.approx(1.6, abs=0.05)
    # The two halves lie further apart than independent readings would let them.
    apart = readings[25:].mean() - readings[:25].mean()
    assert apart > 3.0 * 1e5 * mavro.S * sqrt(2.0 / 25.0)
    found = found_factor(mavro.LAG_1, np.random.default_rng(50), n=20_000)
    assert found == pytest.approx(sqrt(variance_factor(mavro.LAG_1, BATCH)), rel=0.03)
    assert 2.5 < found < sqrt(BATCH) < sqrt(variance_factor(mavro.LAG_1))
