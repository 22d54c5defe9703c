# SPDX-License-Identifier: MIT
"""NIST Statistical Reference Datasets, univariate and linear: our means, scatter and lines.

Norris comes from the file that scipy carries. The other data are short enough to be typed, and
a digit mistyped would miss the certified values, which are compared to nearly all their digits.
"""

from math import sqrt
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from published import mavro
from sagline.analysis import jointfit
from sagline.analysis.repeats import Scatter
from sagline.analysis.rows import Rows
from sagline.analysis.step import channel_points, fit_line
from sagline.analysis.values import ADS1115, SENSE, FloatArray, RawStep

# NumAcc1 to NumAcc4 in whole units of `unit`, certified mean and s.d. in it.
ALTERNATING = np.array([2, *[1, 3] * 500])
NUMERICAL_ACCURACY = {
    "NumAcc1": (1.0, np.array([10_000_001, 10_000_003, 10_000_002]), 10_000_002, 1),
    "NumAcc2": (0.1, 10 + ALTERNATING, 12, 1),
    "NumAcc3": (0.1, 10_000_000 + ALTERNATING, 10_000_002, 1),
    "NumAcc4": (0.1, 100_000_000 + ALTERNATING, 100_000_002, 1),
}

# Pontius: a load cell calibrated twice with 20 loads, and the parabola through it.
PONTIUS_LOAD = np.tile(150_000.0 * np.arange(1, 21), 2)
PONTIUS_DEFLECTION = np.array([
    0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146,
    1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
    0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150,
    1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829,
])  # fmt: skip
# Certified: estimate and its s.d., then the residual s.d.
PONTIUS = (
    (0.673565789473684e-03, 0.107938612033077e-03),
    (0.732059160401003e-06, 0.157817399981659e-09),
    (-0.316081871345029e-14, 0.486652849992036e-16),
)
PONTIUS_RESIDUAL = 0.205177424076185e-03


def mean_and_s(values: FloatArray) -> tuple[float, float]:
    """As for repeats: the s.d. of single ones from the Type A of their mean."""
    scatter = Scatter.of(values[:, None])
    return float(values.mean()), sqrt(scatter.covariance[0, 0] * scatter.count)


@pytest.mark.parametrize("name", NUMERICAL_ACCURACY)
def test_readings_that_differ_in_their_last_digits(name: str) -> None:
    unit, counts, mean, s = NUMERICAL_ACCURACY[name]
    # As whole numbers, which is how codes come from a board, nothing is lost.
    assert mean_and_s(counts.astype(float)) == pytest.approx((mean, s), rel=1e-14, abs=0.0)
    # As decimal fractions the numbers themselves are good to sixteen digits, s to eight.
    found = mean_and_s(counts * unit)
    assert found == pytest.approx((mean * unit, s * unit), rel=2e-8, abs=0.0)
    assert found[0] == pytest.approx(mean * unit, rel=1e-14)


@pytest.mark.parametrize("name", NUMERICAL_ACCURACY)
def test_a_sum_of_codes_is_divided_by_the_host(name: str) -> None:
    """A point of a record is a sum: its mean is the certified one to the last bit or so."""
    _, counts, mean, _ = NUMERICAL_ACCURACY[name]
    raw = RawStep(
        np.array([ADS1115 * 4 + SENSE]), np.array([0]), np.array([20_000]),
        np.array([counts.size]), np.array([counts.sum()]),
        (30_000, 60_000), 0, False, ((0, 30), (1, 30)),
    )  # fmt: skip
    points = channel_points(raw, ADS1115, SENSE, 0.0, 30_000.0)
    assert points.code == pytest.approx([mean], rel=1e-15)


