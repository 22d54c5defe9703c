# SPDX-License-Identifier: MIT
"""The kinds of parts, each once: symbol, value, what it must bear, what may stand in for it.

`rating` is the least that the part must be rated for, as `quantity number unit` with commas
between; the rules read it. Names of actual parts are from memory and only say what to look for:
the maker's data sheet decides.
"""

from __future__ import annotations

from dataclasses import dataclass

_METAL_FILM = "metal film, axial 0207 or SMD 1206"
_SMALL = ("thick film of 1 % in 1206", "any film resistor of twice the power")
# By symbol, of `rating`; the others are in bom.csv.
_SHOWN = {
    "R": ("power", "pulse"),
    "C": ("voltage",),
    "F": ("current", "voltage"),
    **dict.fromkeys(("D_SCHOTTKY", "D_SERIES", "NMOS", "NPN"), ("voltage", "current")),
    **dict.fromkeys(("REFERENCE", "CLIP", "LINK"), ("current",)),
    **dict.fromkeys(("QUAD_AMPLIFIER", "GATE", "ADS1115", "PICO"), ("supply",)),
    "TEST_POINT": (),
    "NTC": (),
}


@dataclass(frozen=True)
class Kind:
    """One line of the parts list."""

    symbol: str
    value: str
    tolerance: str
    rating: str
    package: str
    description: str
    alternatives: tuple[str, str]
    why: str

    @property
    def text(self) -> str:
        """Value and tolerance as they stand on the drawing."""
        return f"{self.value} {self.tolerance}".strip()

    @property
    def limits(self) -> str:
        """What it must bear, as it stands on the drawing: the ratings that a buyer looks for."""
        ratings = dict(each.split(" ", 1) for each in filter(None, self.rating.split(", ")))
        return " ".join(
            ratings[name].replace(" ", "") for name in _SHOWN[self.symbol] if name in ratings
        )

    @property
    def limits_unit(self) -> int:
        """The unit beside which they stand."""
        return 5 if self.symbol == "QUAD_AMPLIFIER" else 1


def _load(value: str, power_w: str, pulse_j: str, package: str, other: tuple[str, str]) -> Kind:
    rating = f"power {power_w} W, pulse {pulse_j} J, tcr 100 ppm/K, voltage 50 V"
    return Kind(
        "R", value, "1%", rating, package,
        f"Power resistor {value} ohm 1 %, {power_w} W in free air, one pulse of {pulse_j} J in 5 s",
        other,
        "A known load. Twice what the guard allows in one pulse and as a mean.",
    )  # fmt: skip


def _small(value: str, why: str) -> Kind:
    return Kind(
        "R", value, "1%", "power 0.25 W, voltage 200 V", _METAL_FILM,
        f"Resistor {value} ohm 1 % 0.25 W metal film", _SMALL, why,
    )  # fmt: skip


def _divider(value: str, why: str) -> Kind:
    return Kind(
        "R", value, "0.1%", "power 0.125 W, tcr 25 ppm/K, voltage 100 V",
        "metal film, axial 0207 or SMD 0805",
        f"Precision resistor {value} ohm 0.1 % 25 ppm/K",
        ("0.1 % thin film in 0805", "0.5 %, where the rig is calibrated: then only drift counts"),
        why,
    )  # fmt: skip


def _capacitor(value: str, tolerance: str, what: str, other: tuple[str, str], why: str) -> Kind:
    return Kind(
        "C", value, tolerance, "voltage 50 V", "radial 5 mm or SMD 1206",
        f"Capacitor {value}F {tolerance} 50 V {what}", other, why,
    )  # fmt: skip


_X7R = "ceramic X7R"
_X7R_OTHERS = ("film of the same value", "ceramic X7R of 25 V in 0805, behind the dividers only")
_FILM_OTHERS = ("PPS film", "ceramic X7R, waiting longer for a certified value")

