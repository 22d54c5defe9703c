# SPDX-License-Identifier: MIT
"""Rules that the drawing and the firmware's profile say the same."""

from __future__ import annotations

from tools.circuit import CONVERTER, GND, REFERENCE, SENSE_POS, SUPPLY, Circuit

Findings = list[str]


def pins_are_the_profiles(c: Circuit) -> Findings:
    """Gates in the order of the loads, ARM, range, both converters, the null's PWM, the jumper."""
    found = []
    n, pins = c.netlist, c.profile.PINS
    for index, load in enumerate(c.loads()):
        if load.gate is None or not c.resistors(c.gpio(pins["gates"][index]), load.gate):
            found.append(f"{load.switch} does not hang on GP{pins['gates'][index]}")
    gates = pins["gates"]
    if list(gates) != list(range(gates[0], gates[0] + len(gates))):
        found.append("the gates are not on pins next to each other")
    if c.build == "full" and not n.on(c.gpio(pins["arm"]), "R"):
        found.append(f"ARM does not hang on GP{pins['arm']}")
    for switch in c.leg_switches(c.node(0)):
        if not c.resistors(n.net(switch, "G"), c.gpio(pins["range"])):
            found.append(f"the range does not hang on GP{pins['range']}")
    for channel in range(3):
        if not c.node(channel) or not c.chain(c.tap(channel), c.node(channel)):
            found.append(f"GP{pins['adc'][channel]} does not read channel {channel}'s tap")
    if CONVERTER in n.parts:
        for key, name in (("sda", "SDA"), ("scl", "SCL"), ("ready", "RDY")):
            if n.net(CONVERTER, name) != c.gpio(pins[key]):
                found.append(f"{name} of the converter is not on GP{pins[key]}")
    for gate in (ref for ref, part in n.parts.items() if part.symbol == "GATE"):
        if not c.resistors(n.net(gate, "A"), c.gpio(pins["null"])):
            found.append(f"the null channel's gate does not hang on GP{pins['null']}")
    if not n.between(c.gpio(pins["jumper"]), GND, "LINK"):
        found.append(f"the jumper is not between GP{pins['jumper']} and ground")
    told_base = n.between(c.gpio(pins["build"]), GND, "LINK")
    if bool(told_base) != (c.build == "base"):
        found.append(f"GP{pins['build']} is grounded in the base build and in no other")
    # GPIO 23 sets the supply's mode inside the board: it has no pin on the header.
    if pins["smps"] != 23:
        found.append(f"the supply's mode is on GP23, not GP{pins['smps']}")
    return found


def loads_are_the_profiles(c: Circuit) -> Findings:
    """Ohms, tolerance and temperature coefficient of every load."""
    found = []
    for load, entry in zip(c.loads(), c.entries(), strict=False):
        part = c.netlist.parts[load.resistor]
        drawn = (
            round(part.number * 1e3),
            round((part.tolerance or 0.0) * 1e6),
            part.rating.get("tcr"),
        )
        said = (entry["load_milliohm"], entry["tolerance_ppm"], entry["tcr_ppm_per_k"])
        if drawn != said:
            found.append(f"{load.resistor}: drawn {drawn}, in the profile {said}")
    return found


def channels_are_the_profiles(c: Circuit) -> Findings:
    """Top, foot, lift, range leg and their tolerance of every channel."""
    found = []
    for channel, entry in enumerate(c.profile.CHANNELS):
        node = c.node(channel)
        chain = c.chain(c.tap(channel), node)
        drawn = {
            "top_ohm": sum(c.netlist.parts[ref].number for ref in chain),
            "foot_ohm": sum(c.resistors(node, GND)),
            "lift_ohm": sum(c.resistors(REFERENCE, node)),
            "range_foot_ohm": sum(part.number for part in c.legs(node)),
        }
        for key, ohm in drawn.items():
            if round(ohm) != entry[key]:
                found.append(f"channel {channel}: {key} {ohm:g}, in the profile {entry[key]}")
        for ref in c.netlist.on(node, "R"):
            ppm = round((c.netlist.parts[ref].tolerance or 1.0) * 1e6)
            if ppm != entry["tolerance_ppm"]:
                found.append(f"channel {channel}: {ref} is within {ppm} ppm")
    if c.netlist.on(c.netlist.net(SENSE_POS, "1"), "R") != c.chain(c.tap(0), c.node(0))[:1]:
        found.append("the divider of sense does not begin at its clip")
    return found


