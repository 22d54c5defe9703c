# SPDX-License-Identifier: MIT
"""Textbook problems that give r from an open and a loaded voltage, through the rig's model.

The printed voltages are turned into codes by an inverse written here, with the resistor of
the problem as the load and no switch, and the model must give the printed r back.
"""

from dataclasses import replace

import pytest

from analysis.analytic_cell import PROFILE, Rig
from sagline.analysis.calibration import model
from sagline.analysis.influences import Readings, influences_of, nominal

# Open V, loaded V, load ohm, printed r, one unit of its last digit.
PROBLEMS = {
    # OpenStax University Physics vol. 2, 10.1: E 12.00, r 0.100, R 10.00 and 0.500
    "openstax-light": (12.0, 12.0 * 10.0 / 10.1, 10.0, 0.100, 0.001),
    "openstax-heavy": (12.0, 10.0, 0.5, 0.100, 0.001),
    "openstax-heavy-aged": (12.0, 6.0, 0.5, 0.500, 0.001),
    # OpenStax College Physics 2e: starter motor, then with corrosion in the lead
    "openstax-starter": (12.0, 10.0, 0.05, 0.0100, 0.0001),
    "openstax-corroded": (12.0, 4.0, 0.05, 0.1000, 0.0001),
    # Young and Freedman, University Physics, 25.33 (from memory): 1.65 A
    "young-freedman": (3.08, 2.97, 2.97 / 1.65, 0.067, 0.001),
    # Serway and Jewett, ch. 28 problem 1 (from memory): 20.0 W at 11.6 V
    "serway-jewett": (15.0, 11.6, 11.6**2 / 20.0, 1.97, 0.01),
    # NCERT Physics XII, ch. 3: 10 V, 0.5 A, 8.5 V
    "ncert": (10.0, 8.5, 17.0, 3.0, 1.0),
    # Examination items: 12.0 to 10.9 V on 10.0 ohm; 9.00 to 8.00 V on 1.40 ohm
    "exam-12": (12.0, 10.9, 10.0, 1.0, 0.1),
    "exam-9": (9.0, 8.0, 1.4, 0.175, 0.001),
}


@pytest.mark.parametrize("name", PROBLEMS)
@pytest.mark.parametrize("converter", [0, 1])
def test_the_printed_resistance_comes_back(name: str, converter: int) -> None:
    open_v, loaded_v, load_ohm, r_ohm, digit = PROBLEMS[name]
    milliohm = replace(PROFILE.loads[0], load_milliohm=1, switch_milliohm=0)
    profile = replace(PROFILE, loads=(milliohm,))
    rig, high = Rig(), open_v > 4.5
    levels = Readings(
        sense_open=rig.code(converter, 0, open_v, high),
        sense=rig.code(converter, 0, loaded_v, high),
        force=rig.code(converter, 1, loaded_v, high),
        return_open=rig.code(converter, 2, 0.0, high),
        return_loaded=rig.code(converter, 2, 0.0, high),
    )
    x = nominal(influences_of(profile, converter, 0, high, levels, {}))
    found = model({**x, "load_ohm": load_ohm})
    assert found.r_ohm == pytest.approx(r_ohm, abs=digit)
    # The exact answer of the problem, but for the rig's 20 microsiemens at its taps.
    exact = load_ohm * (open_v - loaded_v) / loaded_v
    assert found.r_ohm == pytest.approx(exact, rel=1e-3 if converter else 2e-3)
    assert found.emf_v == pytest.approx(open_v, rel=2e-5 * r_ohm + 1e-9)
    assert found.current_a == pytest.approx(loaded_v / load_ohm, rel=1e-9)
