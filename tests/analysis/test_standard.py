# SPDX-License-Identifier: MIT
"""What a calibrated value was compared with: its shape, and that it is one and the same thing."""

from dataclasses import replace
from math import sqrt

import pytest
from test_calibrated import LR6, PROFILE, steps_of
from test_line import line_model, still

from sagline.analysis.calibrated import Calibration, Known, Standard
from sagline.analysis.estimate import estimate
from sagline.analysis.linebudget import LineBudget
from sagline.analysis.montecarlo import half_width

U_REL = 2e-2
"""Far more than all else is uncertain by."""


def test_the_parts_of_a_value_make_up_the_whole() -> None:
    known = Known(1.01, 5e-4, dof=40.0, standard=Standard("resistor", 4e-4, bounded=True))
    own, added = known.influences("scale_k", "calibration")
    assert own.u**2 + added.u**2 == pytest.approx(known.u**2)
    assert (added.value, added.shape, added.spread) == (0.0, "rectangular", sqrt(3.0) * 4e-4)
    # Welch-Satterthwaite (GUM G.4.1): a standard of no scatter gives the degrees back.
    assert known.u**4 / (own.u**4 / own.dof) == pytest.approx(40.0)
    (alone,) = Known(1.01, 5e-4, dof=40.0).influences("scale_k", "calibration")
    assert (alone.u, alone.dof, alone.shape) == (5e-4, 40.0, "t")


@pytest.mark.parametrize(("bounded", "k"), [(True, 0.95 * sqrt(3.0)), (False, 1.96)])
def test_a_meter_of_which_limits_are_known_is_a_rectangle(bounded: bool, k: float) -> None:
    """JCGM 100 4.3.7: half of 95 % of a rectangle is 0.95 of its half-width, u that over √3."""
    meter = Standard("voltmeter", U_REL, bounded)
    known = Calibration("x", voltage_scales={(1, False): Known(1.0, U_REL, standard=meter)})
    found = estimate(steps_of(), PROFILE, 1, calibration=known).emf
    assert found.u is not None and found.high95 is not None and found.low95 is not None
    assert found.u == pytest.approx(U_REL * LR6.emf_v, rel=0.05)
    assert 0.5 * (found.high95 - found.low95) / found.u == pytest.approx(k, rel=0.03)


def test_half_of_what_a_card_says_is_that_of_the_shape() -> None:
    meter = Standard("voltmeter", 1e-3, bounded=True)
    assert half_width(Known(1.0, 1e-3, standard=meter)) == pytest.approx(
        0.95e-3 * sqrt(3), rel=5e-3
    )
    assert half_width(Known(1.0, 1e-3)) == pytest.approx(1.96e-3, rel=1e-3)
    # A rectangle beside a normal one of its u lies between the two.
    both = half_width(Known(1.0, sqrt(2.0) * 1e-3, standard=meter))
    assert 1.88 < both / (sqrt(2.0) * 1e-3) < 1.96


def test_loads_by_one_resistor_err_together() -> None:
    def u_rel(names: tuple[str, ...]) -> float:
        scales = {
            (n, False, "ads1115"): Known(1.0, U_REL, standard=Standard(name, U_REL, False))
            for n, name in enumerate(names)
        }
        model = line_model(masks, calibration=Calibration("x", scales=scales))
        # Of nothing else: what tolerances leave of the current and the levels is put out.
        quiet = {
            key: item if key.startswith("scale_k") else replace(item, spread=0.0)
            for key, item in model.inputs.items()
        }
        made = LineBudget(replace(model, inputs=quiet), still(masks))
        return float(made.r_ohm.u) / made.fit.r_ohm

    masks = (4, 2, 1)
    one, three = u_rel(("a", "a", "a", "a")), u_rel(("a", "b", "c", "d"))
    # A common factor of all r is a factor of the line's.
    assert one == pytest.approx(U_REL, rel=0.05)
    assert three < 0.95 * one
