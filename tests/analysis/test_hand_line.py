# SPDX-License-Identifier: MIT
"""The V-I line by hand: closed forms of least squares, published data, and what is withheld."""

from itertools import combinations
from math import sqrt

import numpy as np
import pytest
from scipy import stats

from analysis.sheets import codes, said
from sagline.analysis.hand.straight import extremes, fit
from sagline.analysis.influences import Influence
from sagline.analysis.values import AnalysisError
from sagline.errors import UsageError

E, R = 1.6, 0.2


def by_amps(currents, errors=None, places: int = 6) -> str:
    """Readings of a cell of E and R at these currents, each voltage off by its error."""
    errors = [0.0] * len(currents) if errors is None else errors
    return " ".join(
        f"loaded={E - R * amps + error:.{places}f} amps={amps:.6f}"
        for amps, error in zip(currents, errors, strict=True)
    )


def by_load(loads) -> str:
    return " ".join(f"loaded={E * load / (load + R):.9f} load={load:.6f}" for load in loads)


@pytest.mark.parametrize(
    ("readings", "options"),
    [
        (by_amps([0.1, 0.4, 0.9, 1.3]), {"u_amps": "0.001"}),
        (by_load([1.0, 2.2, 4.7, 15.0]), {"u_ohm": "0.5%"}),
        (by_load([1.0, 15.0]), {"u_ohm": "0.5%"}),
        (by_load([1.0, 2.2, 4.7]).replace("load=", "load="), {}),
    ],
)
def test_points_on_a_line_give_its_e_and_r(readings: str, options: dict) -> None:
    found = said("line", readings, extrapolate=True, u_volts="0.001", **options)
    assert found.line is not None
    assert found.r.value == pytest.approx(R, rel=1e-5)
    assert found.line.emf.value == pytest.approx(E, rel=1e-6)
    assert found.emf == found.line.emf


def test_u_and_covariance_are_those_of_least_squares() -> None:
    """Equal errors in V alone: u(r)² = s²/Sxx, u(E)² = s² Σx²/(n Sxx), cov(E, r) = s² x̄/Sxx."""
    x = np.array([0.1, 0.4, 0.9, 1.3])
    found = said("line", by_amps(x), u_volts="0.003", u_amps="1e-7")
    sxx = np.sum((x - x.mean()) ** 2)
    assert found.line is not None
    assert found.r.u == pytest.approx(0.003 / sqrt(sxx), rel=1e-4)
    assert found.line.emf.u == pytest.approx(0.003 * sqrt(np.sum(x**2) / (len(x) * sxx)), rel=1e-4)
    assert found.line.covariance_v_ohm == pytest.approx(0.003**2 * x.mean() / sxx, rel=1e-4)
    assert found.r.dof is None


def test_unstated_the_points_themselves_tell_how_good_they_are() -> None:
    """u(r) = s/sqrt(Sxx) with s² from the residuals and n - 2 degrees of freedom (GUM H.3)."""
    x = np.array([0.1, 0.3, 0.5, 0.8, 1.0, 1.3])
    errors = [0.004, -0.006, 0.003, 0.005, -0.007, 0.002]
    found = said("line", by_amps(x, errors), u_amps="1e-8")
    y = E - R * x + np.array(errors)
    slope, intercept, *_ = stats.linregress(x, y)
    s = sqrt(np.sum((y - intercept - slope * x) ** 2) / 4.0)
    assert found.r.value == pytest.approx(-slope, rel=1e-6)
    assert found.r.u == pytest.approx(s / sqrt(np.sum((x - x.mean()) ** 2)), rel=1e-4)
    assert found.r.dof == pytest.approx(4.0, rel=1e-3)
    assert found.r.k == pytest.approx(stats.t.ppf(0.975, 4), rel=1e-3)
    assert found.budget[0].source == "points off the line" and found.budget[0].type == "A"


