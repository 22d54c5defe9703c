# SPDX-License-Identifier: MIT
"""The circuit against closed forms, printed examples and an independent integration."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from sagline.virtual.cells import CELLS
from sagline.virtual.circuit import FORCE, RETURN, SENSE, Circuit
from sagline.virtual.parts import ChannelParts, draw_parts
from virtual import rigs
from virtual.integration import integrate

INSTANT = np.zeros(1)


def at(circuit: Circuit, *t_s: float) -> np.ndarray:
    times = np.array(t_s)
    return circuit.taps(times, np.zeros_like(times))


def test_voltmeter_loads_the_cell() -> None:
    """OpenStax University Physics vol. 2, 10.1: 1.585 V, 0.100 ohm, voltmeter of 1.00 kohm."""
    voltmeter = ChannelParts(
        top_ohm=500.0, foot_ohm=500.0, lift_ohm=1e15, range_foot_ohm=0.0, follower_offset_v=0.0
    )
    circuit = Circuit(rigs.plain_cell(1.585, 0.100), rigs.bare_parts(10.0, voltmeter))
    assert circuit.voltage() == pytest.approx(1.584842, abs=1e-6)
    assert circuit.current() == pytest.approx(1.58484e-3, abs=1e-8)


def test_battery_on_a_load() -> None:
    """OpenStax University Physics vol. 2, 10.1: 12.00 V, 0.100 ohm on 10.00 ohm, 1.188 A."""
    circuit = Circuit(rigs.plain_cell(12.00, 0.100), rigs.bare_parts(10.00))
    circuit.switch(1, False)
    assert circuit.current() == pytest.approx(1.188, abs=1e-3)
    assert circuit.voltage() == pytest.approx(12.00 * 10.00 / 10.10, abs=1e-3)


def test_single_pair_against_its_closed_form() -> None:
    """v' = i/C − v/τ with i = (E − v)/(r + R): v = v∞·(1 − e^(−t/τ')), τ' = τ·(r+R)/(r+R+R1)."""
    emf_v, r, pair_ohm, tau_s, load_ohm = 4.0, 0.2, 0.5, 0.05, 3.0
    circuit = Circuit(rigs.plain_cell(emf_v, r, ((pair_ohm, tau_s),)), rigs.bare_parts(load_ohm))
    circuit.switch(1, False)
    t_s = np.array([0.0, 1e-4, 0.01, 0.05, 0.3, 2.0])
    series = r + load_ohm + 0.027 / 1e3
    loaded_tau_s = tau_s * series / (series + pair_ohm)
    v = emf_v * pair_ohm / (series + pair_ohm) * -np.expm1(-t_s / loaded_tau_s)
    assert at(circuit, *t_s)[SENSE] == pytest.approx(emf_v - v - r * (emf_v - v) / series, abs=2e-8)
    # Recovery: the pair alone, from where the load left it.
    circuit.advance(0.3)
    left_v = v[4]
    circuit.switch(0, False)
    assert at(circuit, 0.02)[SENSE] == pytest.approx(
        emf_v - left_v * np.exp(-0.02 / tau_s), abs=2e-8
    )


@pytest.mark.parametrize("name, mask", [("lr6", 1), ("6lr61", 4), ("6lr61", 12)])
def test_a_second_of_load_against_an_independent_integration(name: str, mask: int) -> None:
    # The integration has no ground of the board's own.
    parts = replace(draw_parts(np.random.default_rng(5)), sense_path_ohm=0.0)
    cell = CELLS[name]
    high = cell.emf_v > 4.5
    circuit = Circuit(cell, parts)
    circuit.switch(mask, high)
    t_s = np.array([1e-4, 1e-3, 1e-2, 0.1, 0.3, 1.0])
    expected = integrate(cell, parts, mask, high, t_s)
    assert np.abs(at(circuit, *t_s) - expected).max() < 50e-6
    # In slices the tangent is renewed, so it can only come closer.
    for k, dt_s in enumerate(np.diff(t_s, prepend=0.0)):
        circuit.advance(float(dt_s))
        assert abs(circuit.voltage() - expected[SENSE, k]) < 20e-6


