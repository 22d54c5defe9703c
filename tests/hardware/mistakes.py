# SPDX-License-Identifier: MIT
"""Single edits of the netlist or the profile, as a slip of the pen would make them."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

from sagline_board import profile
from tools.netlist import Netlist

Edit = Callable[[Netlist, Any], tuple[Netlist, Any]]


def own_profile() -> SimpleNamespace:
    """The profile's values, free to be changed."""
    values = {name: value for name, value in vars(profile).items() if name.isupper()}
    own = SimpleNamespace(**copy.deepcopy(values))
    alone = dict(profile.loads_of(profile.BASE)[0])
    own.loads_of = lambda build: (alone,) if build == own.BASE else own.LOADS
    return own


def moved(reference: str, pin: str, net: str | None) -> Edit:
    """A pin on another net, or on none."""

    def edit(netlist: Netlist, said: Any) -> tuple[Netlist, Any]:
        node = (reference, netlist.pin(reference, pin).number)
        nets = {name: nodes - {node} for name, nodes in netlist.nets.items()}
        if net is not None:
            nets[net] = nets[net] | {node}
        return Netlist(netlist.parts, nets, netlist.loose), said

    return edit


def swapped(reference: str, pin: str, other: str) -> Edit:
    """Two pins of a part exchanged."""

    def edit(netlist: Netlist, said: Any) -> tuple[Netlist, Any]:
        one, two = netlist.net(reference, pin), netlist.net(reference, other)
        netlist, said = moved(reference, pin, two)(netlist, said)
        # By number: for a moment both pins are on one net.
        return moved(reference, other, one)(netlist, said)

    return edit


def missing(reference: str) -> Edit:
    """A part left out of every build."""

    def edit(netlist: Netlist, said: Any) -> tuple[Netlist, Any]:
        parts = {ref: part for ref, part in netlist.parts.items() if ref != reference}
        nets = {
            net: frozenset(node for node in nodes if node[0] != reference)
            for net, nodes in netlist.nets.items()
        }
        return Netlist(parts, nets, netlist.loose), said

    return edit


def bridged(reference: str) -> Edit:
    """A part of two pins that is a piece of wire instead."""

    def edit(netlist: Netlist, said: Any) -> tuple[Netlist, Any]:
        one, other = netlist.ends(reference)
        netlist, said = missing(reference)(netlist, said)
        nets = dict(netlist.nets)
        nets[one or ""] = nets[one or ""] | nets.pop(other or "")
        return Netlist(netlist.parts, nets, netlist.loose), said

    return edit


def fielded(reference: str, name: str, old: str, new: str) -> Edit:
    """A field of a part in which something else stands."""

    def edit(netlist: Netlist, said: Any) -> tuple[Netlist, Any]:
        part = netlist.parts[reference]
        assert old in part.fields[name]
        fields = part.fields | {name: part.fields[name].replace(old, new)}
        parts = netlist.parts | {reference: replace(part, fields=fields)}
        return Netlist(parts, netlist.nets, netlist.loose), said

    return edit


def told(change: Callable[[Any], object]) -> Edit:
    """The firmware's profile says something else."""

    def edit(netlist: Netlist, said: Any) -> tuple[Netlist, Any]:
        change(said)
        return netlist, said

    return edit


@dataclass(frozen=True)
class Mistake:
    """What was done, and the rule that must find it."""

    name: str
    edit: Edit
    rule: str


