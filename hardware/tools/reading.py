# SPDX-License-Identifier: MIT
"""Rules about what is read: converter pins, followers, ranges, the converter's bus."""

from __future__ import annotations

from tools.circuit import BOARD, BOARD_SUPPLY, CONVERTER, GND, SUPPLY, Circuit

Findings = list[str]


def converter_pins_are_protected(c: Circuit) -> Findings:
    """Series resistor, capacitor and follower at every converter pin."""
    found = []
    for ref, pin, net in c.inputs():
        follower = c.follower(net)
        if follower is None:
            found.append(f"{ref} {pin}: no follower behind a resistor")
            continue
        resistor, number, _ = follower
        if c.netlist.parts[resistor].number < 100.0:
            found.append(f"{ref} {pin}: less than 100 ohm in series")
        if c.farads(net, GND) < 5e-9:
            found.append(f"{ref} {pin}: less than 5 nF to ground")
        minus = {"1": "2", "7": "6", "8": "9", "14": "13"}[number]
        if c.netlist.net("U2", minus) != c.netlist.net("U2", number):
            found.append(f"{ref} {pin}: its follower lacks its feedback")
    return found


def followers_are_clamped(c: Circuit) -> Findings:
    """At every divider's node two diodes, to ground and to the followers' supply."""
    found = []
    for channel in range(3):
        node = c.node(channel)
        clamps = [
            ref
            for ref in c.netlist.on(node, "D_SERIES")
            if (c.netlist.net(ref, "A"), c.netlist.net(ref, "COM"), c.netlist.net(ref, "K"))
            == (GND, node, SUPPLY)
        ]
        if not clamps:
            found.append(f"channel {channel}: nothing clamps its follower's input")
    return found


def range_fails_high(c: Circuit) -> Findings:
    """The range legs are grounded by switches whose gates are pulled up."""
    found = []
    n = c.netlist
    for channel in (0, 1):
        legs = c.leg_switches(c.node(channel))
        if len(legs) != 1:
            found.append(f"channel {channel}: not one switch grounds its range leg")
            continue
        gate = n.net(legs[0], "G")
        if not c.resistors(gate, BOARD_SUPPLY) or c.resistors(gate, GND):
            found.append(f"channel {channel}: a floating pin does not mean the high range")
        if not any(ohm <= 10e3 for ohm in c.resistors(gate, c.gpio(c.profile.PINS["range"]))):
            found.append(f"channel {channel}: its range does not hang on the range pin")
    return found


def bus_is_pulled_up(c: Circuit) -> Findings:
    """SDA, SCL and RDY go to the board and are pulled up to the converter's own supply."""
    if CONVERTER not in c.netlist.parts:
        return []
    found = []
    for pin in ("SDA", "SCL", "RDY"):
        net = c.netlist.net(CONVERTER, pin)
        if BOARD not in c.netlist.on(net) or not c.resistors(net, SUPPLY):
            found.append(f"{pin} is not pulled up or does not reach the board")
    return found


READING = (
    converter_pins_are_protected,
    followers_are_clamped,
    range_fails_high,
    bus_is_pulled_up,
)
