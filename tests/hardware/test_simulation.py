# SPDX-License-Identifier: MIT
"""The drawn circuit in ngspice: what it settles to, and what faults and mistakes do to it.

Everything here is simulated, with generic models; none of it was measured.
"""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from spice import END_S, NO_NGSPICE, ON_S, WHY, Bench, at, edges, run, simulate
from virtual_cell import virtual

import make
from board.rp2_standin import PIN_US
from plant.simulator import PlantError
from sagline_board import profile
from sagline_board.profile import PINS
from tools.deck import Deck

pytestmark = pytest.mark.skipif(NO_NGSPICE, reason=WHY)

PICO = Path(__file__).parents[2] / "firmware" / "boards" / "pico.py"
LOADED_S, AFTER_S = END_S - 2e-3 - 5e-5, END_S - 1e-4
CHIP_V = (-0.3, 3.6)
"""No pin of a chip may leave this: usual absolute limits about its supply (data sheets say more
exactly; from memory)."""
CASES = {
    "LR6 nearly empty": Bench(0.95, 0.3, load=0, high=False),
    "LR6": Bench(1.5, 0.2, load=0, high=False),
    "18650": Bench(4.15, 0.05, load=0, high=False),
    "CR2032": Bench(3.1, 12.0, load=3, high=False),
    "6LR61": Bench(9.4, 1.6, load=2),
    "12 V": Bench(12.8, 0.02, load=0),
    "16.5 V": Bench(16.5, 0.03, load=1),
    "LR6, base build": Bench(1.5, 0.2, load=0, high=False, build="base"),
}
PINS_OF_CHIPS = ("v(s_pin)", "v(f_pin)", "v(r_pin)", "v(n_pin)")


def ranges_hold(columns) -> None:
    for name in filter(columns.__contains__, PINS_OF_CHIPS):
        assert CHIP_V[0] < columns[name].min()
        assert columns[name].max() < CHIP_V[1]


def gain(channel: int, high: bool) -> float:
    """By Kirchhoff's law at the node, from the profile's ohms."""
    part = profile.CHANNELS[channel]
    siemens = 1.0 / part["top_ohm"] + 1.0 / part["lift_ohm"]
    siemens += 1.0 / part["foot_ohm"] if part["foot_ohm"] else 0.0
    siemens += 1.0 / part["range_foot_ohm"] if high and part["range_foot_ohm"] else 0.0
    return 1.0 / part["top_ohm"] / siemens


def sag_v(bench: Bench, t_s: float) -> float:
    """The sag that the sense pin shows at an instant, in volts at the tap."""
    columns = run(bench)
    before = at(columns, "v(s_pin)", bench.on_s - 1e-6)
    return (before - at(columns, "v(s_pin)", t_s)) / gain(0, bench.high)


@pytest.mark.parametrize("name", CASES)
def test_what_the_pins_show_gives_r(name: str) -> None:
    bench = CASES[name]
    columns = run(bench)
    build = profile.BASE if bench.build == "base" else profile.FULL
    load = profile.loads_of(build)[bench.load or 0]
    drop_v = []
    for t_s in (bench.on_s - 1e-6, LOADED_S):
        force = at(columns, "v(f_pin)", t_s) / gain(1, bench.high)
        back = at(columns, "v(r_pin)", t_s) / gain(2, bench.high)
        drop_v.append((force, back))
    # Both dividers' lifts fall out of the differences from the resting pins.
    open_v = at(columns, "v(fp)", bench.on_s - 1e-6) - at(columns, "v(ret)", bench.on_s - 1e-6)
    loaded_v = open_v + (drop_v[1][0] - drop_v[0][0]) - (drop_v[1][1] - drop_v[0][1])
    amperes = loaded_v * 1e3 / (load["load_milliohm"] + load["switch_milliohm"])
    rose = at(columns, "i(vcell)", LOADED_S) - at(columns, "i(vcell)", bench.on_s - 1e-6)
    # Two MOSFETs within the profile's limit, and a range switch of some ohms in 16 k.
    assert amperes == pytest.approx(rose, rel=6e-3)
    assert sag_v(bench, LOADED_S) == pytest.approx(rose * bench.r_ohm, rel=2e-3)
    ranges_hold(columns)


@pytest.mark.parametrize("name", CASES)
def test_it_has_settled_within_a_tenth_of_a_millisecond(name: str) -> None:
    bench = CASES[name]
    end_v = sag_v(bench, LOADED_S)
    assert sag_v(bench, bench.on_s + 50e-6) == pytest.approx(end_v, rel=2e-3)
    assert sag_v(bench, bench.on_s + 100e-6) == pytest.approx(end_v, rel=4e-4)