def references_are_the_profiles(c: Circuit) -> Findings:
    """Volts and tolerance of both references; the ground tie's ohms."""
    found = []
    wanted = {REFERENCE: c.profile.REFERENCE}
    if c.build == "full":
        wanted["VN"] = c.profile.NULL
    for net, entry in wanted.items():
        parts = [c.netlist.parts[ref] for ref in c.netlist.on(net, "REFERENCE")]
        drawn = [
            (round(float(part.value.split("-")[1]) * 1e6), round((part.tolerance or 0.0) * 1e6))
            for part in parts
        ]
        if drawn != [(entry["reference_uv"], entry["tolerance_ppm"])]:
            found.append(f"{net}: drawn {drawn}")
    tie = c.resistors(c.back, GND)
    if tie != [c.profile.LEADS["ground_tie_ohm"]]:
        found.append(f"the ground tie has {tie} ohm")
    return found


def converters_read_the_same(c: Circuit) -> Findings:
    """Input n of the converter of 16 bits is channel n; the fourth is the null channel."""
    if CONVERTER not in c.netlist.parts:
        return []
    found = []
    for channel, number in enumerate(c.profile.PINS["adc"]):
        if c.netlist.net(CONVERTER, f"AIN{channel}") != c.gpio(number):
            found.append(f"AIN{channel} is not channel {channel}")
    null = c.netlist.net(CONVERTER, f"AIN{c.profile.NULL_DIFFERENCE}")
    follower = c.follower(null or "")
    steps = [c.gpio(c.profile.PINS["null"])] if follower is None else [follower[2]]
    for _ in range(3):
        steps = [c.across(r, net) for net in steps for r in c.netlist.on(net, "R")]
        if any(c.netlist.on(net, "GATE") for net in steps):
            return found
    return [*found, "the fourth input is not the null channel's"]


def the_thermistor_is_the_profiles(c: Circuit) -> Findings:
    """Ohms and tolerances; its converter reads it and the supply, at an address of its own."""
    n, found = c.netlist, []
    for bead in (ref for ref, part in n.parts.items() if part.symbol == "NTC"):
        joint = c.across(bead, GND)
        for ref in n.on(joint, "ADS1115"):
            if (n.net(ref, "AIN0"), n.net(ref, "AIN1")) != (joint, SUPPLY):
                found.append(f"{ref} does not read {bead} and the supply")
            if n.net(ref, "ADDR") != SUPPLY or ref == CONVERTER:
                found.append(f"{ref} answers as {CONVERTER} does")
        drawn = {}
        for ref in n.between(joint, SUPPLY, "R"):
            drawn["reference_ohm"] = round(n.parts[ref].number)
            drawn["reference_tolerance_ppm"] = round((n.parts[ref].tolerance or 0.0) * 1e6)
        drawn["ohm_at_25"] = round(n.parts[bead].number)
        drawn["tolerance_ppm"] = round((n.parts[bead].tolerance or 0.0) * 1e6)
        said = {name: c.profile.THERMISTOR[name] for name in drawn}
        if drawn != said or len(drawn) < 4:
            found.append(f"{bead}: drawn {drawn}, in the profile {said}")
    return found


SAMENESS = (
    pins_are_the_profiles,
    loads_are_the_profiles,
    channels_are_the_profiles,
    references_are_the_profiles,
    converters_read_the_same,
    the_thermistor_is_the_profiles,
)
