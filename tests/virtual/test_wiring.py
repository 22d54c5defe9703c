# SPDX-License-Identifier: MIT
"""The rig with leads lost or crossed: pin volts of the circuit notes, and node equations."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq, root

from sagline.virtual.cells import CELLS
from sagline.virtual.circuit import Circuit
from sagline.virtual.converter import Converter
from sagline.virtual.loose import loose
from sagline.virtual.network import whole
from sagline.virtual.parts import ChannelParts, draw_parts, nominal_parts
from sagline.virtual.schottky import GROUND_TIE, Schottky
from sagline.virtual.wiring import LEADS, Lead, Wiring
from sagline_board import profile
from virtual import rigs

# Resting volts at the pins of sense, force and return, of a lithium-ion cell of 4.15 V in the low
# range, from the rig's circuit notes (an ngspice simulation with generic device models).
TABLE = {
    "good": (Wiring(), 4.15, (1.829, 1.804, 0.273)),
    "absent": (Wiring(present=False), 4.15, (0.209, 0.209, 0.379)),
    "zero volt": (Wiring(), 1e-9, (0.123, 0.129, 0.273)),
    "reversed": (Wiring(reversed=True), 4.15, (0.02, 0.02, 0.273)),
    "sense_neg": (Wiring(lost=frozenset({"sense_neg"})), 4.15, (1.778, 1.753, 0.160)),
    "sense_pos": (Wiring(lost=frozenset({"sense_pos"})), 4.15, (0.210, 1.804, 0.273)),
    "force_neg": (Wiring(lost=frozenset({"force_neg"})), 4.15, (1.829, 1.804, 0.379)),
    "force_pos": (Wiring(lost=frozenset({"force_pos"})), 4.15, (1.829, 0.210, 0.273)),
}


@pytest.mark.parametrize("row", TABLE)
def test_resting_pin_volts_of_the_circuit_notes(row: str) -> None:
    wiring, emf_v, expected = TABLE[row]
    parts = nominal_parts()
    circuit = Circuit(rigs.plain_cell(emf_v, 0.05), parts, wiring)
    taps = circuit.taps(np.zeros(1), np.zeros(1))[:, 0]
    converter = Converter(parts, profile.ADS1115, np.random.default_rng(0))
    codes = converter.mean_code(np.arange(3), taps, False)
    pins = codes * profile.CONVERTERS[profile.ADS1115]["lsb_nv"] * 1e-9
    assert pins == pytest.approx(expected, abs=3e-3)


@pytest.mark.parametrize("high", [False, True])
@pytest.mark.parametrize("mask", [0, 1, 5])
def test_solved_node_by_node_a_whole_rig_is_the_closed_form(mask: int, high: bool) -> None:
    """They differ by what the closed form leaves out: the lift's 12 µA in the return lead's
    some 0.1 ohm and the sense leads' drop over up to 3 ohm, a few µV together."""
    parts = draw_parts(np.random.default_rng(3))
    plain = whole(parts, 0.11, mask, high, 1.5)
    nodal = loose(parts, Wiring(), 0.11, mask, high, 1.5)
    assert nodal.alpha * 1.5 + nodal.beta == pytest.approx(
        plain.alpha * 1.5 + plain.beta, rel=1e-5, abs=2e-8
    )
    difference = (nodal.tap_slope - plain.tap_slope) * 1.5 + nodal.tap_zero_v - plain.tap_zero_v
    assert np.abs(difference).max() < 1e-5


def _drawn(part: ChannelParts, tap_v: float, reference_v: float, high: bool) -> float:
    """Current from a tap into its channel: the node's voltage by Millman's theorem."""
    arms = [(1 / part.top_ohm, tap_v), (1 / part.lift_ohm, reference_v)]
    arms += [(1 / ohm, 0.0) for ohm in (part.foot_ohm, part.range_foot_ohm if high else 0) if ohm]
    node_v = sum(s * v for s, v in arms) / sum(s for s, _ in arms)
    return (tap_v - node_v) / part.top_ohm


def _through(diode: Schottky, volts: float) -> float:
    """The diode's current by bisection of its whole equation."""
    if volts < 0.0:
        return diode.saturation_a * math.expm1(volts / diode.slope_v)
    most_a = volts / diode.series_ohm
    found = brentq(lambda a: diode.drop_v(a) - volts, 0.0, most_a, xtol=1e-15)
    assert isinstance(found, float)
    return found