@pytest.mark.parametrize("name", CASES)
def test_switching_stays_within_the_switches_ratings(name: str) -> None:
    bench = CASES[name]
    rating = make.netlist().parts["Q1"].rating
    columns = run(bench)
    load = 1 + (bench.load or 0)
    # The leads' inductance drives the drain up as the load goes off, the load's diode holds it.
    drain_v = columns[f"v(d1{load}_2)"]
    assert bench.emf_v < drain_v.max() + 0.6 < 0.8 * rating["voltage"]
    assert drain_v.min() > -1.0
    if bench.build == "full":
        assert columns["v(arm_gate)"].max() < rating["gate"]


def test_two_integration_methods_agree() -> None:
    for name in ("LR6", "12 V"):
        bench = CASES[name]
        other = replace(bench, method="gear")
        for t_s in (bench.on_s + 50e-6, LOADED_S):
            assert sag_v(bench, t_s) == pytest.approx(sag_v(other, t_s), rel=4e-4)


@pytest.mark.parametrize("emf_v", (4.15, 16.5, 20.0))
def test_a_reversed_cell_gives_no_load_current(emf_v: float) -> None:
    columns = run(Bench(emf_v, 0.05, load=0, reversed=True))
    # What flows is 20 V over 100 k, through sense's divider and its clamp, and for a moment at
    # the edges the charge of the blocking diode's capacitance.
    assert abs(at(columns, "i(vcell)", LOADED_S)) < 0.25e-3
    settled = columns["time"] > 1e-4
    assert abs(columns["i(vcell)"][settled]).max() < 0.5e-3
    ranges_hold(columns)


@pytest.mark.parametrize("load", (None, 1))
def test_twenty_volts_in_the_low_range_harm_no_pin(load: int | None) -> None:
    columns = run(Bench(20.0, 0.05, load=load, high=False))
    ranges_hold(columns)
    assert at(columns, "v(3v3)", AFTER_S) < 3.4


@pytest.mark.parametrize("emf_v", (4.15, 16.5))
def test_a_board_without_power_keeps_its_loads_off(emf_v: float) -> None:
    columns = run(Bench(emf_v, 0.05, powered=False, end_s=0.4))
    assert at(columns, "v(3v3)", 0.39) < 0.8
    assert abs(at(columns, "v(arm_gate)", 0.39)) < 0.8
    assert at(columns, "i(vcell)", 0.39) < 1e-3


@pytest.mark.parametrize("shorted", ("Q1", "Q5"))
def test_one_shorted_switch_carries_no_load(shorted: str) -> None:
    columns = run(Bench(12.8, 0.02, shorted=frozenset({shorted})))
    assert at(columns, "i(vcell)", AFTER_S) < 1e-3


def test_a_gate_stuck_high_carries_no_load_without_edges() -> None:
    # ARM's own pin stuck high as well: it gives one edge, at power-on.
    columns = run(Bench(12.8, 0.02, held=(PINS["gates"][0], PINS["arm"]), load=3, arm="3.3"))
    assert at(columns, "i(vcell)", ON_S) < 1e-3


def test_arm_is_pumped_up_by_the_firmwares_edges() -> None:
    text = PICO.read_text(encoding="utf-8")
    count = int(text.split("ARM_EDGES = ")[1].split()[0])
    bench = Bench(1.5, 0.2, load=0, high=False, arm=edges(count, PIN_US * 1e-6), end_s=4e-3)
    bench = replace(bench, on_s=count * PIN_US * 1e-6)
    columns = run(bench)
    # Enough gate for the resistance claimed, when the last edge has come.
    assert at(columns, "v(arm_gate)", bench.on_s) > 2.5


@pytest.mark.parametrize("off", (-1, 0, 1))
def test_arm_lets_go_by_itself_and_not_too_soon(off: int) -> None:
    parts, count, apart_s = make.netlist().parts, 200, 20e-6
    # Store, resistors and supply at the ends of their tolerances together.
    supply_v = 3.3 * (1.0 + 0.05 * off)
    scale = tuple((ref, 1.0 + off * (parts[ref].tolerance or 0.0)) for ref in ("C11", "R17", "R18"))
    bench = Bench(1.5, 0.2, load=0, high=False, end_s=0.3, supply_v=supply_v, scale=scale)
    columns = run(replace(bench, arm=edges(count, apart_s, supply_v)))
    last_s = count * apart_s
    # 30 ms: longer than the firmware is ever away from its pin within a pulse.
    assert at(columns, "v(arm_gate)", last_s + 0.03) > 2.5
    held_s = columns["time"][columns["v(arm_gate)"] > 0.8].max() - last_s
    assert 0.09 < held_s < profile.ARM_HOLD_MS * 1e-3


def test_pins_that_float_keep_the_loads_off_and_the_range_high() -> None:
    columns = run(Bench(16.5, 0.05, floating=True))
    assert at(columns, "i(vcell)", AFTER_S) < 1e-3
    assert at(columns, "v(s_pin)", AFTER_S) == pytest.approx(16.5 * gain(0, True) + 0.035, abs=0.02)