def test_stated_errors_hold_until_the_points_say_otherwise() -> None:
    """Chance alone widens nothing; beyond the 99 % quantile of chi squared it is said."""
    x, errors = [0.1, 0.5, 0.9, 1.3], [0.002, -0.002, -0.002, 0.002]
    chance = said("line", by_amps(x, errors), u_volts="0.0015", u_amps="1e-7")
    assert "points off the line" not in {line.source for line in chance.budget}
    far = said("line", by_amps(x, errors), u_volts="0.0003", u_amps="1e-7")
    assert "points_off_line" in codes(far) and "points_off_line" not in codes(chance)
    assert far.budget[0].source == "points off the line"
    # As wide as least squares has it by the residuals: each is 2 mV off a flat residual line.
    s = sqrt(4 * 0.002**2 / 2)
    assert far.r.u == pytest.approx(s / sqrt(np.sum((np.array(x) - 0.7) ** 2)), rel=1e-3)


def test_published_line_with_errors_in_both_axes() -> None:
    """Pearson's points with York's weights, Lybanon, Am. J. Phys. 52 (1984) 22: intercept
    5.47991, slope -0.480533."""
    x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
    y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
    weights_x = [1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0]
    weights_y = [1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0]
    inputs = [
        Influence(f"{axis}{n}", axis, 0.0, weight**-0.5, "normal")
        for axis, weights in (("x", weights_x), ("y", weights_y))
        for n, weight in enumerate(weights)
    ]
    found = fit(
        lambda k: (
            [one + k[f"x{n}"] for n, one in enumerate(x)],
            [one + k[f"y{n}"] for n, one in enumerate(y)],
        ),
        lambda a, b, _: {"b": b, "a": a},
        inputs,
        known=True,
    )
    assert found.a == pytest.approx(5.47991, abs=1e-5)
    assert found.b == pytest.approx(-0.480533, abs=1e-6)
    assert found.chi2 == pytest.approx(11.866, abs=1e-3)


def test_extreme_lines_pass_through_every_bar() -> None:
    """Against all lines through two ends of bars, which hold the extremes."""
    x, errors = np.array([0.1, 0.4, 0.9, 1.3]), np.array([0.002, -0.001, 0.001, -0.002])
    found = said("line", by_amps(x, errors), u_volts="0.002", u_amps="1e-7")
    assert found.line is not None
    y, half = E - R * x + errors, 0.004
    slopes = []
    for (i, j), up, down in (
        (pair, up, down) for pair in combinations(range(4), 2) for up in (1, -1) for down in (1, -1)
    ):
        slope = (y[j] + down * half - y[i] - up * half) / (x[j] - x[i])
        if np.all(np.abs(y - (y[i] + up * half) - slope * (x - x[i])) <= half * (1 + 1e-6)):
            slopes.append(-slope)
    assert found.line.steepest_ohm == pytest.approx(max(slopes), rel=1e-4)
    assert found.line.shallowest_ohm == pytest.approx(min(slopes), rel=1e-4)
    far = said("line", by_amps(x, 20 * errors), u_volts="0.002", u_amps="1e-7")
    assert far.line is not None and far.line.steepest_ohm is None


def test_extremes_of_points_that_no_line_meets() -> None:
    x, errors = [0.1, 0.5, 0.9], [0.0, 0.05, 0.0]
    inputs = [Influence(f"y{n}", "y", 0.0, 0.001, "normal") for n in range(3)]
    found = fit(
        lambda k: (x, [1.0 + errors[n] + k[f"y{n}"] for n in range(3)]),
        lambda a, b, _: {"b": b, "a": a}, inputs, known=True,
    )  # fmt: skip
    assert extremes(found, 2.0) is None
    with pytest.raises(ValueError, match="two different x"):
        fit(lambda k: ([1.0, 1.0], [k["y0"], k["y1"]]), lambda a, b, _: {}, inputs, known=True)


