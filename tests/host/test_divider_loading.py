# SPDX-License-Identifier: MIT
"""E of a cell that the dividers load all the time, whose r for that is far more than r(0.1 s)."""

from unittest import mock

import sagline
from sagline.virtual import port
from sagline.virtual.cells import CELLS
from sagline.virtual.parts import nominal_parts
from sagline.virtual.truth import truth


def test_the_open_level_is_carried_back_to_no_current() -> None:
    """A coin cell in a rig of marked values: 35 µA flow through what is 15 Ω at 0.1 s and 27 Ω
    after ten seconds. With r(0.1 s) alone E would read some 0.3 mV low; its own noise and
    linearity leave 0.1 mV."""
    with (
        mock.patch.object(port, "draw_parts", lambda *_, **__: nominal_parts()),
        sagline.open_rig("virtual://cr2032?seed=3&adc=ads1115") as rig,
    ):
        result = rig.measure(designation="CR2032", repeats=3)
    assert result.emf_v is not None
    lines = {line.source: line.u_v for line in result.emf_budget}
    loading_v = 3.0**0.5 * lines["divider loading"]
    assert 0.2e-3 < loading_v < 0.6e-3
    error_v = result.emf_v.value - CELLS["cr2032"].emf_v
    assert abs(error_v) < 0.15e-3
    assert error_v - loading_v < -0.2e-3, "without it E would be low"


def test_the_force_tap_falls_by_the_diode_too() -> None:
    """At rest next to nothing flows through the blocking diode, under load a coin cell's
    milliamperes: its divider then takes 2 µA less, 0.03 % of the load's current. Held to the
    simulated truth, noise and rounding being a tenth of that."""
    with (
        mock.patch.object(port, "draw_parts", lambda *_, **__: nominal_parts()),
        sagline.open_rig("virtual://cr2032?seed=1") as rig,
    ):
        result = rig.measure(designation="CR2032")
    true_ohm = truth(CELLS["cr2032"])["truth"]["r_at"][0]["value"]
    assert abs(result.r_ohm.value / true_ohm - 1.0) < 5e-5