def test_the_readings_at_first_power_are_those_of_the_page() -> None:
    # No cell, no firmware: what assembly.md tells to look for.
    columns = run(Bench(1.5, 0.2, floating=True, lost=frozenset({"J1", "J2", "J3", "J4"})))
    text = (make.HERE / "assembly.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\w+) \| .* \| (-?[\d.]+) to ([\d.]+) V \|", text, re.M)
    assert len(rows) >= 8
    netlist = make.netlist()
    for point, low, high in rows:
        ref, pin = ("U1", point) if point.startswith("GP") else (point, "1")
        volts = at(columns, f"v({Deck(netlist).node(ref, pin)})", AFTER_S)
        assert float(low) <= volts <= float(high), point


@pytest.mark.parametrize("lead", ("J1", "J2", "J3", "J4"))
def test_a_lost_lead_harms_nothing(lead: str) -> None:
    columns = run(Bench(16.5, 0.05, load=1, lost=frozenset({lead})))
    ranges_hold(columns)
    if lead in ("J1", "J2"):
        # What still flows goes through the ground tie and the dividers.
        assert at(columns, "i(vcell)", LOADED_S) < 3e-3


def test_an_earthed_computer_on_a_reversed_vehicle_battery() -> None:
    wrong = Bench(12.8, 0.02, reversed=True, earthed=True)
    # The sense lead is then a way for the battery's current: its fuse opens at once...
    through_a = abs(at(run(wrong), "i(vcell)", AFTER_S))
    assert through_a > 10 * make.netlist().parts["F2"].rating["current"]
    # ... and what is left harms nothing.
    columns = run(replace(wrong, lost=frozenset({"J4"})))
    assert abs(at(columns, "i(vcell)", AFTER_S)) < 5e-3
    ranges_hold(columns)


def test_the_null_channel_is_steady_and_where_it_should_be() -> None:
    netlist = make.netlist().build("full")
    kept = [
        "R71",
        "R72",
        "R73",
        "R74",
        "R75",
        "R76",
        "C31",
        "C32",
        "C34",
        "C35",
        "C36",
        "C37",
        "C38",
        "U1",
        "U2",
        "U4",
        "U5",
    ]
    period_s = 4096 / 125e6
    deck = Deck(netlist, missing=set(netlist.parts) - set(kept))
    high_s = 0.5 * period_s - 20e-9
    deck.pins = {11: f"pulse(0 3.3 0 20n 20n {high_s:.9g} {period_s:.9g})"}
    # The filter would take a quarter of a second to get there: half of what the model of the
    # reference, made for 1 mA, gives at its feed of 0.67 mA.
    first, second = deck.node("R75", "1"), deck.node("R75", "2")
    deck.stimulus = [f".ic v({first})=1.244 v({second})=1.244"]
    deck.stimulus += [
        f"rn{n} {deck.node('U2', pin)} 0 1meg" for n, pin in enumerate(("3", "5", "10"))
    ]
    columns = simulate(
        deck.text(
            [
                ".options reltol=1e-5 vntol=1e-9",
                ".save v(n_pin) v(vn)",
                f".tran 1u 20m 15m {period_s / 40:.6g}",
            ]
        ),
        20e-3,
    )
    assert columns["v(n_pin)"].mean() == pytest.approx(0.5 * columns["v(vn)"].mean(), abs=1e-3)
    # Over the last periods, with the slow drift taken out: less than a code of 7.8 uV.
    late = columns["time"] > 20e-3 - 4 * period_s
    t_s, volts = columns["time"][late], columns["v(n_pin)"][late]
    ripple = volts - np.polyval(np.polyfit(t_s, volts, 1), t_s)
    assert np.ptp(ripple) < profile.NULL["lsb_pv"] * 1e-12


def test_the_virtual_rig_agrees() -> None:
    # Written apart from this circuit, and with another diode: its drop differs by 30 mV at most.
    for name, bench in CASES.items():
        columns = run(bench)
        taps = virtual(bench)
        t_rest, t_load = bench.on_s - 1e-6, LOADED_S
        for t_s, taken in ((t_rest, taps[0]), (t_load, taps[1])):
            for index, node in enumerate(("v(s_pin)", "v(f_pin)", "v(r_pin)")):
                bound_v = 15e-3 if index == 1 else 3e-3
                assert at(columns, node, t_s) == pytest.approx(taken[index], abs=bound_v), name
        assert at(columns, "i(vcell)", t_load) == pytest.approx(taps[1][3], rel=5e-2), name


def test_what_cannot_be_solved_is_an_error() -> None:
    deck = CASES["LR6"].deck().replace(".save", "vone c0 0 7\nvother c0 0 8\n.save")
    with pytest.raises(PlantError):
        simulate(deck, END_S)
