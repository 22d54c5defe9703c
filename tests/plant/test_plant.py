# SPDX-License-Identifier: MIT
"""The estimate against cells in a circuit simulator: its author knows neither our virtual rig
nor our analysis. The truth is read off the simulated waveform by the definition of r(t)."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from analysis.analytic_cell import PROFILE
from plant import measured, simulator
from plant.cases import HEADLINE_S, reach
from plant.cells import CELLS
from plant.decks import netlist
from plant.simulator import PlantError, run
from sagline.analysis.estimate import estimate
from sagline_board.profile import ADS1115, ONBOARD

pytestmark = pytest.mark.skipif(measured.NO_NGSPICE, reason=measured.WHY)

BIAS = 0.003
"""Of r(0.1 s), with a perfect board."""
RIGS = 2
UNLUCKY = 1e-3
"""How often so few intervals may hold the truth although each does in 95 %."""


@pytest.mark.parametrize("name", CELLS)
@pytest.mark.parametrize("converter", (ONBOARD, ADS1115))
def test_a_perfect_board_finds_r_and_e(name: str, converter: int) -> None:
    found, steps = measured.ideal(CELLS[name])
    result = estimate(steps, PROFILE, converter, (HEADLINE_S,))
    assert result.r_at[0][1].value == pytest.approx(found.r_ohm(HEADLINE_S), rel=BIAS)
    # Freed of the dividers' current by r(0.1 s) at least, and never beyond the cell's own EMF: how
    # much more that current, which always flows, has taken is known to within a factor.
    least_v, most_v = found.emf_v(), CELLS[name].emf_v
    assert least_v * (1.0 - 5e-5) < result.emf.value < most_v * (1.0 + 5e-5)
    assert most_v - least_v < 5e-4 * most_v
    # Fewer points bear r(t_f), and without noise none of them is believed more: the interval.
    first_s, ohmic = result.ohmic
    assert abs(reach(ohmic, found.r_ohm(first_s))) <= 1.0


@pytest.mark.parametrize("name", CELLS)
def test_two_integration_methods_agree(name: str) -> None:
    trap, gear = measured.run(CELLS[name], "trap"), measured.run(CELLS[name], "gear")
    # A tenth of the bias allowed above, at the shortest time asked for too.
    for t_s in (1e-4, 0.004, HEADLINE_S, 0.29):
        assert trap.r_ohm(t_s) == pytest.approx(gear.r_ohm(t_s), rel=BIAS / 10.0)
    assert trap.emf_v() == pytest.approx(gear.emf_v(), rel=1e-7)


def test_a_deck_agrees_with_ohms_law() -> None:
    # At 10 µs nothing but joints and ohmic part has answered, to a small share of the pairs.
    for cell in CELLS.values():
        instant = cell.ohmic_ohm + cell.inside_ohm
        slow = sum(ohm * 1e-5 / tau_s for ohm, tau_s in cell.pairs)
        slow += cell.diffusion_ohm_per_sqrt_s * np.sqrt(1e-5)
        found = measured.run(cell).r_ohm(1e-5)
        assert instant < found < instant + 2.0 * slow


def test_diffusion_goes_with_the_square_root_of_time() -> None:
    # Semi-infinite diffusion under a constant current: Sand, Phil. Mag. 1 (1901) 45 (from
    # memory). The steps of the ladder cost some 5 %.
    cell = replace(CELLS["LR6"], pairs=())
    found = measured.run(cell)
    instant = cell.ohmic_ohm + cell.inside_ohm
    for t_s in (0.005, 0.02, 0.1, 0.29):
        expected = cell.diffusion_ohm_per_sqrt_s * np.sqrt(t_s)
        assert found.r_ohm(t_s) - instant == pytest.approx(expected, rel=0.06)


def test_a_deck_that_takes_too_long_is_an_error(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(simulator, "TIME_OUT_S", 0.02)
    with pytest.raises(PlantError, match="longer"):
        run(netlist(CELLS["LR6"]), tmp_path)


def test_a_deck_that_does_not_converge_is_an_error(tmp_path) -> None:
    deck = netlist(CELLS["LR6"]).replace(".save", ".options itl4=1 reltol=1e-13\n.save")
    with pytest.raises(PlantError, match="ngspice"):
        run(deck, tmp_path)


def test_intervals_of_drawn_boards_hold_the_truth() -> None:
    share: dict[tuple[str, int], list[float]] = {}
    for index, cell in enumerate(CELLS.values()):
        for rig in range(RIGS):
            found, steps = measured.drawn(cell, 100 * index + rig)
            for converter in (ONBOARD, ADS1115):
                result = estimate(steps, PROFILE, converter, (HEADLINE_S,))
                for name, quantity, truth in (
                    ("r", result.r_at[0][1], found.r_ohm(HEADLINE_S)),
                    ("E", result.emf, found.emf_v()),
                    ("r(t_f)", result.ohmic[1], found.r_ohm(result.ohmic[0])),
                ):
                    share.setdefault((name, converter), []).append(reach(quantity, truth))
    for which, shares in share.items():
        held = sum(abs(each) <= 1.0 for each in shares)
        assert held >= binom.ppf(UNLUCKY, len(shares), 0.95), (which, shares)
        # Without bias: the mean of so many shares of U, each of s.d. about a half.
        assert abs(np.mean(shares)) < 3.0 * 0.6 / np.sqrt(len(shares)), (which, shares)
        # Nor may they be wide for nothing: of a normal law U is 1.96 of these.
        assert np.sqrt(np.mean(np.square(shares))) > 0.15, (which, shares)
