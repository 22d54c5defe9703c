# SPDX-License-Identifier: MIT
"""A cell whose r depends on the current: what its line is said to be, from codes to words."""

from math import asinh

import numpy as np
import pytest

from analysis.analytic_cell import DIODE_V, PROFILE, Cell, Rig, make_step
from sagline.analysis.estimate import estimate
from sagline.analysis.line import through
from sagline.analysis.lineestimate import LineEstimate, estimate_line
from sagline.analysis.values import ADS1115, Notice

EMF_V, OHMIC_OHM = 1.58, 0.15
LOADS = (3, 2, 1, 0)
T_S = 0.1


def lost_v(current_a: float, slope_v: float) -> float:
    """Activation polarization, a·asinh(I/I0) with I0 = 1 mA: Butler and Volmer's equation with
    equal coefficients (from memory)."""
    return slope_v * asinh(current_a / 1e-3)


def cell_on(load: int, slope_v: float) -> tuple[Cell, float]:
    """The cell as it is at the current that this load takes, and that current (A)."""
    loop_ohm = sum(Rig().loop_ohm(load))
    current_a = 0.0
    for _ in range(200):
        current_a = (EMF_V - DIODE_V - lost_v(current_a, slope_v)) / (OHMIC_OHM + loop_ohm)
    return Cell(EMF_V, OHMIC_OHM + lost_v(current_a, slope_v) / current_a), current_a


def line_of(slope_v: float) -> tuple[LineEstimate, tuple[Notice, ...]]:
    rng = np.random.default_rng(4)

    def steps(loads: tuple[int, ...]) -> list:
        return [make_step(cell_on(load, slope_v)[0], load=load, rng=rng) for load in loads]

    usual = estimate(steps((0, 0, 0)), PROFILE, ADS1115, (T_S,))
    line, said = estimate_line(steps(LOADS + LOADS[::-1]), PROFILE, ADS1115, T_S, usual)
    assert line is not None
    return line, said


def test_the_gap_and_the_bend_of_activation_are_told() -> None:
    line, said = line_of(slope_v=0.005)
    currents = np.array([cell_on(load, 0.005)[1] for load in LOADS])
    v = np.array([EMF_V - OHMIC_OHM * i - lost_v(i, 0.005) for i in currents])
    assert [point.v_v for point in line.points] == pytest.approx(v, abs=2e-3)
    (true_e, true_r), _, _ = through(currents, v, line.budget.fit.precision)
    gap = line.budget.gap()
    assert gap.u is not None and line.r.u is not None
    # The nominal rig: what is left is noise and rounding, far below u.
    assert gap.value == pytest.approx(true_e - EMF_V, abs=gap.u)
    assert line.r.value == pytest.approx(true_r, abs=line.r.u)
    assert gap.value < -5e-3
    notices = {notice.code: notice for notice in said}
    assert f"{-1e3 * gap.value:.2g} mV" in notices["activation_polarization"].text
    assert "less at a greater one" in notices["r_depends_on_current"].text
    assert "no mistake" in notices["r_depends_on_current"].remedy


def test_of_an_ohmic_cell_neither_is_told() -> None:
    line, said = line_of(slope_v=0.0)
    assert [notice.code for notice in said] == ["two_current_r"]
    assert line.emf.u is not None and line.r.u is not None
    assert line.emf.value == pytest.approx(EMF_V, abs=0.5 * line.emf.u)
    assert line.r.value == pytest.approx(OHMIC_OHM, abs=line.r.u)
