# SPDX-License-Identifier: MIT
"""Rules about what parts must bear, in the worst duty that the profile's limits allow."""

from __future__ import annotations

from tools.circuit import (
    BATTERY_V,
    FORCE_POS,
    GND,
    REFERENCE,
    SENSE_NEG,
    SENSE_POS,
    SHARE,
    SUPPLY,
    SUPPLY_V,
    Circuit,
)
from tools.netlist import Part

Findings = list[str]
Span = tuple[float, float]

_MARGIN = 1.25
_LEAST_BREAKING_A = 1000.0
"""Short-circuit current of a starter battery: some 1 to 3 kA at its posts; 25 milliohm of leads
leave 0.5 kA (common practice)."""
_DRAWN_A = 0.020
"""Followers, converter and the null's reference together draw less (from memory)."""
_PIN_A = 0.010
"""What the clamps of a chip's input bear without harm (usual limit, from memory)."""


def _lacks(part: Part, quantity: str, least: float) -> Findings:
    """What is said where a part is rated for less than `least`, or for nothing."""
    rated = part.rating.get(quantity)
    if rated is not None and rated >= least:
        return []
    return [f"{part.reference}: {quantity} {rated}, needed {least:.4g}"]


def loads_bear_their_pulses(c: Circuit) -> Findings:
    """Largest pulse, as the guard allows it and as voltage and time do, in half the rating."""
    found = []
    for load, entry in zip(c.loads(), c.entries(), strict=False):
        part = c.netlist.parts[load.resistor]
        joule = entry["max_pulse_mj"] / 1e3
        found += _lacks(part, "pulse", joule / SHARE)
        found += _lacks(part, "voltage", _MARGIN * entry["max_mv"] / 1e3)
        # The guard's limit of voltage must not let more current than that of current does.
        most_ma = entry["max_mv"] / (part.number * (1.0 - (part.tolerance or 0.0)))
        if most_ma > 1.06 * entry["max_ma"]:
            found.append(f"{load.resistor}: {most_ma:.0f} mA at the highest voltage")
    return found


def loads_bear_their_mean_power(c: Circuit) -> Findings:
    """The mean that the guard cools by, in half the rating in free air."""
    found = []
    for load, entry in zip(c.loads(), c.entries(), strict=False):
        part = c.netlist.parts[load.resistor]
        found += _lacks(part, "power", entry["mean_mw"] / 1e3 / SHARE)
    return found


def small_resistors_bear_their_power(c: Circuit) -> Findings:
    """Every other resistor, with the highest voltage that its nets can stand apart."""
    spans = spans_v(c)
    loads = {load.resistor for load in c.loads()}
    found = []
    for ref, part in c.netlist.parts.items():
        if part.symbol != "R" or ref in loads:
            continue
        chain, ends = _in_series(c, ref)
        one, other = (spans.get(net or "") for net in ends)
        if one is None or other is None:
            # Behind a capacitor, or before an input: no direct current.
            continue
        whole = sum(c.netlist.parts[each].number for each in chain)
        volts = max(one[1] - other[0], other[1] - one[0]) * part.number / whole
        watts = volts**2 / part.number
        if set(ends) == {SUPPLY, "3V3"}:
            # Between two supplies flows what the supplied parts draw, not a short circuit.
            volts, watts = _DRAWN_A * part.number, _DRAWN_A**2 * part.number
        found += _lacks(part, "voltage", volts)
        found += _lacks(part, "power", watts / SHARE)
    return found


def _in_series(c: Circuit, ref: str) -> tuple[list[str], list[str | None]]:
    """The resistors in one row with this one, and the nets at the row's ends."""
    chain, ends = [ref], []
    for net in c.netlist.ends(ref):
        last = ref
        while len(nodes := c.netlist.nets.get(net or "", frozenset())) == 2:
            after = next(each for each, _ in nodes if each != last)
            if c.netlist.parts[after].symbol != "R":
                break
            chain.append(after)
            last, net = after, c.across(after, net)
        ends.append(net)
    return chain, ends


