# SPDX-License-Identifier: MIT
"""JCGM 100:2008, H.2: resistance and reactance measured together, quantities correlated.

Five sets of voltage, current and phase read at once (table H.2); R, X and Z of them by both
approaches of the Guide, with the correlations that table H.3 and H.4 print. Our r, E and I of
one set of repeats are correlated in the same way, and go through the same `Scatter`.
"""

from math import cos, sin, sqrt

import GTC
import numpy as np
import pytest
from uncertainties import correlated_values, correlation_matrix, umath

from sagline.analysis.budget import _scatter_numbers
from sagline.analysis.repeats import Scatter

# Table H.2: V / V, I / mA, phi / rad.
ROWS = np.array([
    (5.007, 19.663, 1.0456), (4.994, 19.639, 1.0438), (5.005, 19.640, 1.0468),
    (4.990, 19.685, 1.0428), (4.999, 19.678, 1.0433),
])  # fmt: skip
ROWS[:, 1] *= 1e-3

# Tables H.3 and H.4, with the last digit printed: value, u of R, X, Z; then r(R,X), r(R,Z), r(X,Z).
PRINTED = ((127.732, 0.071), (219.847, 0.295), (254.260, 0.236))
CORRELATIONS = {(0, 1): -0.588, (0, 2): -0.485, (1, 2): 0.993}
# The same from the rows, by arithmetic with no rounding in between.
UNROUNDED = ((127.73216993, 0.07107141), (219.84651191, 0.29558168), (254.25970195, 0.23633613))


def impedance(v, i, phi, cos=cos, sin=sin):
    """R, X and Z (ohm)."""
    return v / i * cos(phi), v / i * sin(phi), v / i


def test_the_correlations_of_the_readings() -> None:
    """Table H.2: s of the means 0.0032 V, 0.0095 mA, 0.00075 rad; r -0.36, 0.86, -0.65."""
    covariance = Scatter.of(ROWS).covariance
    u = np.sqrt(np.diag(covariance))
    assert u == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.015)
    r = covariance / np.outer(u, u)
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.36, 0.86, -0.65), abs=0.0055)


def test_first_approach_the_law_of_propagation_with_covariances() -> None:
    """Through the numbers that carry our repeats' scatter, and the `uncertainties` package."""
    scatter = Scatter.of(ROWS)
    means = ROWS.mean(axis=0)
    read = [mean + extra for mean, extra in zip(means, _scatter_numbers(scatter), strict=True)]
    found = impedance(*read, cos=GTC.cos, sin=GTC.sin)
    # Made by name when the module is loaded, so no checker of types sees them.
    sin_cos = {name: getattr(umath, name) for name in ("cos", "sin")}
    theirs = impedance(*correlated_values(means, scatter.covariance), **sin_cos)
    for one, other, (printed, printed_u), (value, u) in zip(
        found, theirs, PRINTED, UNROUNDED, strict=True
    ):
        assert one.x == pytest.approx(printed, abs=0.00051)
        assert one.u == pytest.approx(printed_u, abs=0.00101)
        assert (one.x, one.u) == pytest.approx((value, u), rel=1e-6)
        assert (other.n, other.s) == pytest.approx((one.x, one.u), rel=1e-9)
    matrix = correlation_matrix(theirs)
    for (i, j), printed in CORRELATIONS.items():
        r = GTC.get_covariance(found[i], found[j]) / (found[i].u * found[j].u)
        assert r == pytest.approx(printed, abs=0.00051)
        assert r == pytest.approx(matrix[i][j], abs=1e-9)


def test_second_approach_each_set_by_itself_then_the_mean() -> None:
    """H.2.4: what we do with repeats. The Guide prints the same digits."""
    each = np.array([impedance(*row) for row in ROWS])
    covariance = Scatter.of(each).covariance
    for index, (printed, printed_u) in enumerate(PRINTED):
        assert each[:, index].mean() == pytest.approx(printed, abs=0.00151)
        assert sqrt(covariance[index, index]) == pytest.approx(printed_u, abs=0.00101)
    for (i, j), printed in CORRELATIONS.items():
        r = covariance[i, j] / sqrt(covariance[i, i] * covariance[j, j])
        assert r == pytest.approx(printed, abs=0.0011)
