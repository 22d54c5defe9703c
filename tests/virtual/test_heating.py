# SPDX-License-Identifier: MIT
"""A load that warms within its pulse, and a ground that the return path's drop lifts."""

from dataclasses import replace

import numpy as np
import pytest
import rigs
from scipy.optimize import brentq

from sagline.virtual.circuit import FORCE, RETURN, Circuit
from sagline.virtual.heating import rise_per_s
from sagline.virtual.parts import draw_parts, nominal_parts
from sagline_board import profile

TAP = np.zeros(1)


def test_a_warm_load_is_a_larger_one() -> None:
    """Against the same circuit with the load made larger: a cell of EMF and r alone has no memory,
    so that the taps after a time are those of the load at its resistance then."""
    parts = rigs.still_parts()
    per_a2s = 1e-3
    warming = replace(parts, heating_per_a2s=(per_a2s,) * 4)
    cell = rigs.plain_cell(12.6, 0.02)
    circuit = Circuit(cell, warming)
    circuit.switch(1, True)
    cold = circuit.taps(TAP, TAP)[:, 0]
    ohm = parts.load_ohm[0] + parts.switch_ohm[0]
    current_a = (cold[FORCE] - cold[RETURN]) / ohm
    circuit.advance(0.05)
    found = circuit.taps(TAP + 0.05, TAP)[:, 0]
    larger = 1.0 + per_a2s * current_a**2 * 0.1
    warm = replace(
        parts,
        load_ohm=(parts.load_ohm[0] * larger, *parts.load_ohm[1:]),
        switch_ohm=(parts.switch_ohm[0] * larger, *parts.switch_ohm[1:]),
    )
    other = Circuit(cell, warm)
    other.switch(1, True)
    expected = other.taps(TAP, TAP)[:, 0]
    assert abs(expected[FORCE] - cold[FORCE]) > 1e-4
    assert found - cold == pytest.approx(expected - cold, rel=0.01)


def test_heat_by_hand() -> None:
    """3.3 ohm and its switch at 3.6 V: i2t times what the part rises for each A2s."""
    parts = replace(nominal_parts(), heating_per_a2s=(2e-5, 0.0, 0.0, 0.0))
    assert rise_per_s(parts, 0, 3.6) == 0.0
    assert rise_per_s(parts, 1, 3.341 * 2.0) == pytest.approx(2e-5 * 4.0)
    # Beside a cold load of 15 ohm it counts by its share of the current.
    share = (1.0 / 3.341) / (1.0 / 3.341 + 1.0 / 15.041)
    assert rise_per_s(parts, 3, 3.341 * 2.0) == pytest.approx(2e-5 * 4.0 * share)


def test_what_is_drawn_stays_within_what_the_profile_says() -> None:
    """A resistor of either sign over its heat capacity, a switch by 0 to its chips' own."""
    entry = profile.LOADS[0]
    ohm, switch_ohm = entry["load_milliohm"] * 1e-3, entry["switch_milliohm"] * 1e-3
    resistor = entry["tcr_ppm_per_k"] * 1e-6 * ohm / (entry["heat_mj_per_k"] * 1e-3)
    switch = entry["switch_tcr_ppm_per_k"] * 1e-6 * switch_ohm
    switch *= switch_ohm / ohm / (entry["switch_heat_mj_per_k"] * 1e-3)
    rigs_drawn = [draw_parts(np.random.default_rng(seed)) for seed in range(300)]
    drawn = [parts.heating_per_a2s[0] for parts in rigs_drawn]
    assert -resistor < min(drawn) < -0.7 * resistor
    assert 0.7 * (resistor + switch) < max(drawn) < resistor + switch
    paths = [parts.sense_path_ohm for parts in rigs_drawn]
    most_ohm = 2e-3 * profile.LEADS["sense_path_milliohm"]
    assert 0.0 < min(paths) < 0.05 * most_ohm and 0.95 * most_ohm < max(paths) < most_ohm


def test_the_ground_is_lifted_for_all_taps() -> None:
    """Against Kirchhoff's law at the board's ground, solved by itself: what the tie takes from the
    return node and each divider from its tap goes to the cell through the negative sense lead."""
    parts = rigs.still_parts()
    lifted = replace(parts, sense_path_ohm=3.0)
    cell = rigs.plain_cell(12.6, 0.02)
    siemens, amperes = parts.channels[0].loading(parts.reference_v, True)
    ground_v, taps = {}, {}
    for mask in (0, 1):
        for name, rig in (("flat", parts), ("lifted", lifted)):
            circuit = Circuit(cell, rig)
            circuit.switch(mask, True)
            taps[mask, name] = circuit.taps(TAP, TAP)[:, 0]
        sense_v, force_v, node_v = (float(v) for v in taps[mask, "flat"])

        def into_ground(v: float, at: tuple[float, float, float] = (sense_v, force_v, node_v)):
            taken = sum(siemens * (tap - v) - amperes for tap in at[:2])
            return taken + (at[2] - v) / profile.LEADS["ground_tie_ohm"] - v / 3.0

        ground_v[mask] = brentq(into_ground, -1.0, 1.0)
        apart = taps[mask, "flat"] - taps[mask, "lifted"]
        # The taps' fall by the lift itself is left out: 3 ohm on 10 kohm.
        assert apart == pytest.approx(ground_v[mask], rel=2e-3)
    assert 0.0 < ground_v[0] < 1e-3
    assert abs(ground_v[1] - ground_v[0]) > 2e-5
