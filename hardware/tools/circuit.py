# SPDX-License-Identifier: MIT
"""One build of the rig with the firmware's profile beside it: what the rules look at.

The only names that are taken for granted are those of the four leads, the board, and the nets
that the drawing labels; everything else is found by what it is connected to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tools.netlist import Netlist, Part

GND, BOARD_SUPPLY, SUPPLY, REFERENCE, NULL_SUPPLY = "GND", "3V3", "3V3A", "REF", "VN"
FORCE_POS, FORCE_NEG, SENSE_POS, SENSE_NEG = "J1", "J2", "J3", "J4"
BOARD, CONVERTER = "U1", "U6"

BATTERY_V = 20.0
"""What may come to the clips by mistake: more than any range bears."""
SHARE = 0.5
"""Of what a resistor is rated for, at most this is asked of it."""
SUPPLY_V = (3.135, 3.465)
"""The board's 3V3 within 5 % (its data sheet's limits are narrower, from memory)."""


@dataclass(frozen=True)
class Load:
    """One load of the bank: references of resistor and switch, and the nets about them."""

    resistor: str
    switch: str
    drain: str
    gate: str | None


@dataclass(frozen=True)
class Circuit:
    """`profile` has the names of sagline_board.profile."""

    netlist: Netlist
    profile: Any
    build: str

    @property
    def rail(self) -> str | None:
        """The force tap: what all loads hang on."""
        return self.netlist.net("D1", "K") if "D1" in self.netlist.parts else None

    @property
    def back(self) -> str | None:
        """The return tap."""
        return self.netlist.net(FORCE_NEG, "1")

    def across(self, reference: str, net: str | None) -> str | None:
        """The net on the other side of a part of two pins."""
        one, other = self.netlist.ends(reference)
        return other if one == net else one

    def resistors(self, a: str | None, b: str | None) -> list[float]:
        """Ohms of the resistors between two nets."""
        return [self.netlist.parts[ref].number for ref in self.netlist.between(a, b, "R")]

    def farads(self, a: str | None, b: str | None) -> float:
        """Sum of the capacitors between two nets."""
        return sum(self.netlist.parts[ref].number for ref in self.netlist.between(a, b, "C"))

    def entries(self) -> tuple[dict[str, int], ...]:
        """The profile's loads of this build."""
        return self.profile.loads_of(
            self.profile.BASE if self.build == "base" else self.profile.FULL
        )

    def loads(self) -> list[Load]:
        """Resistors from the rail to the drain of a switch, in the order of their references."""
        found = []
        for resistor in self.netlist.on(self.rail, "R"):
            drain = self.across(resistor, self.rail)
            for switch in self.netlist.on(drain, "NMOS"):
                if self.netlist.net(switch, "D") == drain and drain is not None:
                    gate = self.netlist.net(switch, "G")
                    found.append(Load(resistor, switch, drain, gate))
        return found

    def bank(self) -> str | None:
        """The net of the switches' sources."""
        loads = self.loads()
        return self.netlist.net(loads[0].switch, "S") if loads else None

    def arm(self) -> list[str]:
        """Switches (or links) between the bank and the return tap."""
        between = self.netlist.between(self.bank(), self.back)
        return [ref for ref in between if self.netlist.parts[ref].symbol in ("NMOS", "LINK")]

    def gpio(self, number: int) -> str | None:
        """The net of one of the board's GPIO."""
        return self.netlist.net(BOARD, f"GP{number}")

    def chain(self, start: str | None, end: str | None) -> list[str]:
        """Resistors in series from net to net: between them nothing else but the two.

        Empty where there is no such chain.
        """
        ways: list[tuple[str | None, list[str]]] = [(start, [])]
        while ways:
            net, used = ways.pop()
            if net == end and used:
                return used
            if used and len(self.netlist.nets.get(net or "", ())) != 2:
                continue
            for ref in self.netlist.on(net, "R"):
                if ref not in used:
                    ways.append((self.across(ref, net), [*used, ref]))
        return []

    def inputs(self) -> list[tuple[str, str, str]]:
        """Every converter's input: part, pin's name, net."""
        pins = [(BOARD, f"GP{number}") for number in self.profile.PINS["adc"]]
        if CONVERTER in self.netlist.parts:
            pins += [(CONVERTER, f"AIN{channel}") for channel in range(4)]
        return [(ref, pin, self.netlist.net(ref, pin) or "") for ref, pin in pins]

    def follower(self, pin_net: str) -> tuple[str, str, str] | None:
        """Series resistor, follower's output pin and its non-inverting input's net, behind a pin.

        None where that net is not fed by a follower through a resistor.
        """
        for resistor in self.netlist.on(pin_net, "R"):
            out = self.across(resistor, pin_net)
            for ref, number in self.netlist.nets.get(out or "", ()):
                if self.netlist.parts[ref].symbol == "QUAD_AMPLIFIER":
                    if self.netlist.parts[ref].pins[number].kind == "output":
                        plus = _AMPLIFIERS[number]
                        return resistor, number, self.netlist.net(ref, plus) or ""
        return None

    def node(self, channel: int) -> str:
        """The divider's node of a channel, behind the board's own converter pin; "" if none."""
        net = self.gpio(self.profile.PINS["adc"][channel])
        follower = self.follower(net or "")
        return follower[2] if follower else ""

    def leg_switches(self, node: str) -> list[str]:
        """Switches that ground a resistor from this node."""
        return [
            switch
            for ref in self.netlist.on(node, "R")
            for switch in self.netlist.on(self.across(ref, node), "NMOS")
            if self.netlist.net(switch, "D") == self.across(ref, node)
            and self.netlist.net(switch, "S") == GND
        ]

    def legs(self, node: str) -> list[Part]:
        """The resistors that they ground."""
        drains = {self.netlist.net(switch, "D") for switch in self.leg_switches(node)}
        return [
            self.netlist.parts[ref]
            for ref in self.netlist.on(node, "R")
            if self.across(ref, node) in drains
        ]

    def tap(self, channel: int) -> str | None:
        """The net at which a channel's divider begins."""
        return (self.netlist.net(SENSE_POS, "1"), self.rail, self.back)[channel]


# Of a quad amplifier in the usual package: output's pin to that of its non-inverting input.
_AMPLIFIERS = {"1": "3", "7": "5", "8": "10", "14": "12"}
