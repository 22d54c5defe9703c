# SPDX-License-Identifier: MIT
"""Decks that tell how well each cell's r and EMF are found, and the reckoning from their figures.

A deck takes the drawn build on a resistive cell to its operating points, at rest and loaded,
with every part as marked and then with one part after the other at the end of its tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tools.cell import on_leads
from tools.circuit import GND, REFERENCE, Circuit
from tools.deck import Deck
from tools.firmware import PROFILE
from tools.netlist import Netlist

ONBOARD, ADS1115 = PROFILE.ONBOARD, PROFILE.ADS1115
PINS = ("s_pin", "f_pin", "r_pin")
NULL_PIN = 11
"""GPIO of the null channel's PWM: drawn, and not yet in the profile."""
SWITCHES = "nmos30v"
"""Model of the load's switch and ARM; its share of one, in ohms, is a half of the profile's."""


@dataclass(frozen=True)
class Case:
    """A resistive cell on one load of one build; `high` is the 16.5 V range."""

    name: str
    emf_v: float
    r_ohm: float
    load: int
    high: bool
    build: str = "full"


# Typical cells (from memory); LR6 in both builds.
CASES = (
    Case("LR6, base build", 1.55, 0.2, 0, False, "base"),
    Case("LR6", 1.55, 0.2, 0, False),
    Case("HR6", 1.30, 0.03, 0, False),
    Case("6LR61", 9.3, 1.7, 2, True),
    Case("CR2032", 3.1, 15.0, 3, False),
    Case("18650", 3.7, 0.045, 0, False),
    Case("LiFePO4 26650", 3.3, 0.011, 0, False),
    Case("12 V 7 Ah", 12.8, 0.025, 1, True),
    Case("12 V starter", 12.6, 0.006, 0, True),
)


@dataclass(frozen=True)
class Found:
    """What a case's figures come to; all but `amperes` and `sag_v` relative, as half-widths
    that hold the error in 95 of 100 boards (`parts_*`, `converter`) or as an error (`bias_*`)."""

    amperes: float
    sag_v: float
    bias_r: float
    bias_emf: float
    parts_r: float
    parts_emf: float
    converter: dict[str, float]


def off_parts(netlist: Netlist, case: Case) -> list[str]:
    """References of the resistors whose tolerance moves r or EMF: load and dividers."""
    circuit = Circuit(netlist.build(case.build), PROFILE, case.build)
    found = [circuit.loads()[case.load].resistor]
    for channel in range(3):
        node = circuit.node(channel)
        found += circuit.chain(circuit.tap(channel), node)
        found += circuit.netlist.between(node, GND, "R")
        found += circuit.netlist.between(node, REFERENCE, "R")
        if case.high:
            found += [part.reference for part in circuit.legs(node)]
    return found


def deck(netlist: Netlist, case: Case) -> str:
    """Prints `{pin}_{state}_{what}` for states 0 (rest) and 1 (loaded), `what` a reference,
    `marked` or `switches`, the cell's current `i_{state}_marked`, and what the load's switch has
    between gate and source, `gate_1_marked`."""
    built = netlist.build(case.build)
    drawn = Deck(built)
    pins = PROFILE.PINS
    drawn.pins = {number: "0" for number in (*pins["gates"], pins["arm"])}
    drawn.pins[pins["range"]] = "3.3" if case.high else "0"
    if case.build == "full":
        # The null channel at the end of its scale, away from its follower's limits.
        drawn.pins[NULL_PIN] = "3.3"
    drawn.stimulus = on_leads(drawn, case.emf_v, case.r_ohm)
    if "C11" in built.parts:
        # ARM's store, as the edges of its pin fill it.
        drawn.stimulus.append(f"vstore {drawn.node('C11', '1')} 0 2")
    lines = [".options itl1=500 reltol=1e-4 abstol=1e-10 vntol=1e-7", ".control", "set numdgt=9"]
    lines += _states(case, "marked", current=True)
    switch = Circuit(built, PROFILE, case.build).loads()[case.load].switch
    gate, source = drawn.node(switch, "G"), drawn.node(switch, "S")
    lines += [f"let gate_1_marked = v({gate}) - v({source})", "print gate_1_marked"]
    for ref in off_parts(netlist, case):
        part = built.parts[ref]
        off = part.number * (1.0 + (part.tolerance or 0.0))
        lines += [f"alter r{ref.lower()} = {off:.9g}", *_states(case, ref.lower())]
        lines.append(f"alter r{ref.lower()} = {part.number:.9g}")
    load = entry_of(case)
    more_ohm = load["switch_milliohm"] * load["switch_tolerance_ppm"] * 1e-9
    many = 2 if case.build == "full" else 1
    lines += [f"altermod {SWITCHES} rd = {6e-3 + more_ohm / many:g}", *_states(case, "switches")]
    return drawn.text([*lines, ".endc"], f"sagline rig: {case.name}, parts off one by one")