def spans_v(c: Circuit) -> dict[str, Span]:
    """Lowest and highest volts of each net against ground, whatever is on the clips.

    A net that is not given hangs on what a resistor leads to, where direct current can flow.
    """
    high = SUPPLY_V[1]
    n = c.netlist
    spans: dict[str, Span] = {GND: (0.0, 0.0), REFERENCE: (0.0, 3.05), "VN": (0.0, 2.55)}
    spans |= dict.fromkeys(("3V3", SUPPLY), (0.0, high))
    for ref in (SENSE_POS, FORCE_POS):
        spans[n.net(ref, "1") or ""] = (-BATTERY_V, BATTERY_V)
    for net, nodes in n.nets.items():
        if any(n.parts[ref].pins[number].name == "COM" for ref, number in nodes):
            spans.setdefault(net, (-0.7, high + 0.7))
        if any(n.parts[r].pins[m].kind in ("bidirectional", "output") for r, m in nodes):
            spans.setdefault(net, (0.0, high))
    # What lies behind the blocking diode is never driven below the return tap.
    spans |= dict.fromkeys(filter(None, (c.rail, c.back, c.bank())), (-0.7, BATTERY_V))
    for _ in n.nets:
        for ref in [ref for ref, part in n.parts.items() if part.symbol == "R"]:
            one, other = n.ends(ref)
            for net, source in ((one, other), (other, one)):
                if net and source in spans and _leads_on(c, net, ref):
                    spans.setdefault(net, spans[source])
    return spans


def _leads_on(c: Circuit, net: str, ref: str) -> bool:
    """Whether something else than capacitors and inputs hangs on a net beside a part."""
    return any(
        other != ref
        and c.netlist.parts[other].symbol not in ("C", "TEST_POINT")
        and c.netlist.parts[other].pins[number].kind != "input"
        for other, number in c.netlist.nets[net]
    )


def switches_bear_and_conduct(c: Circuit) -> Findings:
    """MOSFETs in the force path: volts, amperes, and enough gate for the resistance claimed."""
    found = []
    profile = c.profile
    force_a = profile.LEADS["force_max_ma"] / 1e3
    lift_v = force_a * profile.LEADS["return_path_milliohm"] / 1e3
    arm = [ref for ref in c.arm() if c.netlist.parts[ref].symbol == "NMOS"]
    for ref, most_a in (
        *(
            (load.switch, entry["max_ma"] / 1e3)
            for load, entry in zip(c.loads(), c.entries(), strict=False)
        ),
        *((ref, force_a) for ref in arm),
    ):
        part = c.netlist.parts[ref]
        found += _lacks(part, "voltage", _MARGIN * BATTERY_V)
        found += _lacks(part, "current", most_a)
        found += _lacks(part, "gate", SUPPLY_V[1])
        high_v = _gate_high_v(c, c.netlist.net(ref, "G"))
        if ref not in arm:
            # Its source lies above the return tap by what ARM drops.
            high_v -= most_a * part.rating["resistance"] / 1e3
        if high_v - lift_v < part.rating["drive"]:
            found.append(f"{ref}: {high_v - lift_v:.2f} V of gate drive")
    for load, entry in zip(c.loads(), c.entries(), strict=False):
        parts = [c.netlist.parts[ref] for ref in (load.switch, *arm)]
        most = sum(part.rating["resistance"] for part in parts)
        if most > entry["switch_milliohm"] * (1.0 + entry["switch_tolerance_ppm"] / 1e6):
            found.append(f"{load.switch}: {most:.0f} mohm with ARM's, more than the profile allows")
    return found


def _gate_high_v(c: Circuit, gate: str | None) -> float:
    """A gate's volts when it is on: divided between what pulls it up and down."""
    up = c.resistors(gate, "3V3")
    down = c.resistors(gate, GND)
    if not up or not down:
        return SUPPLY_V[0]
    return SUPPLY_V[0] * down[0] / (down[0] + up[0])


def diodes_bear_their_current(c: Circuit) -> Findings:
    """The blocking diode carries what the force path may; all block a battery by mistake."""
    found = []
    for ref, part in c.netlist.parts.items():
        if part.symbol == "D_SCHOTTKY":
            found += _lacks(part, "voltage", _MARGIN * BATTERY_V)
            if c.netlist.net(ref, "K") == c.rail and ref not in _freewheels(c):
                found += _lacks(part, "current", c.profile.LEADS["force_max_ma"] / 1e3)
    for load, entry in zip(c.loads(), c.entries(), strict=False):
        for ref in c.netlist.on(load.drain, "D_SCHOTTKY"):
            found += _lacks(c.netlist.parts[ref], "pulse", entry["max_ma"] / 1e3)
    return found