MISTAKES = (
    Mistake("a wire to a gate forgotten", moved("R22", "1", None), "every_pin_is_connected"),
    Mistake("converter's ground forgotten", moved("U6", "GND", None), "every_pin_is_connected"),
    Mistake("two followers' outputs joined", moved("U2", "7", "S_PIN"), "outputs_do_not_fight"),
    Mistake("a gate's pin on ARM's", moved("U1", "GP3", "ARM"), "outputs_do_not_fight"),
    Mistake("W3 forgotten in the base build", missing("W3"), "inputs_are_driven"),
    Mistake("followers fed from 3V3", moved("U2", "V+", "3V3"), "supplies_are_in_order"),
    Mistake("reference the wrong way round", swapped("U3", "K", "A"), "supplies_are_in_order"),
    Mistake("no capacitor on 3V3A", missing("C31"), "supplies_are_in_order"),
    Mistake("no bleeder", missing("R70"), "supplies_are_in_order"),
    Mistake("analogue ground open", moved("U1", "AGND", "JUMPER"), "supplies_are_in_order"),
    Mistake("no resistor at a pin", bridged("R56"), "converter_pins_are_protected"),
    Mistake("no capacitor at a pin", missing("C27"), "converter_pins_are_protected"),
    Mistake("no feedback", moved("U2", "9", "GND"), "converter_pins_are_protected"),
    Mistake("no clamp on sense", missing("D21"), "followers_are_clamped"),
    Mistake("a clamp the wrong way round", swapped("D22", "1", "2"), "followers_are_clamped"),
    Mistake("no pull-down", missing("R33"), "gates_are_held_low"),
    Mistake("a weak pull-down", fielded("R31", "Value", "4.7k", "470k"), "gates_are_held_low"),
    Mistake("ARM's gate floats", missing("R15"), "gates_are_held_low"),
    Mistake("ARM straight from its pin", bridged("C10"), "arm_needs_edges"),
    Mistake("ARM's gate on its pin", moved("R20", "1", "ARM"), "arm_needs_edges"),
    Mistake("ARM bridged", fielded("W1", "Builds", "base", "base full"), "arm_needs_edges"),
    Mistake("W1 to ground", moved("W1", "2", "GND"), "arm_needs_edges"),
    Mistake("fuse bridged", bridged("F1"), "force_lead_is_fused_and_blocked"),
    Mistake("diode reversed", swapped("D1", "K", "A"), "force_lead_is_fused_and_blocked"),
    Mistake("sense without its fuse", bridged("F2"), "sense_leads_carry_no_load"),
    Mistake("nothing at sense's clip", fielded("R41", "Value", "18k", "18"),
            "sense_leads_carry_no_load"),
    Mistake("damper to ground", moved("C1", "2", "GND"), "loads_are_switched_and_damped"),
    Mistake("a second tie", moved("R3", "2", "GND"), "ground_has_one_tie"),
    Mistake("tie's diode reversed", swapped("D2", "K", "A"), "ground_has_one_tie"),
    Mistake("switch to the return tap", moved("Q3", "S", "RET"), "loads_are_switched_and_damped"),
    Mistake("no diode across a load", missing("D12"), "loads_are_switched_and_damped"),
    Mistake("range pulled down", moved("R61", "1", "GND"), "range_fails_high"),
    Mistake("no pull-up on the bus", missing("R82"), "bus_is_pulled_up"),
    Mistake("a load too weak for its pulse", fielded("R11", "Rating", "pulse 100 J", "pulse 90 J"),
            "loads_bear_their_pulses"),
    Mistake("the guard allows more energy",
            told(lambda p: p.LOADS[1].update(max_pulse_mj=30000)), "loads_bear_their_pulses"),
    Mistake("a load too weak for its mean", fielded("R12", "Rating", "power 5 W", "power 3 W"),
            "loads_bear_their_mean_power"),
    Mistake("a tie of 47 ohm", fielded("R2", "Value", "10k", "47"),
            "small_resistors_bear_their_power"),
    Mistake("a MOSFET of 20 V", fielded("Q1", "Rating", "voltage 30 V", "voltage 20 V"),
            "switches_bear_and_conduct"),
    Mistake("a MOSFET for 4.5 V of gate", fielded("Q2", "Rating", "drive 2.5 V", "drive 4.5 V"),
            "switches_bear_and_conduct"),
    Mistake("ARM's gate starved", fielded("R20", "Value", "4.7k", "47k"),
            "switches_bear_and_conduct"),
    Mistake("a diode of 3 A", fielded("D1", "Rating", "current 5 A", "current 3 A"),
            "diodes_bear_their_current"),
    Mistake("a fuse that goes in a pulse", fielded("F1", "Rating", "6.3 A", "4 A"),
            "fuses_hold_and_break"),
    Mistake("a glass fuse", fielded("F1", "Rating", "breaking 1500 A", "breaking 35 A"),
            "fuses_hold_and_break"),
    Mistake("wrong foot", fielded("R54", "Value", "75k", "100k"), "dividers_fit_their_ranges"),
    Mistake("a leaky clamp", fielded("D21", "Rating", "leakage 5 nA", "leakage 1000 nA"),
            "dividers_fit_their_ranges"),
    Mistake("a weak bleeder", fielded("R70", "Value", "2.2k", "22k"), "a_dead_board_stays_dead"),
    Mistake("two gates swapped in the firmware",
            told(lambda p: p.PINS.update(gates=(2, 4, 3, 5))), "pins_are_the_profiles"),
    Mistake("another range pin in the firmware",
            told(lambda p: p.PINS.update(range=8)), "pins_are_the_profiles"),
    Mistake("sense and force swapped at the board",
            told(lambda p: p.PINS.update(adc=(27, 26, 28))), "pins_are_the_profiles"),
    Mistake("another jumper pin", told(lambda p: p.PINS.update(jumper=14)),
            "pins_are_the_profiles"),
    Mistake("no link that tells of the base build", missing("W4"), "pins_are_the_profiles"),
    Mistake("the link of the base build in the full one",
            fielded("W4", "Builds", "base", "base full"), "pins_are_the_profiles"),
    Mistake("data and clock swapped in the firmware",
            told(lambda p: p.PINS.update(sda=9, scl=8)), "pins_are_the_profiles"),
    Mistake("the ready signal on another pin", moved("U1", "GP10", None),
            "pins_are_the_profiles"),
    Mistake("another null pin in the firmware", told(lambda p: p.PINS.update(null=12)),
            "pins_are_the_profiles"),
    Mistake("16 ohm drawn", fielded("R12", "Value", "15", "16"), "loads_are_the_profiles"),
    Mistake("5 % drawn", fielded("R13", "Value", "1%", "5%"), "loads_are_the_profiles"),
    Mistake("wrong lift", fielded("R43", "Value", "1M", "910k"), "channels_are_the_profiles"),
    Mistake("a divider of 1 %", fielded("R62", "Value", "0.1%", "1%"),
            "channels_are_the_profiles"),
    Mistake("another reference", fielded("U3", "Value", "3.0", "2.5"),
            "references_are_the_profiles"),
    Mistake("another tie in the profile",
            told(lambda p: p.LEADS.update(ground_tie_ohm=100)), "references_are_the_profiles"),
    Mistake("thermistor and supply swapped", swapped("U7", "4", "5"),
            "the_thermistor_is_the_profiles"),
    Mistake("the thermistor's converter at the other's address", moved("U7", "ADDR", "GND"),
            "the_thermistor_is_the_profiles"),
    Mistake("15 k above the thermistor", fielded("R90", "Value", "10k", "15k"),
            "the_thermistor_is_the_profiles"),
    Mistake("inputs of the converter swapped", swapped("U6", "4", "5"),
            "converters_read_the_same"),
)  # fmt: skip
