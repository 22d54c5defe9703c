# SPDX-License-Identifier: MIT
"""Rules about what is connected to what. Each gives what it finds wrong."""

from __future__ import annotations

from tools.circuit import (
    BOARD,
    BOARD_SUPPLY,
    FORCE_POS,
    GND,
    NULL_SUPPLY,
    REFERENCE,
    SENSE_NEG,
    SENSE_POS,
    SUPPLY,
    Circuit,
)

Findings = list[str]
_STRONG = ("output", "power_out")
_PASSIVE_ENDS = ("R", "C", "LINK", "F", "D_SCHOTTKY", "REFERENCE")


def every_pin_is_connected(c: Circuit) -> Findings:
    """Every pin meets another, or is marked as unconnected; a marked one is not an input."""
    joined = {node for nodes in c.netlist.nets.values() if len(nodes) > 1 for node in nodes}
    left_out = _towards_left_out(c)
    return [
        f"{ref} pin {number} ({pin.name}) is connected to nothing"
        for ref, part in c.netlist.parts.items()
        for number, pin in part.pins.items()
        if (ref, number) not in joined | c.netlist.loose | left_out
    ]


def _towards_left_out(c: Circuit) -> set[tuple[str, str]]:
    # Where a build leaves parts out, the board's pins and clamps that led to them remain.
    if c.build == "full":
        return set()
    return {
        node
        for nodes in c.netlist.nets.values()
        for node in nodes
        if len(nodes) == 1 and node[0] == BOARD
    }


def outputs_do_not_fight(c: Circuit) -> Findings:
    """At most one output on a net; none beside a pin that the firmware drives; no two of those."""
    found = []
    for net, nodes in c.netlist.nets.items():
        kinds = [(ref, c.netlist.parts[ref].pins[number].kind) for ref, number in sorted(nodes)]
        strong = [ref for ref, kind in kinds if kind in _STRONG]
        driven = [ref for ref, kind in kinds if kind == "bidirectional" and ref == BOARD]
        if len(strong) + len(driven) > 1:
            found.append(f"{net}: {' and '.join([*strong, *driven])} drive it")
    return found


def inputs_are_driven(c: Circuit) -> Findings:
    """Every input has a way for direct current to something."""
    found = []
    for net, nodes in c.netlist.nets.items():
        kinds = [
            (c.netlist.parts[ref].symbol, c.netlist.parts[ref].pins[n].kind) for ref, n in nodes
        ]
        if any(kind == "input" for _, kind in kinds):
            if all(kind == "input" or symbol in ("C", "TEST_POINT") for symbol, kind in kinds):
                found.append(f"{net}: an input that floats")
    return found


def supplies_are_in_order(c: Circuit) -> Findings:
    """Grounds on ground, supplies on theirs, a damped analogue supply, capacitors, bleeder."""
    found = []
    n = c.netlist
    wanted = {"GND": GND, "AGND": GND, "V-": GND, "V+": SUPPLY, "VDD": SUPPLY, "VCC": NULL_SUPPLY}
    for ref, part in n.parts.items():
        for number, pin in part.pins.items():
            net = wanted.get(pin.name)
            if net and n.net(ref, number) != net:
                found.append(f"{ref} pin {number} ({pin.name}) is not on {net}")
    if n.net(BOARD, "3V3") != BOARD_SUPPLY:
        found.append("the board does not feed 3V3")
    if n.net(BOARD, "ADC_VREF") != REFERENCE:
        found.append("the board's converter has not the rig's reference")
    if len(c.resistors(BOARD_SUPPLY, SUPPLY)) != 1:
        found.append("3V3A is not 3V3 through one resistor")
    for net, least in ((SUPPLY, 40e-6), (REFERENCE, 90e-9), (NULL_SUPPLY, 90e-9)):
        if net in n.nets and c.farads(net, GND) < least:
            found.append(f"{net} has too little capacitance to ground")
    if not any(ohm <= 2200.0 for ohm in c.resistors(BOARD_SUPPLY, GND)):
        found.append("3V3 has no bleeder")
    for net in (REFERENCE, NULL_SUPPLY):
        if net in n.nets:
            parts = n.on(net, "REFERENCE")
            if [n.ends(ref) for ref in parts] != [(net, GND)]:
                found.append(f"{net}: not one reference, cathode on it, anode on ground")
    if NULL_SUPPLY in n.nets and not c.resistors(SUPPLY, NULL_SUPPLY):
        found.append("the null's reference is not fed from 3V3A")
    return found


def gates_are_held_low(c: Circuit) -> Findings:
    """Each load's gate: a resistor from its pin, and one of at most 10 k from there to ground."""
    found = []
    for index, load in enumerate(c.loads()):
        pin = c.gpio(c.profile.PINS["gates"][index])
        series = c.resistors(pin, load.gate)
        if not any(220.0 <= ohm <= 10e3 for ohm in series):
            found.append(f"{load.switch}: no resistor between its gate and its pin")
        if not any(ohm <= 10e3 for net in (pin, load.gate) for ohm in c.resistors(net, GND)):
            found.append(f"{load.switch}: nothing holds its gate low while its pin floats")
    for ref in c.arm():
        if c.netlist.parts[ref].symbol == "NMOS":
            if not c.resistors(c.netlist.net(ref, "G"), GND):
                found.append(f"{ref}: nothing holds ARM's gate low")
    return found