def _freewheels(c: Circuit) -> set[str]:
    return {ref for load in c.loads() for ref in c.netlist.on(load.drain, "D_SCHOTTKY")}


def fuses_hold_and_break(c: Circuit) -> Findings:
    """The force fuse outlasts every pulse, the wire outlasts the fuse; both break a battery."""
    found = []
    for clip, reference in ((FORCE_POS, "force"), (SENSE_NEG, "sense")):
        for ref in c.netlist.on(c.netlist.net(clip, "1"), "F"):
            part = c.netlist.parts[ref]
            found += _lacks(part, "voltage", BATTERY_V)
            found += _lacks(part, "breaking", _LEAST_BREAKING_A)
            rated_a = part.rating.get("current", 0.0)
            if reference == "force":
                # A fuse holds its rated current for ever: no pulse is too long for it.
                found += _lacks(part, "current", _MARGIN * c.profile.LEADS["force_max_ma"] / 1e3)
                if rated_a > c.netlist.parts[clip].rating["current"]:
                    found.append(f"{ref}: the wire would go first")
            elif rated_a > 0.5:
                found.append(f"{ref}: {rated_a:g} A in a sense lead")
    return found


def dividers_fit_their_ranges(c: Circuit) -> Findings:
    """Each range's highest voltage within every converter; what leaks within what is claimed."""
    found = []
    full_v = min(
        converter["lsb_nv"] * 1e-9 * converter["full_code"] for converter in c.profile.CONVERTERS
    )
    for channel in range(3):
        node = c.node(channel)
        total, top, lift = _node_siemens(c, channel, node)
        leg = [part.number for part in c.legs(node)]
        ranges = zip(
            c.profile.RANGE_MV, (total, total + sum(1.0 / ohm for ohm in leg)), strict=True
        )
        for limit_mv, siemens in ranges:
            # The return tap goes no higher than what the guard trips at; a diode below it.
            tap_v = limit_mv / 1e3 if channel < 2 else 1.5
            pin_v = (tap_v * top + 3.0 * lift) / siemens if siemens else 99.0
            if pin_v > full_v:
                found.append(f"channel {channel}: {pin_v:.2f} V at the pin for {tap_v:g} V")
        leaks_a = sum(
            c.netlist.parts[ref].rating.get("leakage", 0.0) * 1e-9
            for ref in (*c.netlist.on(node, "D_SERIES"), *c.leg_switches(node))
        )
        amplifier = c.netlist.parts["U2"].rating
        leaks_a += amplifier["bias"] * 1e-9
        off_uv = amplifier["offset"] + (1e6 * leaks_a / total if total else 0.0)
        if off_uv > c.profile.CHANNELS[channel]["follower_offset_uv"]:
            found.append(f"channel {channel}: {off_uv:.0f} uV of offset and leakage")
        if top and BATTERY_V * top > _PIN_A:
            found.append(f"channel {channel}: too much current into its clamp")
    return found


def _node_siemens(c: Circuit, channel: int, node: str) -> tuple[float, float, float]:
    """All conductance at a node in the low range, that of its top, and of its lift."""
    chain = [c.netlist.parts[ref].number for ref in c.chain(c.tap(channel), node)]
    top = 1.0 / sum(chain) if chain else 0.0
    lift = sum(1.0 / ohm for ohm in c.resistors(REFERENCE, node))
    return top + lift + sum(1.0 / ohm for ohm in c.resistors(node, GND)), top, lift


def a_dead_board_stays_dead(c: Circuit) -> Findings:
    """What a live battery feeds through dividers and clamps leaves 3V3 below a gate's threshold."""
    fed_a = 0.0
    for channel in (0, 1):
        _, top, _ = _node_siemens(c, channel, c.node(channel))
        fed_a += c.profile.RANGE_MV[1] / 1e3 * top
    bleeder = min(c.resistors("3V3", GND), default=1e9)
    if fed_a * bleeder > 0.8:
        return [f"3V3 rises to {fed_a * bleeder:.2f} V on a board without power"]
    return []


RATINGS = (
    loads_bear_their_pulses,
    loads_bear_their_mean_power,
    small_resistors_bear_their_power,
    switches_bear_and_conduct,
    diodes_bear_their_current,
    fuses_hold_and_break,
    dividers_fit_their_ranges,
    a_dead_board_stays_dead,
)
