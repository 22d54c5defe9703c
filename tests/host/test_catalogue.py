# SPDX-License-Identifier: MIT
"""Every cell of the catalogue measured by its designation, with either converter."""

import pytest

from bench.nearrig import open_near
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

# On the planned load the on-board converter's linearity makes r of these this uncertain at least.
POOR = {"hr6": 0.1, "lfp": 0.1, "sla12": 0.12, "starter12": 0.15}
# Half the interval of r may be this share of r; what the load's 1 % leaves is 1.2 %.
WIDEST = {"sla12": 0.06, "starter12": 0.25, "hr6": 0.05, "lfp": 0.05}


def measured(name, adc):
    with open_near(f"virtual://{name}?seed=0&adc={adc}") as rig:
        return rig.measure(designation=CELLS[name].designation, repeats=3)


def holds(quantity, true):
    # One rig of each kind: one in twenty lies outside U, next to none three times u away. How
    # often the intervals hold the truth is tests/bench/coverage.py's to say.
    return abs(quantity.value - true) < 3.0 * quantity.u


@pytest.mark.parametrize("name", CELLS)
def test_the_external_converter_resolves_each(name):
    result = measured(name, "both")
    true = truth(CELLS[name])["truth"]
    assert result.load_ohm.value == pytest.approx(true["load_ohm"], rel=0.02)
    assert holds(result.r_ohm, true["r_at"][0]["value"])
    assert holds(result.emf_v, true["emf_v"])
    width = (result.r_ohm.high95 - result.r_ohm.low95) / 2.0 / true["r_at"][0]["value"]
    assert width < WIDEST.get(name, 0.02)
    assert "below_resolution" not in {warning.code for warning in result.warnings}


@pytest.mark.parametrize("name", CELLS)
def test_the_onboard_converter_says_what_limits_it(name):
    result = measured(name, "onboard")
    true = truth(CELLS[name])["truth"]
    assert holds(result.r_ohm, true["r_at"][0]["value"])
    assert holds(result.emf_v, true["emf_v"])
    width = (result.r_ohm.high95 - result.r_ohm.low95) / 2.0 / true["r_at"][0]["value"]
    assert POOR.get(name, 0.02) < width < 0.6
    (said,) = [warning for warning in result.warnings if warning.code == "onboard_linearity"]
    assert "of the variance of r" in said.text and said.remedy
    # Where zero is inside, that is said as well.
    unresolved = [warning for warning in result.warnings if warning.code == "below_resolution"]
    assert bool(unresolved) == (result.r_ohm.low95 <= 0.0)
