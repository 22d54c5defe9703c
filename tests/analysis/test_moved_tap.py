# SPDX-License-Identifier: MIT
"""The scale by a moved tap: its algebra, its uncertainty, and what it refuses.

Steps come from `analytic_cell.py`, which knows the answer in closed form and shares no code with
the analysis. What K ought to be is worked out here from its drawn parts: by what factor the
current and the sag read too little with nominal values.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, RETURN_LEAD_OHM, Cell, Rig, make_step
from sagline.analysis.calibrated import Calibration, Known
from sagline.analysis.calibrating import movedtap, scales, tolerances
from sagline.analysis.calibrating.movedtap import Side, Spread, Tapped
from sagline.analysis.calibrating.scales import TapStep
from sagline.analysis.calibrating.tapstep import TapReading
from sagline.analysis.values import ADS1115, FORCE, ONBOARD, AnalysisError
from sagline_board import profile as board

ABBA: tuple[Side, ...] = ("cell", "load", "load", "cell")
R_A = Known(2.0, 2.0 * 1e-4)
STRAIGHT = Spread((), (), 0.0)
ONLY_ADS = replace(PROFILE, converters={ADS1115: PROFILE.converters[ADS1115]})


def reading(r_ohm, current_a=0.3):
    return TapReading(
        r_ohm=r_ohm,
        early_ohm=r_ohm,
        early_u_ohm=1e-4,
        current_a=current_a,
        open_code=9000.0,
        loaded_code=9000.0 - 3000.0 * r_ohm,
        code_ohm=5e-4,
        force_codes=5000.0,
        return_codes=10_000.0,
        return_levels=(4368.0, 4600.0),
        rounding_codes=0.0,
    )


def tapped(r_cell, r_load, sides=ABBA, every_s=4.0):
    """Steps at even distances; r_cell and r_load give r at step number i."""
    return [
        Tapped(side, i * every_s, reading((r_load if side == "load" else r_cell)(i)))
        for i, side in enumerate(sides)
    ]


def code_of(steps, resistor=R_A):
    with pytest.raises(AnalysisError) as caught:
        movedtap.find(steps, resistor, STRAIGHT)
    return caught.value.code


def test_four_steps_have_the_weights_of_a_drift_free_comparison() -> None:
    """A B B A: (B1 + B2 - A1 - A2)/2, the substitution weighing against a linear drift."""
    steps = tapped(lambda i: 0.2, lambda i: 2.2)
    assert movedtap.weights(steps) == pytest.approx([-0.5, 0.5, 0.5, -0.5], abs=1e-12)


@pytest.mark.parametrize("per_step", [0.0, 0.01, -0.003])
def test_a_cell_that_tires_evenly_falls_out(per_step: float) -> None:
    steps = tapped(lambda i: 0.2 + per_step * i, lambda i: 0.2 + per_step * i + 1.99)
    found = movedtap.find(steps, R_A, STRAIGHT)
    assert found.delta_ohm == pytest.approx(1.99, rel=1e-12)
    assert found.k == pytest.approx(2.0 / 1.99, rel=1e-12)
    assert found.tired_ohm == pytest.approx(3 * per_step, abs=1e-12)


def test_one_that_tires_unevenly_is_within_what_is_charged_for_it() -> None:
    """Exponential tiring, fast beside the run: the error of the straight line is covered."""

    def r(i):
        return 0.2 + 0.05 * (1.0 - np.exp(-i / 1.5))

    found = movedtap.find(tapped(r, lambda i: r(i) + 2.0), R_A, STRAIGHT)
    error = found.delta_ohm / 2.0 - 1.0
    charged = dict(found.lines)["tiring of the cell"]
    assert abs(error) > 1e-3, "else this says nothing"
    assert abs(error) < charged * 3.0**0.5
    assert charged < 10.0 * abs(error)


def test_scatter_and_degrees_of_freedom_are_those_of_ordinary_least_squares() -> None:
    """By the normal equations, written out (Draper and Smith, ch. 1 and 2)."""
    rng = np.random.default_rng(3)
    sides = ("cell",) * 2 + ("load",) * 4 + ("cell",) * 2
    noise = 1e-3 * rng.standard_normal(8)
    steps = tapped(lambda i: 0.2 + noise[i], lambda i: 2.2 + noise[i], sides)
    x = np.array([[s == "load", 1.0, 4.0 * i] for i, s in enumerate(sides)], dtype=float)
    y = np.array([step.reading.r_ohm for step in steps])
    inverse = np.linalg.inv(x.T @ x)
    beta = inverse @ x.T @ y
    variance = float(((y - x @ beta) ** 2).sum()) / 5
    found = movedtap.find(steps, Known(2.0, 1e-12), STRAIGHT)
    assert found.delta_ohm == pytest.approx(beta[0], rel=1e-9)
    u = np.sqrt(variance * inverse[0, 0]) / beta[0]
    assert dict(found.lines)["scatter"] == pytest.approx(u, rel=1e-9)
    # Welch-Satterthwaite (JCGM 100, G.4.1) with 5 of the scatter and infinite others.
    assert found.dof == pytest.approx(5 * found.u_k_rel**4 / u**4, rel=1e-6)


def test_what_no_added_resistor_does_is_refused() -> None:
    assert code_of(tapped(lambda i: 0.2, lambda i: 0.2001)) == "tap_not_moved"
    assert code_of(tapped(lambda i: 2.2, lambda i: 0.2)) == "tap_swapped"
    assert code_of(tapped(lambda i: 0.2, lambda i: 2.2, ("cell", "load", "load"))) == "few_steps"
    assert code_of(tapped(lambda i: 0.2, lambda i: 2.2, ("cell",) * 4)) == "few_steps"
    # The resistor was taken out for A, so that more current flowed: it was put between the clips
    # with all that they add.
    inside = [
        replace(step, reading=reading(step.reading.r_ohm, 0.36 if step.side == "cell" else 0.25))
        for step in tapped(lambda i: 0.2, lambda i: 2.22)
    ]
    assert code_of(inside) == "resistor_moved"


@dataclass(frozen=True)
class WithResistor(Rig):
    """A rig whose force path has the added resistor on the cell side of nothing: outside."""

    added_ohm: float = 0.0

    def loop_ohm(self, load: int) -> tuple[float, float]:
        seen_ohm, leads_ohm = super().loop_ohm(load)
        return seen_ohm, leads_ohm + self.added_ohm


def run_of(rig: Rig, cell: Cell, added_ohm: float, load: int, rng, converter=ADS1115, **how):
    """Two steps at each stay of the tap; the resistor is in the current's way in all of them."""
    outside = WithResistor(**vars(rig), added_ohm=added_ohm)
    inside = replace(cell, ohmic_ohm=cell.ohmic_ohm + added_ohm)
    steps: list[TapStep] = []
    sides: list[Side] = [side for side in ABBA for _ in range(2)]
    for i, side in enumerate(sides):
        seen = (outside, cell) if side == "cell" else (rig, inside)
        raw = make_step(
            seen[1],
            rig=seen[0],
            load=load,
            rng=rng,
            converter=converter,
            rest_s=1.2,
            on_s=0.2,
            recovery_s=0.3,
            **how,
        )
        steps.append(TapStep(side, 4.0 * i, raw))
    return steps


