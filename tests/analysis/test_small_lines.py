# SPDX-License-Identifier: MIT
"""The smaller lines of the budget of r: ground lead, the load's own heat, the instant of switching.

Each against its own derivation by hand.
"""

from dataclasses import replace
from math import sqrt

import pytest

from analysis.analytic_cell import PROFILE
from sagline.analysis.budget import OUTPUTS, Evaluation, evaluate
from sagline.analysis.calibration import expected_readings, tap_volts
from sagline.analysis.influences import influences_of
from sagline.analysis.profile import LeadsProfile, LoadProfile, RigProfile
from sagline.analysis.repeats import Scatter
from sagline.analysis.values import RETURN
from sagline_board import profile as board

EMF_V, R_OHM, LOAD_OHM, SWITCH_OHM = 1.58, 0.16, 3.3, 0.041
CURRENT_A = 0.40


def found(profile: RigProfile = PROFILE, **readings: float) -> Evaluation:
    levels = expected_readings(profile, 1, 0, False, EMF_V, R_OHM)
    levels = replace(levels, **readings)
    return evaluate(influences_of(profile, 1, 0, False, levels, {}), Scatter.none(len(OUTPUTS)))


def u_of(evaluation: Evaluation, source: str) -> float:
    return next((line.u for line in evaluation.budget if line.source == source), 0.0)


def test_what_lifts_the_ground_is_taken_off_and_known_to_itself() -> None:
    """60 mohm of return path, read by the step, at 0.4 A through 10 kohm: 2.4 uA through a fuse of
    1.5 ohm lift the ground; what the dividers take less of sinks it. By Kirchhoff's law."""
    leads = LeadsProfile.from_integers(board.LEADS)
    levels = expected_readings(PROFILE, 1, 0, False, EMF_V, R_OHM)
    plain = found(force_fall_v=0.36)
    current_a = plain.current_a.value
    rise_v = tap_volts(PROFILE, 1, RETURN, levels.return_loaded, False) - tap_volts(
        PROFILE, 1, RETURN, levels.return_open, False
    )
    divider_s = 1.0 / (100e3 + 1.0 / (1.0 / 75e3 + 1.0 / 1e6))
    less_a = divider_s * (R_OHM * current_a + 0.36)
    error_ohm = 1.5 * (rise_v / 1e4 - less_a) / current_a
    assert -2e-5 < error_ohm < 2e-5 and abs(error_ohm) > 1e-6
    tied = found(replace(PROFILE, leads=leads), force_fall_v=0.36)
    assert plain.r_ohm.value - tied.r_ohm.value == pytest.approx(error_ohm, rel=1e-3)
    assert u_of(tied, "ground lead") == pytest.approx(abs(error_ohm) / sqrt(3.0), rel=1e-3)
    assert u_of(plain, "ground lead") == 0.0


def test_a_pulse_warms_the_load_by_its_energy() -> None:
    """0.1 s at 0.4 A: 53 mJ in the resistor and 0.66 mJ in the switch."""
    bank = board.LOADS[0]
    i2t = CURRENT_A**2 * 0.1
    resistor_k = i2t * LOAD_OHM / (bank["heat_mj_per_k"] * 1e-3)
    switch_k = i2t * SWITCH_OHM / (bank["switch_heat_mj_per_k"] * 1e-3)
    most = switch_k * 4e-3 * SWITCH_OHM / LOAD_OHM
    cold, warm = found(), found(i2t_a2s=i2t)
    limit = resistor_k * 100e-6 + 0.5 * most
    assert u_of(warm, "load heating") == pytest.approx(R_OHM * limit / sqrt(3.0), rel=1e-3)
    # A load that is larger than thought: less current than thought, so r is more.
    risen = warm.r_ohm.value / cold.r_ohm.value - 1.0
    assert risen == pytest.approx(0.5 * most, rel=1e-2)
    assert u_of(cold, "load heating") == 0.0


def test_a_board_that_does_not_say_what_warms_has_no_line() -> None:
    fields = {k: v for k, v in board.LOADS[0].items() if "heat" not in k}
    assert LoadProfile.from_integers(fields).heating(1.0) == (0.0, 0.0)


def test_the_instant_counts_by_the_slope_of_r() -> None:
    """10 us of a slope of 0.3 ohm/s."""
    steep = found(slope_ohm_per_s=0.3)
    assert u_of(steep, "timing") == pytest.approx(10e-6 * 0.3 / sqrt(3.0))
    assert u_of(found(), "timing") == 0.0


def test_the_dividers_load_the_open_level_all_the_time() -> None:
    """By the series-parallel resistance of both dividers: 100 kohm and 75 kohm beside 1 Mohm each.

    What is known is a most; half of it is taken, and is off by no more.
    """
    slow_ohm = 30.0
    input_s = 2.0 / (100e3 + 1.0 / (1.0 / 75e3 + 1.0 / 1e6))
    plain, slow = found(), found(slow_ohm=slow_ohm)
    risen_v = slow.emf_v.value - plain.emf_v.value
    assert risen_v == pytest.approx(plain.emf_v.value * slow_ohm / 2.0 * input_s, rel=1e-3)
    lines = {line.source: line.u for line in slow.emf_budget}
    assert lines["divider loading"] == pytest.approx(risen_v / sqrt(3.0), rel=1e-3)
    assert "divider loading" not in {line.source for line in slow.budget}
