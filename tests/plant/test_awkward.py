# SPDX-License-Identifier: MIT
"""Awkward steps: what is said holds the truth, or says why it does not."""

import pytest

from plant import measured
from plant.cases import CASES, report

pytestmark = pytest.mark.skipif(measured.NO_NGSPICE, reason=measured.WHY)

SEEDS = (1, 2, 3)
WIDEST = 0.3


@pytest.mark.parametrize("name", CASES)
def test_a_perfect_board_is_not_misled(name: str) -> None:
    case = CASES[name]
    said = report(case, None)
    assert said.refused is None or said.said(case.says)
    if said.error is not None and case.bias is not None:
        assert abs(said.error) < case.bias, said


@pytest.mark.parametrize("name", CASES)
def test_the_interval_holds_the_truth_or_a_refusal_says_why_not(name: str) -> None:
    case = CASES[name]
    for seed in SEEDS:
        said = report(case, seed)
        assert said.held or said.refused is not None, said
        if case.says:
            assert said.said(case.says), said


@pytest.mark.parametrize("name", CASES)
def test_so_does_that_of_the_first_usable_time(name: str) -> None:
    case = CASES[name]
    for seed in SEEDS:
        said = report(case, seed)
        if said.refused is None:
            assert said.first_held, said
            # What is read and not extrapolated is no wider than the raw on-board converter.
            assert 0.0 < said.first_u < WIDEST, said


@pytest.mark.parametrize("seed", SEEDS)
def test_a_cell_out_in_mid_step_costs_that_repeat_alone(seed: int) -> None:
    assert report(CASES["out in mid-step"], seed).rejected == 1


def test_the_awkward_is_in_the_waveforms() -> None:
    """Each oddity moves the truth as meant, or the tests above would say nothing."""
    delay = measured.run(CASES["voltage delay"].cell)
    assert delay.r_ohm(0.02) > 1.02 * delay.r_ohm(0.2)
    better = measured.run(CASES["contact improving"].cell)
    assert better.r_ohm(0.03) > 1.005 * better.r_ohm(0.15)
    heating = measured.run(CASES["load heating"].cell)
    plain = measured.run(CASES["mains 50 Hz"].cell)
    at_s = heating.on_s[0] + 0.29
    fall = [run.cell_a[run.t_s.searchsorted(at_s)] for run in (plain, heating)]
    # 0.3 %/s for 0.29 s, seen by the 3.3 ohm among some 4.4 of the whole circuit.
    assert 1.0 - fall[1] / fall[0] == pytest.approx(0.003 * 0.29 * 0.75, rel=0.2)
    hidden = measured.run(CASES["hidden 1 ms (both)"].cell)
    assert hidden.r_ohm(0.004) > 1.4 * hidden.r_ohm(1e-4)
    out = measured.run(CASES["out in mid-step"].cell)
    assert out.sense_v[out.t_s.searchsorted(out.on_s[1] + 0.2)] < 0.3
