# SPDX-License-Identifier: MIT
"""The drawn circuit as a deck for ngspice: every part by a model of its kind.

Nothing is added to what is drawn but what lies outside it: the cell, its leads, and what drives
the board's pins. Models are generic (from memory), each on the side that makes the result worse
or typical; fuses are resistors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from tools.netlist import Netlist, Part, order

_BOARD, _UNITS = "U1", {"1": ("3", "2"), "7": ("5", "6"), "8": ("10", "9"), "14": ("12", "13")}

MODELS = (
    # 40 V 5 A class: 0.35 V at 0.35 A, 0.53 V at 5 A.
    ".model schottky5a d(is=4u n=1.04 rs=0.025 cjo=400p vj=0.35 bv=40 ibv=1m)",
    ".model schottky1a d(is=1u n=1.05 rs=0.08 cjo=110p vj=0.35 bv=40 ibv=1m)",
    ".model bav99 d(is=2.5n n=1.75 rs=0.6 cjo=1.5p tt=5n bv=75)",
    ".model bav199 d(is=2p n=1.3 rs=1 cjo=2p tt=500n bv=75)",
    ".model bc547b npn(is=10f bf=290 vaf=60 ne=1.5 ise=5f ikf=0.1 cje=11p cjc=3.5p tf=0.4n)",
    # 20 milliohm at 2.9 V of gate; some 1.2 nF.
    ".model nmos30v vdmos(vto=1.0 kp=40 rd=6m rs=3m rb=10m cgs=1.2n cgdmax=400p cgdmin=80p"
    " a=0.3 cjo=250p is=1p mtriode=1)",
    ".model bss138 vdmos(vto=1.1 kp=0.35 rd=0.5 rs=0.2 rb=1 cgs=40p cgdmax=15p cgdmin=5p"
    " a=0.3 cjo=15p is=1f)",
    ".model shunt3v0 d(is=1f n=1 rs=0.6 bv=2.9654 ibv=100u nbv=0.5)",
    ".model shunt2v5 d(is=1f n=1 rs=0.6 bv=2.4631 ibv=100u nbv=0.5)",
)


@dataclass
class Deck:
    """Lines of a deck under way.

    `pins` are GPIO numbers to source descriptions; one that is not there floats. `missing` parts
    are left out, `shorted` switches conduct, and `scale` is by how much a value is off.
    """

    netlist: Netlist
    supply_v: float = 3.3
    powered: bool = True
    pins: dict[int, str] = field(default_factory=dict)
    stimulus: list[str] = field(default_factory=list)
    missing: set[str] = field(default_factory=set)
    shorted: set[str] = field(default_factory=set)
    scale: dict[str, float] = field(default_factory=dict)

    def node(self, reference: str, pin: str) -> str:
        """A pin's node, a name of its own where it is connected to nothing."""
        net = self.netlist.net(reference, pin)
        if net == "GND":
            return "0"
        return (net or f"nc-{reference}-{pin}").replace("-", "_").lower()

    def text(self, commands: list[str], title: str = "sagline rig") -> str:
        """The whole deck with its commands."""
        lines = [f"* {title}", *MODELS]
        for ref in sorted(self.netlist.parts, key=order):
            part = self.netlist.parts[ref]
            if ref in self.missing or part.symbol in ("TEST_POINT", "CLIP"):
                continue
            if ref in self.shorted:
                lines.append(f"r{ref} {self.node(ref, 'D')} {self.node(ref, 'S')} 10m")
                continue
            lines += _MODELS[part.symbol](self, part)
        return "\n".join([*lines, *self.stimulus, *commands, ".end"]) + "\n"

    def value(self, part: Part) -> float:
        """A part's ohms or farads, as far off as it is meant to be."""
        return part.number * self.scale.get(part.reference, 1.0)

    def two(self, part: Part) -> str:
        """The nodes of a part's pins 1 and 2."""
        return f"{self.node(part.reference, '1')} {self.node(part.reference, '2')}"


def _resistor(deck: Deck, part: Part) -> list[str]:
    return [f"r{part.reference} {deck.two(part)} {deck.value(part):.9g}"]


def _capacitor(deck: Deck, part: Part) -> list[str]:
    return [f"c{part.reference} {deck.two(part)} {deck.value(part):.9g}"]


def _fuse(deck: Deck, part: Part) -> list[str]:
    # Cold resistance of such fuses, from memory.
    ohm = 0.015 if part.rating["current"] > 1.0 else 1.5
    return [f"r{part.reference} {deck.two(part)} {ohm:g}"]


def _link(deck: Deck, part: Part) -> list[str]:
    return [] if part.value == "JUMPER" else [f"r{part.reference} {deck.two(part)} 1m"]


def _schottky(deck: Deck, part: Part) -> list[str]:
    model = "schottky5a" if part.rating["current"] > 2.0 else "schottky1a"
    anode, cathode = deck.node(part.reference, "A"), deck.node(part.reference, "K")
    return [f"d{part.reference} {anode} {cathode} {model}"]