def entry_of(case: Case) -> dict[str, int]:
    """The profile's values of the load that is switched."""
    build = PROFILE.BASE if case.build == "base" else PROFILE.FULL
    return PROFILE.loads_of(build)[case.load]


def _states(case: Case, what: str, current: bool = False) -> list[str]:
    lines = []
    gate = PROFILE.PINS["gates"][case.load]
    for state in (0, 1):
        lines += [f"alter vgp{gate} = {3.3 * state:g}", "op"]
        for pin in PINS:
            name = f"{pin}_{state}_{what}"
            lines += [f"let {name} = v({pin})", f"print {name}"]
        if current:
            lines += [f"let i_{state}_{what} = i(vcell)", f"print i_{state}_{what}"]
    return lines


def gain(channel: int, high: bool) -> tuple[float, float]:
    """Of a divider as the profile has it, and its lift in volts: Kirchhoff's law at the node."""
    part = PROFILE.CHANNELS[channel]
    feet = [part["foot_ohm"], part["range_foot_ohm"] if high else 0]
    siemens = 1.0 / part["top_ohm"] + 1.0 / part["lift_ohm"] + sum(1.0 / r for r in feet if r)
    lift_v = PROFILE.REFERENCE["reference_uv"] * 1e-6 / part["lift_ohm"] / siemens
    return 1.0 / part["top_ohm"] / siemens, lift_v


def measured(case: Case, figures: dict[str, float], what: str) -> tuple[float, float, float, float]:
    """(r in ohm, EMF in V, sag in V, current in A) as the host would have them from the pins."""
    tap = {}
    for state in (0, 1):
        for channel, pin in enumerate(PINS):
            share, lift_v = gain(channel, case.high)
            tap[pin, state] = (figures[f"{pin}_{state}_{what}"] - lift_v) / share
    load = entry_of(case)
    sag_v = tap["s_pin", 0] - tap["s_pin", 1]
    loop_ohm = (load["load_milliohm"] + load["switch_milliohm"]) * 1e-3
    amperes = (tap["f_pin", 1] - tap["r_pin", 1]) / loop_ohm
    tops = [
        (PROFILE.CHANNELS[channel]["top_ohm"], gain(channel, case.high)[0]) for channel in (0, 1)
    ]
    drawn_s = sum((1.0 - share) / ohm for ohm, share in tops)
    r_ohm = sag_v / (amperes - drawn_s * sag_v)
    return r_ohm, tap["s_pin", 0] * (1.0 + r_ohm * drawn_s), sag_v, amperes


def found(netlist: Netlist, case: Case, figures: dict[str, float]) -> Found:
    """What the printed figures of a case come to. Raises KeyError where one is missing."""
    r_ohm, emf_v, sag_v, amperes = measured(case, figures, "marked")
    square_r = square_emf = 0.0
    for what in [*(ref.lower() for ref in off_parts(netlist, case)), "switches"]:
        off_r, off_emf, *_ = measured(case, figures, what)
        square_r += (off_r / r_ohm - 1.0) ** 2 / 3.0
        square_emf += (off_emf / emf_v - 1.0) ** 2 / 3.0
    reference = PROFILE.REFERENCE["tolerance_ppm"] * 1e-6
    square_emf += reference**2 / 3.0
    return Found(
        amperes, sag_v, r_ohm / case.r_ohm - 1.0, emf_v / case.emf_v - 1.0,
        2.0 * math.sqrt(square_r), 2.0 * math.sqrt(square_emf), _converters(case, sag_v),
    )  # fmt: skip


def _converters(case: Case, sag_v: float) -> dict[str, float]:
    """What each way of reading the sag adds to r: linearity at both ends of the sag.

    Noise is not in it: it falls with the number of conversions.
    """
    share = gain(0, case.high)[0]
    own, fine = PROFILE.CONVERTERS[ONBOARD], PROFILE.CONVERTERS[ADS1115]
    ways = {"own": [own["inl_millilsb"] * own["lsb_nv"] * 1e-12] * 2}
    if case.build == "full":
        null = PROFILE.NULL
        ends = [null["inl_millilsb"] * null["lsb_pv"] * 1e-15] * 2
        ways["fine"] = [fine["inl_millilsb"] * fine["lsb_nv"] * 1e-12] * 2
        # The match of its range to that of force and return counts against the sag itself.
        match_v = null["range_match_ppm"] * 1e-6 * sag_v * share
        ways["null"] = [*ends, null["load_shift_nv"] * 1e-9, match_v]
    return {
        way: 2.0 * math.sqrt(sum(volts**2 / 3.0 for volts in limits)) / share / sag_v
        for way, limits in ways.items()
    }