def test_numbers_of_32_bits_fail_where_whole_numbers_do_not() -> None:
    """A Pico's floating-point numbers have 32 bits: for its records to be sums of whole numbers
    is no matter of taste. Even the better way, deviations from the mean, fails on the last two."""
    agrees = {}
    for name, (unit, counts, mean, s) in NUMERICAL_ACCURACY.items():
        values = np.array([np.float32(count * unit) for count in counts])
        total = np.float32(0.0)
        for value in values:
            total = np.float32(total + value)
        middle = np.float32(total / np.float32(values.size))
        squares = np.float32(0.0)
        for value in values:
            squares = np.float32(squares + np.float32(value - middle) ** 2)
        found_s = sqrt(float(squares) / (values.size - 1))
        agrees[name] = (
            abs(float(middle) / unit - mean) < 0.01 * s and abs(found_s / unit - s) < 0.01 * s
        )
    assert agrees == {"NumAcc1": True, "NumAcc2": True, "NumAcc3": False, "NumAcc4": False}


def test_real_readings_of_an_instrument() -> None:
    mean, s = mean_and_s(mavro.READINGS.astype(float))
    assert 2.0 + 1e-5 * mean == pytest.approx(mavro.MEAN, rel=1e-14)
    assert 1e-5 * s == pytest.approx(mavro.S, rel=1e-14, abs=0.0)


def test_a_line_through_an_ozone_monitors_calibration() -> None:
    """Norris: certified intercept and slope with their s.d., and the residual s.d."""
    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_linregress" / "Norris.dat"
    rows = [line.split() for line in path.read_text(encoding="utf-8").splitlines()[60:]]
    y, x = np.array([[float(cell) for cell in row] for row in rows if len(row) == 2]).T
    assert x.size == 36
    line = fit_line(x, y, np.ones(36))
    assert line.level == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.level_u == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.slope_u == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert line.noise == pytest.approx(0.884796396144373, rel=1e-11)


class Parabola:
    """1, x and x squared: a basis for the fit of a step."""

    def at(self, t_s: FloatArray) -> FloatArray:
        return np.column_stack([np.ones_like(t_s), t_s, t_s * t_s])

    def over(self, start_s: FloatArray, length_s: FloatArray) -> FloatArray:
        return self.at(start_s)


def test_least_squares_of_a_step_on_a_load_cells_parabola() -> None:
    """Pontius as the r(t) of a step: loads as times, deflections as ohms at one ampere. At rest
    the voltage is zero, and known a thousand times better, so that E and drift stay zero."""
    n = PONTIUS_LOAD.size
    rest = np.array([-3.0, -2.0, -1.0]) * PONTIUS_LOAD.max()
    rows = Rows(
        start_s=np.array([*rest, *PONTIUS_LOAD]),
        length_s=np.full(n + 3, 1.0),
        v=np.concatenate([np.zeros(3), -PONTIUS_DEFLECTION]),
        u_v=np.repeat([1e-6, 1.0], [3, n]),
        code=np.zeros(n + 3),
        front=np.zeros(n + 3, dtype=np.int64),
        current_a=np.repeat([0.0, 1.0], [3, n]),
    )
    found = jointfit.linear(rows, Parabola(), tuple(PONTIUS_LOAD), None, None)
    residual = found.residual[3:]
    s = sqrt(float((residual**2).sum()) / (n - 3))
    assert s == pytest.approx(PONTIUS_RESIDUAL, rel=1e-8, abs=0.0)
    for amplitude, (certified, _) in zip(found.amplitudes, PONTIUS, strict=True):
        # The terms of the fit are up to 1e13 apart.
        assert amplitude == pytest.approx(certified, rel=1e-8, abs=0.0)
    # r at any x is a sum of the readings by its weights, and its s.d. follows from them.
    at_zero = jointfit.linear(rows, Parabola(), [0.0], None, None)
    u = s * sqrt(float((at_zero.weights[0, 3:] ** 2).sum()))
    assert at_zero.r_ohm[0] == pytest.approx(PONTIUS[0][0], rel=1e-8, abs=0.0)
    assert u == pytest.approx(PONTIUS[0][1], rel=1e-8, abs=0.0)