def _series(deck: Deck, part: Part) -> list[str]:
    anode, joint, cathode = (deck.node(part.reference, pin) for pin in ("A", "COM", "K"))
    model = part.value.lower()
    return [
        f"d{part.reference}a {anode} {joint} {model}",
        f"d{part.reference}k {joint} {cathode} {model}",
    ]


def _nmos(deck: Deck, part: Part) -> list[str]:
    drain, gate, source = (deck.node(part.reference, pin) for pin in ("D", "G", "S"))
    model = "bss138" if part.value == "BSS138" else "nmos30v"
    return [f"m{part.reference} {drain} {gate} {source} {model}"]


def _npn(deck: Deck, part: Part) -> list[str]:
    collector, base, emitter = (deck.node(part.reference, pin) for pin in ("C", "B", "E"))
    return [f"q{part.reference} {collector} {base} {emitter} bc547b"]


def _reference(deck: Deck, part: Part) -> list[str]:
    anode, cathode = deck.node(part.reference, "A"), deck.node(part.reference, "K")
    model = "shunt3v0" if part.value.endswith("3.0") else "shunt2v5"
    return [f"d{part.reference} {anode} {cathode} {model}"]


def _amplifier(deck: Deck, part: Part) -> list[str]:
    """One pole at 400 kHz as a follower, an output of 200 ohm within its supply, input clamps."""
    ref = part.reference
    low, high = deck.node(ref, "V-"), deck.node(ref, "V+")
    lines = [f"i{ref} {high} {low} 1u"]
    for out, (plus, minus) in _UNITS.items():
        if out not in part.pins:
            continue
        inside = f"{ref}_{out}".lower()
        plus_node, minus_node = deck.node(ref, plus), deck.node(ref, minus)
        lines += [
            # Its integrator: 1 A/V into 0.4 uF is 400 kHz.
            f"b{inside} 0 {inside}i i=max(-0.05,min(0.05,v({plus_node})-v({minus_node})))",
            f"c{inside} {inside}i 0 0.4u",
            f"r{inside} {inside}i 0 100k",
            f"dl{inside} 0 {inside}i bav199",
            # Clamped to a copy of its supply: the model's integrator must not feed the real one.
            f"eh{inside} {inside}h 0 {high} 0 1",
            f"dh{inside} {inside}i {inside}h bav199",
            f"bo{inside} {inside}o 0 v=max(v({low}),min(v({high}),v({inside}i)))",
            f"ro{inside} {inside}o {deck.node(ref, out)} 200",
            f"dn{inside} {low} {plus_node} bav199",
            f"dp{inside} {plus_node} {high} bav199",
        ]
    return lines


def _gate(deck: Deck, part: Part) -> list[str]:
    ref = part.reference
    a, y, supply = (deck.node(ref, pin) for pin in ("A", "Y", "VCC"))
    return [
        f"b{ref} {ref}o 0 v=v({supply})*(0.5+0.5*tanh(20*(v({a})-0.5*v({supply}))))",
        f"r{ref} {ref}o {y} 20",
        f"r{ref}a {a} 0 10meg",
    ]


def _converter(deck: Deck, part: Part) -> list[str]:
    ref = part.reference
    return [f"r{ref}{n} {deck.node(ref, f'AIN{n}')} 0 6meg" for n in range(4)]


def _board(deck: Deck, part: Part) -> list[str]:
    """3V3 by its regulator, or by nothing; 200 ohm to the reference; pins as they are driven."""
    supply = deck.node(_BOARD, "3V3")
    lines = [f"r{_BOARD}ref {supply} {deck.node(_BOARD, 'ADC_VREF')} 200"]
    if deck.powered:
        lines += [f"v{_BOARD} {_BOARD}s 0 {deck.supply_v:g}", f"r{_BOARD} {_BOARD}s {supply} 50m"]
    else:
        # What a chip without power draws is not counted on.
        lines += [f"r{_BOARD} {supply} 0 1meg", f"c{_BOARD} {supply} 0 20u"]
    for number, source in sorted(deck.pins.items()):
        pin = deck.node(_BOARD, f"GP{number}")
        lines += [f"vgp{number} gp{number}s 0 {source}", f"rgp{number} gp{number}s {pin} 40"]
    return lines


_MODELS: dict[str, Callable[[Deck, Part], list[str]]] = {
    "R": _resistor,
    "NTC": _resistor,
    "C": _capacitor,
    "F": _fuse,
    "LINK": _link,
    "D_SCHOTTKY": _schottky,
    "D_SERIES": _series,
    "NMOS": _nmos,
    "NPN": _npn,
    "REFERENCE": _reference,
    "QUAD_AMPLIFIER": _amplifier,
    "GATE": _gate,
    "ADS1115": _converter,
    "PICO": _board,
}