def arm_needs_edges(c: Circuit) -> Findings:
    """No direct current comes from ARM's pin to ARM's gate: only edges pass, by a capacitor."""
    if c.build == "base":
        return [] if c.arm() == ["W1"] else ["the base build needs its link in ARM's place"]
    found = []
    switches = [ref for ref in c.arm() if c.netlist.parts[ref].symbol == "NMOS"]
    if len(c.arm()) != 1 or len(switches) != 1:
        return ["there is not one ARM switch, and nothing beside it"]
    reached, waiting = {GND, BOARD_SUPPLY}, [c.gpio(c.profile.PINS["arm"])]
    pump = None
    while waiting:
        net = waiting.pop()
        reached.add(net or "")
        for ref in c.netlist.on(net):
            if c.netlist.parts[ref].symbol in ("R", "LINK", "D_SCHOTTKY"):
                other = c.across(ref, net)
                if other not in reached:
                    waiting.append(other)
            if c.netlist.parts[ref].symbol == "C":
                pump = pump or c.netlist.on(c.across(ref, net), "D_SERIES")
    if c.netlist.net(switches[0], "G") in reached:
        found.append("a pin that stands high holds ARM's gate")
    if not pump or c.netlist.net(pump[0], "A") != GND:
        found.append("ARM's pin feeds no pump through a capacitor")
    return found


def force_lead_is_fused_and_blocked(c: Circuit) -> Findings:
    """Positive force clip, fuse, diode towards the rail, and nothing else on the way."""
    n = c.netlist
    clip = n.net(FORCE_POS, "1")
    fuses = n.on(clip, "F")
    if n.on(clip) != sorted([*fuses, FORCE_POS]) or len(fuses) != 1:
        return ["the positive force clip leads to something else than one fuse"]
    after = c.across(fuses[0], clip)
    diodes = n.on(after, "D_SCHOTTKY")
    if len(diodes) != 1 or n.on(after) != sorted([fuses[0], diodes[0]]):
        return ["the fuse leads to something else than the blocking diode"]
    if n.net(diodes[0], "A") != after:
        return ["the blocking diode conducts a reversed cell's current"]
    return []


def sense_leads_carry_no_load(c: Circuit) -> Findings:
    """Sense + begins with 10 k or more; Sense - goes by one fuse to ground, and nowhere else."""
    found = []
    n = c.netlist
    clip = n.net(SENSE_POS, "1")
    ways = [ref for ref in n.on(clip) if ref != SENSE_POS]
    if [n.parts[ref].symbol for ref in ways] != ["R"] or n.parts[ways[0]].number < 10e3:
        found.append("the positive sense clip does not lead to one resistor of 10 k or more")
    clip = n.net(SENSE_NEG, "1")
    ways = [ref for ref in n.on(clip) if ref != SENSE_NEG]
    if [n.parts[ref].symbol for ref in ways] != ["F"] or c.across(ways[0], clip) != GND:
        found.append("the negative sense clip does not lead by one fuse to ground")
    way = {c.rail, c.back, c.bank(), *(load.drain for load in c.loads())}
    for net in way:
        for ref in n.on(net):
            if n.parts[ref].symbol in _PASSIVE_ENDS and c.across(ref, net) == GND:
                if net != c.back:
                    found.append(f"{ref} leads load current to ground")
    return found


def ground_has_one_tie(c: Circuit) -> Findings:
    """Return to ground: one resistor, one diode with its anode at ground, one damper."""
    n = c.netlist
    if c.back == GND:
        return ["return and ground are one net"]
    found = []
    between = [r for r in n.between(c.back, GND) if n.parts[r].symbol in _PASSIVE_ENDS]
    resistors = [ref for ref in between if n.parts[ref].symbol == "R"]
    diodes = [ref for ref in between if n.parts[ref].symbol == "D_SCHOTTKY"]
    if len(resistors) != 1 or n.parts[resistors[0]].number < 1e3:
        found.append("not one resistor of 1 k or more from return to ground")
    if len(diodes) != 1 or n.net(diodes[0], "A") != GND:
        found.append("not one diode from ground to return")
    if set(between) - {*resistors, *diodes}:
        found.append(f"{between} lie between return and ground")
    damped = [
        ref
        for ref in n.on(c.back, "R")
        if ref not in resistors and c.farads(c.across(ref, c.back), GND) >= 90e-9
    ]
    if len(damped) != 1:
        found.append("the ground tie is not damped")
    return found


def loads_are_switched_and_damped(c: Circuit) -> Findings:
    """Each load: switch to the common bank, diode back to the rail; the bank by ARM to return."""
    found = []
    n = c.netlist
    wanted = 1 if c.build == "base" else len(c.profile.LOADS)
    loads = c.loads()
    if len(loads) != wanted:
        found.append(f"{len(loads)} loads, not {wanted}")
    for load in loads:
        if n.net(load.switch, "S") != c.bank():
            found.append(f"{load.switch}: its source is not on the bank")
        diodes = [ref for ref in n.on(load.drain, "D_SCHOTTKY") if n.net(ref, "K") == c.rail]
        if len(diodes) != 1:
            found.append(f"{load.resistor}: no diode takes over its current")
    if not c.arm():
        found.append("nothing leads from the bank to the return tap")
    snubber = [ref for ref in n.on(c.rail, "R") if c.farads(c.across(ref, c.rail), c.back) > 0.0]
    if len(snubber) != 1:
        found.append("no damper from rail to return")
    return found


CONNECTIONS = (
    every_pin_is_connected,
    outputs_do_not_fight,
    inputs_are_driven,
    supplies_are_in_order,
    gates_are_held_low,
    arm_needs_edges,
    force_lead_is_fused_and_blocked,
    sense_leads_carry_no_load,
    ground_has_one_tie,
    loads_are_switched_and_damped,
)