def test_an_open_voltage_is_beside_the_line_unless_asked() -> None:
    readings = f"open=1.650 {by_amps([0.1, 0.5, 0.9, 1.3])}"
    found = said("line", readings, u_volts="0.001", u_amps="0.001")
    assert found.emf is not None and found.emf.value == 1.650
    assert found.line is not None and found.line.emf.value == pytest.approx(E, abs=1e-4)
    assert "emf_gap" in codes(found)
    assert found.groups[0].r_ohm == pytest.approx((1.65 - 1.58) / 0.1)
    near = said("line", readings.replace("1.650", "1.601"), u_volts="0.001", u_amps="0.001")
    assert "emf_gap" not in codes(near)
    taken = said("line", readings, u_volts="0.001", u_amps="0.001", fit_open=True)
    assert taken.emf is not None and taken.line is not None and taken.emf == taken.line.emf
    assert taken.emf.value > 1.605, "the open voltage pulls"
    behind = said("line", f"{by_amps([0.1, 0.5, 0.9])} open=1.650", u_volts="0.001")
    assert behind.emf is not None and behind.emf.value == 1.650


def test_two_points_withhold_e_unless_asked() -> None:
    """2.00 V at 40 A, 1.92 V at 200 A: 0.500 milliohm, E 2.020 V, 4040 A. The form of a
    two-current method, recomputed; not its figures, whose times are not those of a hand."""
    readings = "loaded=2.00 amps=40 loaded=1.92 amps=200"
    found = said("line", readings)
    assert found.r.value == pytest.approx(0.500e-3, rel=1e-9)
    assert found.emf is None and found.line is None and found.short_circuit is None
    assert {"emf_not_asked", "two_points"} <= set(codes(found))
    asked = said("line", readings, extrapolate=True)
    assert asked.emf is not None and asked.emf.value == pytest.approx(2.020, abs=1e-9)
    assert asked.short_circuit is not None
    assert asked.short_circuit.value == pytest.approx(4040.0)


def test_two_pulses_of_a_cell_maker() -> None:
    """5 mA then 505 mA, 1.485 V then 1.378 V: 0.214 ohm (a cell maker's technical bulletin)."""
    found = said("line", "loaded=1.485 amps=0.005 loaded=1.378 amps=0.505")
    assert found.r.value == pytest.approx(0.214, abs=0.001)


@pytest.mark.parametrize(
    ("readings", "error", "code"),
    [
        ("loaded=1.5 load=10", AnalysisError, "one_point"),
        ("loaded=1.5 load=10.0 loaded=1.5 load=10.1", AnalysisError, "one_point"),
        ("loaded=1.5 load=10 loaded=1.4 amps=0.3", UsageError, "mixed_settings"),
        ("loaded=1.40 amps=0.1 loaded=1.50 amps=0.3", AnalysisError, "r_below_zero"),
        ("loaded=1.40 amps=0.1 loaded=-0.1 amps=0.3", AnalysisError, "negative_terminal_voltage"),
    ],
)
def test_what_is_no_line(readings: str, error, code: str) -> None:
    with pytest.raises(error) as caught:
        said("line", readings)
    assert caught.value.code == code


def test_changes_go_without_other_readings() -> None:
    for options, readings in (
        ({"volts_change": "-2.0"}, ""),
        ({"volts_change": "-2.0", "amps_change": "5.0"}, "open=1.5"),
    ):
        with pytest.raises(UsageError) as caught:
            said("line", readings, **options)
        assert caught.value.code == "changes_alone"
    with pytest.raises(AnalysisError):
        said("line", "", volts_change="-2.0", amps_change="0.0")
    with pytest.raises(AnalysisError) as rising:
        said("line", "", volts_change="2.00", amps_change="5.00")
    assert rising.value.code == "r_below_zero"


def test_watts_are_volts_times_amperes() -> None:
    currents = [0.1, 0.5, 0.9]
    watts = " ".join(
        f"loaded={E - R * amps:.6f} watts={(E - R * amps) * amps:.8f}" for amps in currents
    )
    found = said("line", watts, u_volts="0.001", u_watts="0.5%")
    assert found.r.value == pytest.approx(R, rel=1e-4)
