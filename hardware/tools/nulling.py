# SPDX-License-Identifier: MIT
"""Decks of the null channel's filter, follower and reference, its gate as an ideal source.

The gate gives ground and its own supply in turn; what matters of it is the mean and the first
harmonic, and both go through the drawn filter.
"""

from __future__ import annotations

import math

from tools.deck import Deck
from tools.firmware import PROFILE
from tools.netlist import Netlist

KEPT = (
    "R71", "R72", "R74", "R75", "R76", "C31", "C32", "C34", "C35", "C36", "C37", "C38",
    "U1", "U2", "U4",
)  # fmt: skip
PWM_HZ = 125e6 / PROFILE.NULL["settings"]
NEAR_V = 8e-6
"""Settled: as near its end as one code of the finest range."""
STEPS = {"trim": (1.25, 1.27), "scale": (0.05, 2.45)}
REFERENCE_OHM = {"typical": 0.3, "most": 0.8}
"""Dynamic impedance of such a reference at 1 mA (data sheet, from memory)."""
GATES_OHM = {"even": (20.0, 20.0), "uneven": (30.0, 20.0)}
"""A gate's output towards its supply and towards ground (from memory)."""
SUPPLY_MOVES_V = 0.01
"""By how much 3V3 may move with the load (an assumption)."""
_FINE = ".options itl1=500 reltol=1e-6 abstol=1e-11 vntol=1e-9"


def decks(netlist: Netlist) -> dict[str, str]:
    """Deck's name to deck; what each prints is read by `lines`."""
    made = {"null-ripple": _ripple(netlist)}
    for name, (from_v, to_v) in STEPS.items():
        made[f"null-settling-{name}"] = _settling(netlist, from_v, to_v)
    for name, ohm in REFERENCE_OHM.items():
        made[f"null-supply-{name}"] = _supply(netlist, ohm)
    for name, (up_ohm, down_ohm) in GATES_OHM.items():
        made[f"null-gate-{name}"] = _gate(netlist, up_ohm, down_ohm)
    return made


def lines(figures: dict[str, dict[str, float]]) -> list[tuple[str, float, str]]:
    """What the decks' figures come to: name, number, unit. Raises KeyError for a missing one."""
    # Half scale: the first harmonic of a square wave is 2/pi of its height, from peak to peak
    # twice that.
    height_v = PROFILE.NULL["reference_uv"] * 1e-6
    ripple_v = 2.0 * 2.0 / math.pi * height_v * figures["null-ripple"]["passes"]
    found = [("ripple at half scale, peak to peak", ripple_v * 1e6, "µV")]
    for name, (from_v, to_v) in STEPS.items():
        settled_s = figures[f"null-settling-{name}"]["settled"] - 1e-3
        found.append((f"{(to_v - from_v) * 1e3:g} mV settle to {NEAR_V * 1e6:g} µV in",
                      settled_s * 1e3, "ms"))  # fmt: skip
    for name, ohm in REFERENCE_OHM.items():
        moved = figures[f"null-supply-{name}"]
        found.append((
            f"3V3 moves by {SUPPLY_MOVES_V * 1e3:g} mV, its reference has {ohm:g} ohm: moves by",
            (moved["after"] - moved["before"]) * 1e6, "µV",
        ))  # fmt: skip
    up_ohm, down_ohm = GATES_OHM["uneven"]
    bent_v = figures["null-gate-uneven"]["mean"] - figures["null-gate-even"]["mean"]
    found.append((f"a gate of {up_ohm:g} ohm up and {down_ohm:g} ohm down: half scale moves by",
                  bent_v * 1e6, "µV"))  # fmt: skip
    return found


def _deck(netlist: Netlist, source: str, *more: str, without: str = "") -> Deck:
    kept = set(KEPT) - {without}
    built = netlist.build("full")
    deck = Deck(built, missing=set(built.parts) - kept)
    deck.stimulus = [source]
    # What the channels' dividers would hold.
    deck.stimulus += [
        f"rn{index} {deck.node('U2', pin)} 0 1meg" for index, pin in enumerate(("3", "5", "10"))
    ]
    deck.stimulus += more
    return deck


def _ripple(netlist: Netlist) -> str:
    deck = _deck(netlist, f"vpwm {_foot(netlist)} 0 dc 1.25 ac 1")
    commands = [_FINE, ".control", "set numdgt=9", f"ac lin 1 {PWM_HZ:.9g} {PWM_HZ:.9g}",
                "let passes = mag(v(n_pin))", "print passes", ".endc"]  # fmt: skip
    return deck.text(commands, "sagline rig: what of the PWM passes the null's filter")


def _settling(netlist: Netlist, from_v: float, to_v: float) -> str:
    deck = _deck(
        netlist, f"vpwm {_foot(netlist)} 0 pwl(0 {from_v:g} 1m {from_v:g} 1.001m {to_v:g})"
    )
    commands = [
        _FINE, ".control", "set numdgt=9", "tran 1m 1 0 1m",
        "meas tran last find v(n_pin) at=0.999", f"let level = last - {NEAR_V:g}",
        "meas tran settled when v(n_pin)=level cross=last", ".endc",
    ]  # fmt: skip
    return deck.text(commands, f"sagline rig: the null goes from {from_v:g} V to {to_v:g} V")


def _supply(netlist: Netlist, ohm: float) -> str:
    node = Deck(netlist).node("U5", "VCC")
    deck = _deck(
        netlist,
        f"epwm {_foot(netlist)} 0 {node} 0 1",
        f"vref {node} refi 2.5",
        f"rref refi 0 {ohm:g}",
        without="U4",
    )
    commands = [_FINE, ".control", "set numdgt=9"]
    for name, volts in (("before", 3.3), ("after", 3.3 + SUPPLY_MOVES_V)):
        commands += [f"alter vu1 = {volts:g}", "op", f"let {name} = v(n_pin)", f"print {name}"]
    return deck.text([*commands, ".endc"], "sagline rig: the null while 3V3 moves")


def _gate(netlist: Netlist, up_ohm: float, down_ohm: float) -> str:
    """Smaller capacitors: the mean is nearly the same, and there within milliseconds."""
    foot, height_v = _foot(netlist), PROFILE.NULL["reference_uv"] * 1e-6
    # Short edges: while both sides conduct, the gate's output is not at the middle.
    period_s, edge_s = 1.0 / PWM_HZ, 2e-10
    up = f"vup up 0 pulse(0 1 0 {edge_s:g} {edge_s:g} {0.5 * period_s - edge_s:.9g} {period_s:.9g})"
    out = f"(v({foot})-{height_v:g})*v(up)/{up_ohm:g}+v({foot})*(1-v(up))/{down_ohm:g}"
    deck = _deck(netlist, up, f"bgate {foot} 0 i={out}")
    deck.scale = {"C36": 0.03, "C37": 0.03}
    from_s, to_s = 200 * period_s, 210 * period_s
    commands = [
        _FINE, ".control", "set numdgt=9", f"tran 1u {to_s:.9g} 0 {period_s / 25:.9g}",
        f"meas tran mean avg v(n_pin) from={from_s:.9g} to={to_s:.9g}", ".endc",
    ]  # fmt: skip
    return deck.text(commands, f"sagline rig: a gate of {up_ohm:g} ohm up, {down_ohm:g} ohm down")


def _foot(netlist: Netlist) -> str:
    """Where the gate feeds the filter."""
    return Deck(netlist).node("U5", "Y")