def true_k(rig: Rig, load: int, converter: int = ADS1115, high: bool = False) -> float:
    """r is ΔV/I: by how much the rig's own parts make the nominal one wrong."""

    def gain(channel: int) -> float:
        def per_volt(parts: Rig) -> float:
            return parts.code(converter, channel, 1.0, high) - parts.code(
                converter, channel, 0.0, high
            )

        return per_volt(rig) / per_volt(Rig())

    ohm, nominal_ohm = rig.loop_ohm(load)[0], Rig().loop_ohm(load)[0]
    back = RETURN_LEAD_OHM / (RETURN_LEAD_OHM + ohm)
    current = (gain(FORCE) - back * gain(2)) / (1.0 - back) * ohm / nominal_ohm
    return current / gain(0)


def zeros_of(rig: Rig, converter: int = ADS1115, high: bool = False) -> Calibration:
    code = rig.code(converter, FORCE, 0.0, high) - Rig().code(converter, FORCE, 0.0, high)
    return Calibration("zeros", offsets={(converter, FORCE, high): Known(float(code), 1e-6)})


CELL = Cell(emf_v=1.58, ohmic_ohm=0.12, pair_ohm=0.06, tau_s=0.05)


@pytest.mark.parametrize(("load", "added_ohm"), [(0, 1.0), (0, 2.0), (1, 10.0)])
def test_a_rig_of_known_parts_gets_its_k(load: int, added_ohm: float) -> None:
    """Exact levels, tolerances in every part, the cell's r growing within the pulse. What is
    left is the current of the dividers, which `analytic_cell.py` leaves out."""
    rig = replace(Rig.drawn(np.random.default_rng(load), ADS1115, load), curve=None, load=0.008)
    steps = run_of(rig, CELL, added_ohm, load, None, rounded=False, noise_codes=0.0)
    (found,) = scales.find(steps, ONLY_ADS, Known(added_ohm, 1e-9), zeros_of(rig)).found
    # 6 µS each; force falls by some 0.8 V, sense by 0.5 V.
    dividers = 6e-6 * 1.3 / (1.2 / (added_ohm + PROFILE.loads[load].load_ohm))
    assert found.value == pytest.approx(true_k(rig, load), rel=1.5 * dividers)
    assert abs(found.value - 1.0) > 10.0 * dividers, "else this says nothing"