@pytest.mark.parametrize("lost", [None, *LEADS])
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("mask", [0, 1])
def test_kirchhoff_holds_with_the_whole_diode_equations(
    lost: Lead | None, turned: bool, mask: int
) -> None:
    """Node currents written out once more, with exponentials instead of tangents."""
    parts = nominal_parts()
    emf_v, r_ohm, high = 3.9, 0.1, True
    wiring = Wiring(reversed=turned, lost=frozenset([lost] if lost else []))
    network = loose(parts, wiring, r_ohm, mask, high, emf_v)
    sense_v, force_v, return_v = (network.tap_slope * emf_v + network.tap_zero_v)[:, 0]
    cell_a = network.alpha * emf_v + network.beta

    def lead(name: str, volts: float, ohm: float) -> float:
        return 0.0 if lost == name else volts / ohm

    on_s = sum(
        1 / (load + switch)
        for k, (load, switch) in enumerate(zip(parts.load_ohm, parts.switch_ohm, strict=True))
        if mask >> k & 1
    )
    sign = -1.0 if turned else 1.0

    def imbalance(v: np.ndarray) -> list[float]:
        plus, minus, sense, anode, force, back = v
        i_cell = sign * (emf_v - sign * (plus - minus)) / r_ohm
        i_sense = lead("sense_pos", plus - sense, 0.05)
        i_ground = lead("sense_neg", minus, parts.sense_path_ohm)
        i_force = lead("force_pos", plus - anode, parts.force_path_ohm)
        i_back = lead("force_neg", back - minus, parts.return_path_ohm)
        i_diode = _through(parts.schottky, anode - force)
        i_tie = _through(GROUND_TIE, -back) - back / 10e3
        i_load = (force - back) * on_s
        draws = [
            _drawn(part, tap, parts.reference_v, high)
            for part, tap in zip(parts.channels, (sense, force, back), strict=True)
        ]
        return [
            i_cell - i_sense - i_force,
            i_back - i_cell - i_ground,
            i_sense - draws[0],
            i_force - i_diode,
            i_diode - i_load - draws[1],
            i_load + i_tie - i_back - draws[2],
        ]

    # The solver starts at the network's own answer, and must not move away from it.
    across_v = sign * (emf_v - r_ohm * cell_a)
    minus_v = return_v if lost == "sense_neg" else 0.0
    plus_v = minus_v + across_v
    anode_v = force_v if lost == "force_pos" else plus_v
    start = np.array([plus_v, minus_v, sense_v, anode_v, force_v, return_v])
    found = root(imbalance, start, method="hybr", options={"xtol": 1e-13, "maxfev": 20000})
    _, _, sense, _, force, back = found.x
    assert np.abs(found.fun).max() < 2e-9
    assert (sense_v, force_v, return_v) == pytest.approx((sense, force, back), abs=2e-4)


def test_both_positive_clips_on_the_negative_terminal_are_zero_volts_under_a_load() -> None:
    """By hand: 100 kΩ, 75 kΩ to ground and 1 MΩ to 3 V lift a tap held at zero by 123 mV at the
    node, which sends 1.23 µA back out of it. At rest only what the blocking diode leaks takes that
    to the force clip; a load takes it to return, across 470.04 Ω."""
    wiring = Wiring(sense_shorted=True, force_shorted=True)
    circuit = Circuit(rigs.plain_cell(1.5, 0.1), nominal_parts(), wiring)

    def taps() -> np.ndarray:
        return circuit.taps(np.zeros(1), np.zeros(1))[:, 0]

    siemens = 1e-5 + 1.0 / 75e3 + 1e-6
    lift_a = 3e-6 / siemens / 100e3
    floating_v = 3e-6 / siemens / (1.0 - 1e-5 / siemens)
    sense_v, force_v, return_v = taps()
    # But for what the cell's own current lifts of the ground at its fuse, tens of microvolts.
    assert sense_v == pytest.approx(0.0, abs=5e-5)
    assert 0.005 < force_v < floating_v
    circuit.switch(1 << 3, False)
    sense_v, force_v, return_v = taps()
    assert (sense_v, return_v) == pytest.approx((0.0, 0.0), abs=5e-5)
    assert force_v - return_v == pytest.approx(lift_a * 470.041, rel=0.05)


def test_a_lost_force_minus_leaves_tenths_of_a_milliampere_and_lifts_the_return() -> None:
    """Circuit notes: lost Force −, load on: 0.3 to 0.5 mA; return 2.5 V (trips)."""
    wiring = Wiring(lost=frozenset({"force_neg"}))
    circuit = Circuit(rigs.plain_cell(4.15, 0.05), nominal_parts(), wiring)
    circuit.switch(1, False)
    return_v = circuit.taps(np.zeros(1), np.zeros(1))[2, 0]
    assert 0.3e-3 < circuit.current() < 0.5e-3
    assert return_v > 2.5


def test_a_reversed_cell_drives_next_to_nothing_through_the_load() -> None:
    """Circuit notes: reversed 4.15 V, gate pulsed: 0.04 mA, most of it in the chips' clamps,
    which are not modelled here."""
    circuit = Circuit(rigs.plain_cell(4.15, 0.05), nominal_parts(), Wiring(reversed=True))
    circuit.switch(1, False)
    assert 0.0 < circuit.current() < 0.05e-3


def test_a_cell_taken_out_recovers_and_put_back_is_loaded_again() -> None:
    circuit = Circuit(CELLS["lr6"], nominal_parts())
    before_v = circuit.voltage()
    circuit.switch(1, False)
    circuit.advance(0.2)
    sagged_v = circuit.terminal_v()
    ahead_v = circuit.terminal_v(0.3)
    circuit.advance(0.3)
    assert circuit.terminal_v() == pytest.approx(ahead_v, abs=20e-6)
    assert ahead_v < sagged_v
    circuit.rewire(replace(circuit.wiring, present=False))
    assert circuit.current() == 0.0
    assert circuit.terminal_v() == 0.0
    circuit.advance(0.5)
    circuit.rewire(replace(circuit.wiring, present=True))
    # It has rested meanwhile, but not for long.
    assert ahead_v + 0.005 < circuit.terminal_v() < sagged_v + 0.05
    assert circuit.current() > 0.3
    circuit.insert(CELLS["lr6"])
    circuit.switch(0, False)
    assert circuit.voltage() == pytest.approx(before_v, abs=1e-6)