KINDS = {
    "load 3.3": _load(
        "3.3", "10", "100", "aluminium-clad 25 W on a heat sink or metal case",
        ("3.3 ohm 50 W aluminium-clad 1 %", "3.3 ohm 25 W wirewound in ceramic, 1 %"),
    ),
    "load 15": _load(
        "15", "5", "50", "aluminium-clad 10 W",
        ("15 ohm 25 W aluminium-clad 1 %", "15 ohm 7 W wirewound, axial, 1 %"),
    ),
    "load 68": _load(
        "68", "3", "30", "wirewound, axial 3 W",
        ("68 ohm 5 W wirewound 1 %", "68 ohm 10 W aluminium-clad 1 %"),
    ),
    "load 470": _load(
        "470", "2", "10", "metal film, axial 2 W",
        ("470 ohm 3 W wirewound 1 %", "470 ohm 5 W aluminium-clad 1 %"),
    ),
    "fuse force": Kind(
        "F", "T6.3A", "", "current 6.3 A, voltage 32 V, breaking 1500 A",
        "5 x 20 mm ceramic in an in-line holder",
        "Fuse 6.3 A time-lag, ceramic, breaking capacity 1500 A, in-line holder",
        ("6.3 x 32 mm ceramic 6.3 A time-lag", "blade fuse 7.5 A 32 V d.c. in an in-line holder"),
        "At the clip: opens the positive force lead where lead or board is shorted. It must be "
        "rated to break the battery's short-circuit current.",
    ),
    "fuse sense": Kind(
        "F", "F250mA", "", "current 0.25 A, voltage 32 V, breaking 1500 A",
        "5 x 20 mm ceramic in an in-line holder",
        "Fuse 250 mA fast, ceramic, breaking capacity 1500 A, in-line holder",
        ("6.3 x 32 mm ceramic 250 mA fast", "200 mA fast of the same make"),
        "At the clip: opens where an earthed computer makes the sense lead a way for the "
        "battery's current.",
    ),
    "blocking": Kind(
        "D_SCHOTTKY", "SCHOTTKY-5A", "", "current 5 A, voltage 40 V", "axial DO-201 or DPAK",
        "Schottky diode 40 V 5 A, such as SB540",
        ("SB560 (60 V, a little more drop)", "MBRD640 in DPAK"),
        "Blocks a reversed cell. Its drop lies outside what is measured.",
    ),
    "freewheel": Kind(
        "D_SCHOTTKY", "SCHOTTKY-1A", "", "current 1 A, pulse 25 A, voltage 40 V",
        "axial DO-41 or SMA", "Schottky diode 40 V 1 A, such as 1N5819",
        ("SS14 in SMA", "SB140"),
        "Across a load: takes over its inductance's current for some microseconds. At the ground "
        "tie: keeps the return node within a diode of ground, one way only.",
    ),
    "switch": Kind(
        "NMOS", "NMOS-30V", "", "voltage 30 V, current 6 A, resistance 22 mohm, drive 2.5 V, "
        "gate 8 V",
        "SOT-23, TSOP-6 or SO-8 on an adapter",
        "N-channel MOSFET 30 V or more, at most 22 mohm at 2.5 V between gate and source",
        ("one of 40 V with the same resistance at 2.5 V", "two of 44 mohm at 2.5 V side by side"),
        "Switches a load, or ARM all of them. Rated at 2.5 V, since its gate gets 3 V.",
    ),
    "range switch": Kind(
        "NMOS", "BSS138", "", "voltage 30 V, current 0.1 A, resistance 6000 mohm, drive 2.5 V, "
        "gate 12 V, leakage 2 nA",
        "SOT-23", "Small N-channel MOSFET, threshold at most 1.5 V, such as BSS138",
        ("2N7002 with a threshold of at most 2 V", "DMN2004 class, SOT-23"),
        "Grounds the range leg. What it leaks at 2 V adds to the divider's error.",
    ),
    "npn": Kind(
        "NPN", "BC547B", "", "voltage 30 V, current 0.1 A", "TO-92",
        "NPN transistor BC547B", ("BC847B in SOT-23", "2N5088"),
        "Of the pump that holds ARM: gain of 200 or more.",
    ),
    "clamp": Kind(
        "D_SERIES", "BAV199", "", "current 0.1 A, voltage 70 V, leakage 5 nA", "SOT-23",
        "Two low-leakage diodes in series, BAV199",
        ("two BAS416", "two JFETs of picoamperes wired as diodes"),
        "Keeps a follower's input between ground and its supply whatever is on the clips.",
    ),
    "pump diodes": Kind(
        "D_SERIES", "BAV99", "", "current 0.1 A, voltage 70 V, leakage 1000 nA", "SOT-23",
        "Two fast diodes in series, BAV99", ("two 1N4148", "BAV199"), "Of ARM's charge pump.",
    ),
    "divider 18k": _divider("18k", "At the clip of positive sense: what follows it is harmless."),
    "divider 82k": _divider("82k", "With the 18 k at the clip it makes 100 k."),
    "divider 100k": _divider("100k", "Top of the force divider."),
    "divider 75k": _divider("75k", "Foot of a divider: 4.5 V become 1.85 V and the lift."),
    "divider 16k": _divider("16k", "Range leg: 16.5 V become 1.9 V and the lift."),
    "divider 1M": _divider("1M", "Lifts the node, so that zero, reversed and lost leads differ."),
    "divider 22k": _divider("22k", "Of the return channel."),
    "divider 220k": _divider("220k", "Lifts the return channel."),
    "divider 10k": _divider("10k", "Above the thermistor: the ratio of the two is read."),
    "R 10k": _small("10k", "Ground tie, pull-ups and the null's filter; none needs its 1 %."),
    "R 10": _small("10", "Damps what rings; parts the analogue supply from the board's."),
    "R 22": _small("22", "Damps the ground tie."),
    "R 33": _small("33", "Slows the edges into the null's gate."),
    "R 220": _small("220", "In series with every converter pin and with the pump."),
    "R 1k": _small("1k", "In series with every gate."),
    "R 1.2k": _small("1.2k", "Feeds the null's reference: the larger, the less 3V3 moves it."),
    "R 2.2k": _small("2.2k", "Bleeds 3V3, so that a live battery cannot raise a dead board's."),
    "R 4.7k": _small("4.7k", "Holds a gate low while its pin floats; elsewhere pulls up."),
    "R 47k": _small("47k", "Second stage of the null's filter."),
    "R 100k": _small("100k", "Holds the range, and ARM's gate, where they are safe."),
    "R 220k": _small("220k", "Base of ARM's inverter."),
    "R 1M": _small("1M", "From ARM's store to its transistor."),
    "R 1.5M": _small("1.5M", "Empties ARM's store."),
    "C 100p": _capacitor("100p", "5%", "ceramic C0G", ("C0G of 25 V in 0805", "polystyrene"),
                         "Takes the edge's spikes off a divider's node."),
    "C 10n": _capacitor("10n", "10%", "ceramic C0G or film", ("PPS film", "X7R"),
                        "Gives the converter its charge."),
    "C 22n": _capacitor("22n", "10%", _X7R, _X7R_OTHERS, "ARM's pump."),
    "C 100n": _capacitor("100n", "10%", _X7R, _X7R_OTHERS,
                         "Next to supply pins, and in the two dampers."),
    "C 100n film": _capacitor("100n", "5%", "film (PET)", ("PPS film", "ceramic C0G"),
                              "ARM's store: its value sets how long ARM holds."),
    "C 220n": _capacitor("220n", "10%", "film (PET)", _FILM_OTHERS, "Of the null's filter."),
    "C 1u": _capacitor("1u", "10%", "film (PET)", _FILM_OTHERS, "Of the null's filter."),
    "C 2.2u": _capacitor("2.2u", "20%", _X7R, ("tantalum", "aluminium electrolytic"),
                         "Quietens the null's reference."),
    "C 47u": _capacitor("47u", "20%", "aluminium electrolytic, long-life",
                        ("polymer of 10 V", "tantalum of 10 V"), "Holds the analogue supply."),
    "reference 3.0": Kind(
        "REFERENCE", "LM4040-3.0", "0.2%", "current 15 mA", "TO-92 or SOT-23",
        "Shunt reference 3.000 V 0.2 %, LM4040 grade B",
        ("LM4040 grade A (0.1 %)", "another shunt reference of 3.0 V 0.2 %"),
        "Full scale of the board's own converter, and lift of the channels.",
    ),
    "reference 2.5": Kind(
        "REFERENCE", "LM4040-2.5", "0.2%", "current 15 mA", "TO-92 or SOT-23",
        "Shunt reference 2.500 V 0.2 %, LM4040 grade B",
        ("LM4040 grade A (0.1 %)", "LT1009"),
        "The null's own, so that the board's converter does not move it.",
    ),
    "amplifier": Kind(
        "QUAD_AMPLIFIER", "MCP6054", "", "supply 5.5 V, offset 150 uV, bias 1 nA",
        "SOIC-14 or TSSOP-14 on an adapter",
        "Quad rail-to-rail CMOS operational amplifier, offset at most 0.15 mV, MCP6054",
        ("OPA4376", "two MCP6052"),
        "Followers: a divider must not be loaded by what a converter draws.",
    ),
    "gate": Kind(
        "GATE", "74LVC1G34", "", "supply 5.5 V", "SOT-23-5",
        "Single buffer 74LVC1G34, inputs that bear more than its supply",
        ("74LVC1G125 with its enable grounded", "74LVC1G17"),
        "Makes of the PWM a square wave between ground and a reference.",
    ),
    "adc": Kind(
        "ADS1115", "ADS1115", "", "supply 5.5 V", "MSOP-10, or a ready-made module",
        "Converter of 16 bits with four inputs, ADS1115",
        ("a module with the ADS1115, its pull-ups left in place", "ADS1115 on an adapter board"),
        "Reads sense, force, return, and sense less null.",
    ),
    "thermistor": Kind(
        "NTC", "10k", "1%", "power 0.05 W", "insulated bead on two wires of 0.5 m",
        "Thermistor 10 kohm 1 % at 25 degrees, B(25/50) 3950 K 1 %, insulated bead",
        ("bead of 10 kohm with B 3435: change the profile's `b_k`", "glass bead in heat-shrink"),
        "The cell's temperature: r without it says half. May be left out.",
    ),
    "board": Kind(
        "PICO", "PICO", "", "supply 5.5 V", "module with 40 pins",
        "Raspberry Pi Pico or Pico 2, with pin headers",
        ("Pico H", "Pico 2 with headers"), "Times the step and talks to the computer.",
    ),
    "clip": Kind(
        "CLIP", "CLIP", "", "current 10 A", "insulated clip or holder contact",
        "Insulated clip with 0.5 m of 0.75 mm2 stranded wire",
        ("contact of a cell holder with four wires", "ring terminal"),
        "To the cell, by four wires.",
    ),
    "link": Kind(
        "LINK", "LINK", "", "current 6 A", "wire link", "Wire link 0.75 mm2",
        ("solder bridge", "0 ohm 2512"),
        "W1 stands in for ARM where it is left out; W3 grounds an input that nothing drives; W4 "
        "tells the firmware which build it is.",
    ),
    "jumper": Kind(
        "LINK", "JUMPER", "", "current 0.1 A", "pin header 2.54 mm with jumper",
        "Two-pin header with jumper", ("toggle switch", "push button held down at power-on"),
        "Fitted, it keeps the firmware from starting.",
    ),
    "test point": Kind(
        "TEST_POINT", "TP", "", "", "loop or pin 1.3 mm", "Test point",
        ("bare wire loop", "pin of a header"), "For the checks before first power.",
    ),
}  # fmt: skip