def test_window_means_against_quadrature() -> None:
    circuit = Circuit(CELLS["lr6"], rigs.still_parts())
    circuit.advance(5.0)
    circuit.switch(1, False)
    windows = [(0.0, 20e-6), (50e-6, 50e-6), (1e-4, 1.16e-3), (2e-3, 0.3), (0.1, 50e-6), (0.5, 1.0)]
    start_s, length_s = np.array(windows).T
    means = circuit.taps(start_s, length_s)
    currents = circuit.mean_current(start_s, length_s)
    for k, (start, length) in enumerate(windows):
        for channel in (SENSE, FORCE, RETURN):
            area = quad(
                lambda t, c=channel: at(circuit, t)[c, 0],
                start,
                start + length,
                epsabs=1e-12,
                epsrel=1e-11,
            )[0]
            assert means[channel, k] == pytest.approx(area / length, abs=1e-9)
        ends = np.array([start, start + length])
        low, high = sorted(circuit.mean_current(ends, np.zeros(2)), key=float)
        assert low <= currents[k] <= high


def test_charge_drawn_lowers_the_emf() -> None:
    cell = CELLS["lr6"]
    circuit = Circuit(cell, rigs.still_parts())
    circuit.switch(1, False)
    charge_ah = float(circuit.mean_current(INSTANT, np.array([60.0]))[0]) * 60.0 / 3600.0
    circuit.advance(60.0)
    fallen_v = cell.emf_v - circuit.emf_v()
    assert fallen_v == pytest.approx(cell.emf_slope_v * charge_ah / cell.capacity_ah, rel=1e-6)
    assert charge_ah == pytest.approx(0.33 / 60.0, rel=0.1)


def test_energy_balance_of_a_pulse() -> None:
    """Energy from E = heat in every resistance + what the pair's capacitor holds, ½·C·v²."""
    emf_v, r, pair_ohm, tau_s, load_ohm, on_s = 4.0, 0.2, 0.5, 0.05, 3.0, 0.1
    circuit = Circuit(rigs.plain_cell(emf_v, r, ((pair_ohm, tau_s),)), rigs.bare_parts(load_ohm))
    circuit.switch(1, False)

    def powers(t_s: float) -> tuple[float, float, float]:
        current = float(circuit.mean_current(np.array([t_s]), INSTANT)[0])
        pair_v = emf_v - float(at(circuit, t_s)[SENSE, 0]) - r * current
        heat = current**2 * (r + load_ohm) + pair_v**2 / pair_ohm
        return emf_v * current, heat, 0.5 * tau_s / pair_ohm * pair_v**2

    given = quad(lambda t: powers(t)[0], 0.0, on_s)[0]
    heat = quad(lambda t: powers(t)[1], 0.0, on_s)[0]
    assert given == pytest.approx(heat + powers(on_s)[2], rel=1e-5)


def test_slices_of_time_add_up() -> None:
    one = Circuit(CELLS["6lr61"], rigs.still_parts())
    many = Circuit(CELLS["6lr61"], rigs.still_parts())
    one.switch(4, True)
    many.switch(4, True)
    one.advance(0.3)
    for _ in range(300):
        many.advance(1e-3)
    assert many.time_s == pytest.approx(one.time_s, abs=1e-12)
    assert many.voltage() == pytest.approx(one.voltage(), abs=2e-6)
    window = np.array([0.02]), np.array([0.05])
    assert many.taps(*window) == pytest.approx(one.taps(*window), abs=4e-6)


def test_looking_ahead_changes_nothing_and_agrees_with_going_there() -> None:
    circuit = Circuit(CELLS["lr6"], rigs.still_parts())
    circuit.switch(1, False)
    ahead = at(circuit, 0.02)
    assert np.array_equal(ahead, at(circuit, 0.02))
    circuit.advance(0.02)
    assert at(circuit, 0.0) == pytest.approx(ahead, abs=1e-12)


