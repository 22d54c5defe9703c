# SPDX-License-Identifier: MIT
"""JCGM 100:2008, H.3: a straight line b = y1 + y2 (t − t0) by least squares, with covariance.

Our V-I line is the same line with the other sign: E its intercept, r minus its slope. The readings
there (table H.6) err in one axis, all alike and by an unknown amount, so s comes from the misfits.
"""

from math import sqrt

import numpy as np
import pytest

from sagline.analysis.line import Points, fit

# Table H.6: t / degrees C, and the correction b there.
T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010,
              26.511])  # fmt: skip
B = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161,
              -0.160])  # fmt: skip
T0 = 20.0


def line(t0: float = T0):
    k = T.size
    covariance = np.zeros((2 * k, 2 * k))
    covariance[k:, k:] = np.eye(k)
    found = fit(Points(T - t0, B, covariance))
    s2 = found.chi2 / found.dof
    return found, sqrt(s2), found.covariance * s2


def test_the_printed_line_and_its_covariance() -> None:
    """y1 −0.1712 (0.0029), y2 0.002 18 (0.000 67), r −0.930, s 0.0035 with 9 degrees of freedom."""
    found, s, covariance = line()
    u1, u2 = np.sqrt(np.diag(covariance))
    assert found.dof == 9
    assert round(s, 4) == 0.0035
    assert (round(found.emf_v, 4), round(u1, 4)) == (-0.1712, 0.0029)
    assert (round(-found.r_ohm, 5), round(u2, 5)) == (0.00218, 0.00067)
    # Minus the slope turns the sign of the correlation.
    assert round(-covariance[0, 1] / (u1 * u2), 3) == -0.930


def test_the_same_digits_without_rounding_and_by_another_library() -> None:
    found, s, covariance = line()
    u1, u2 = np.sqrt(np.diag(covariance))
    theirs, their_covariance = np.polyfit(T - T0, B, 1, cov=True)
    assert found.emf_v == pytest.approx(-0.171203790131, rel=1e-9)
    assert -found.r_ohm == pytest.approx(0.002182697739887, rel=1e-9)
    assert (-found.r_ohm, found.emf_v) == pytest.approx(theirs, rel=1e-9)
    assert (u2, u1) == pytest.approx(np.sqrt(np.diag(their_covariance)), rel=1e-9)
    assert s == pytest.approx(0.003497563964, rel=1e-9)
    assert -covariance[0, 1] / (u1 * u2) == pytest.approx(-0.93042960309, rel=1e-9)


def test_the_predicted_correction_at_30_degrees() -> None:
    """b(30) = −0.1494 (0.0041): a figure of both, by the law of propagation with covariance."""
    found, _, covariance = line()
    at = np.array([1.0, -(30.0 - T0)])
    assert round(found.emf_v - found.r_ohm * (30.0 - T0), 4) == -0.1494
    assert round(sqrt(at @ covariance @ at), 4) == 0.0041
    # H.3.6: about the mean of t the two are not correlated, and b(30) stays.
    middle, _, about = line(float(T.mean()))
    assert abs(about[0, 1]) < 1e-12
    assert middle.emf_v - middle.r_ohm * (30.0 - T.mean()) == pytest.approx(-0.149376812732)