def test_the_uncertainty_of_k_is_that_of_its_errors() -> None:
    """Rigs drawn within all limits, converters bent as the budget assumes: errors over their
    stated u have an s.d. of 1, so that it is neither too small nor too large."""
    z = []
    for number in range(60):
        rng = np.random.default_rng([number, 11])
        rig = Rig.drawn(rng, ADS1115, 0)
        steps = run_of(rig, CELL, 2.0, 0, rng)
        (found,) = scales.find(steps, ONLY_ADS, Known(2.0, 1e-9), zeros_of(rig)).found
        z.append((found.value - true_k(rig, 0)) / found.u)
        assert found.u < 5e-4, "an eighth of a percent of the sag at most"
    # 60 errors: the s.d. of their s.d. is 0.09.
    assert 0.73 < float(np.sqrt(np.mean(np.square(z)))) < 1.27


def test_an_unknown_zero_of_force_costs_what_it_may_be() -> None:
    rng = np.random.default_rng(2)
    rig = Rig.drawn(rng, ADS1115, 0)
    steps = run_of(rig, CELL, 2.0, 0, rng)
    (known,) = scales.find(steps, ONLY_ADS, R_A, zeros_of(rig)).found
    (unknown,) = scales.find(steps, ONLY_ADS, R_A).found
    assert unknown.u > 1.5 * known.u
    assert abs(unknown.value - true_k(rig, 0)) < 3.0 * unknown.u


def test_a_wrong_value_of_the_resistor_shows() -> None:
    rng = np.random.default_rng(5)
    steps = run_of(Rig(), CELL, 2.0, 0, rng)

    def findings(ohm):
        return scales.find(steps, ONLY_ADS, Known(ohm, 1e-3))

    assert findings(2.0).notices == ()
    (said,) = findings(2.06).notices
    assert said.code == "scale_beyond_tolerance"
    with pytest.raises(AnalysisError, match="changed r by") as caught:
        findings(2.2)
    assert caught.value.code == "scale_implausible"
    # 20 mΩ of a clip on 2 Ω: within what parts may be, so that nobody can tell.
    clip = scales.find(run_of(Rig(), CELL, 2.02, 0, rng), ONLY_ADS, R_A)
    assert clip.notices == () and clip.found[0].value == pytest.approx(0.99, abs=2e-3)


def test_a_small_or_large_resistor_is_spoken_of() -> None:
    for ohm in (0.2, 5.0):
        steps = run_of(Rig(), CELL, ohm, 0, np.random.default_rng(1))
        codes = [notice.code for notice in scales.find(steps, ONLY_ADS, Known(ohm, 1e-5)).notices]
        assert "resistor_size" in codes


def test_a_base_build_finds_its_own_k_and_says_when_tolerances_tell_more() -> None:
    """The raw linearity of the on-board converter, 8 LSB, on a sag of some 200 codes."""
    only = replace(PROFILE, converters={ONBOARD: PROFILE.converters[ONBOARD]})
    rng = np.random.default_rng(4)
    rig = Rig.drawn(rng, ONBOARD, 0)
    steps = run_of(rig, CELL, 2.0, 0, rng, converter=ONBOARD)
    (found,) = scales.find(steps, only, R_A, zeros_of(rig, ONBOARD)).found
    assert abs(found.value - true_k(rig, 0, ONBOARD)) < 2.5 * found.u
    assert not found.serves


def test_tolerances_of_r_are_those_of_the_parts() -> None:
    """3.3 Ω ± 1 % and 41 mΩ ± 25 % in series, and the dividers of sense and force: 100 kΩ over
    75 kΩ and 1 MΩ, 0.1 % each. With p the conductance share of a part at its node, d ln(gain)
    is -(1 - p) for the top and p for the others; rectangular (JCGM 100, 4.3.7)."""
    tops = board.CHANNELS[0]
    siemens = [1.0 / tops[name] for name in ("top_ohm", "foot_ohm", "lift_ohm")]
    shares = [s / sum(siemens) for s in siemens]
    dividers = [1e-3 * (1.0 - shares[0]), 1e-3 * shares[1], 1e-3 * shares[2]]
    limits = [0.033 / 3.341, 0.041 * 0.25 / 3.341, *dividers, *dividers]
    found = tolerances.of_r(PROFILE, ADS1115, 0, False)
    assert found.u == pytest.approx(np.sqrt(np.sum(np.square(limits)) / 3.0), rel=0.01)
    # The reference lifts force a little, which these do not hold.
    assert found.limit == pytest.approx(sum(limits), rel=0.05)