def test_at_rest_the_taps_read_the_cell() -> None:
    """Pin volts of the circuit notes' table for 4.15 V and for a cell of zero volts."""
    parts = rigs.still_parts()
    for emf_v, pins in ((4.15, (1.829, 1.804, 0.273)), (0.0, (0.123, 0.129, 0.273))):
        circuit = Circuit(rigs.plain_cell(emf_v, 0.05), parts)
        taps = at(circuit, 0.0)[:, 0]
        assert taps[RETURN] == 0.0
        for tap, channel, pin in zip(taps, parts.channels, pins, strict=True):
            gain, lift_v = channel.transfer(parts.reference_v, False)
            assert gain * tap + lift_v == pytest.approx(pin, abs=2e-3)


def test_a_cell_recovers_after_the_load() -> None:
    circuit = Circuit(CELLS["lr6"], rigs.still_parts())
    circuit.advance(5.0)
    rested_v = circuit.voltage()
    circuit.switch(1, False)
    circuit.advance(0.3)
    circuit.switch(0, False)
    sags = [rested_v - float(v) for v in at(circuit, 0.0, 0.01, 0.1, 1.0, 10.0)[SENSE]]
    assert sags == sorted(sags, reverse=True)
    # Superposition: w·(√(t + T) − √t)·I is left of the diffusion once the pairs are empty.
    tail_v = 0.030 * (np.sqrt(10.3) - np.sqrt(10.0)) * 0.341
    assert sags[-1] == pytest.approx(tail_v, rel=0.1)


def test_loads_in_parallel_and_the_force_difference() -> None:
    parts = rigs.still_parts()
    circuit = Circuit(CELLS["lr6"], parts)
    circuit.switch(0b101, False)
    taps = at(circuit, 0.0)[:, 0]
    load_a = taps[RETURN] / parts.return_path_ohm
    # Each with its own MOSFET of 20.5 mohm, and ARM of as much that both go through.
    siemens = 1.0 / (3.3 + 0.0205) + 1.0 / (68.0 + 0.0205)
    drop_v = load_a * (1.0 / siemens + 0.0205)
    assert taps[FORCE] - taps[RETURN] == pytest.approx(drop_v, rel=1e-12)
    # The dividers take less than 20 µS of the cell's current.
    assert 0.0 < circuit.current() - load_a < 20e-6 * 1.6


def diode_error_v(circuit: Circuit) -> float:
    """Between what the taps show of the diode and the diode equation at the path's current."""
    sense_v, force_v, return_v = at(circuit, 0.0)[:, 0]
    siemens, zero_a = circuit.parts.channels[FORCE].loading(circuit.parts.reference_v, False)
    path_a = return_v / circuit.parts.return_path_ohm + siemens * force_v - zero_a
    shown_v = sense_v - force_v - path_a * circuit.parts.force_path_ohm
    return abs(shown_v - circuit.parts.schottky.drop_v(path_a))


def test_the_diode_is_followed_when_the_current_falls() -> None:
    circuit = Circuit(rigs.plain_cell(4.0, 0.2, ((20.0, 0.05),)), rigs.still_parts())
    circuit.switch(1, False)
    assert diode_error_v(circuit) < 1e-9
    first = circuit._linear
    circuit.advance(1e-5)
    circuit.switch(1, False)
    assert circuit._linear is first
    circuit.advance(0.1)
    assert circuit._linear is not first
    assert diode_error_v(circuit) < 1e-9
    # The tangent cached for the load is of the low current by now; the cell has recovered.
    circuit.switch(0, False)
    circuit.advance(1.0)
    circuit.switch(1, False)
    assert diode_error_v(circuit) < 2e-6


def test_a_blocked_diode_keeps_its_decomposition() -> None:
    circuit = Circuit(rigs.plain_cell(-4.15, 0.05, ((0.02, 0.01),)), rigs.still_parts())
    circuit.switch(1, False)
    assert abs(circuit.current()) < 60e-6
    before = circuit._linear
    for _ in range(5):
        circuit.advance(0.01)
    assert circuit._linear is before


def test_usage_errors() -> None:
    circuit = Circuit(CELLS["lr6"], rigs.still_parts())
    with pytest.raises(ValueError, match="mask 16"):
        circuit.switch(16, False)
    with pytest.raises(ValueError, match="backwards"):
        circuit.advance(-1e-3)
    with pytest.raises(ValueError, match="present instant"):
        circuit.taps(np.array([-1e-3]), np.array([1e-3]))
    assert circuit.taps(np.array([]), np.array([])).shape == (3, 0)
