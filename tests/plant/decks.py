# SPDX-License-Identifier: MIT
"""Netlists of a cell on the rig, for ngspice.

The circuit is the rig's as its page describes it, with generic device models: leads with
inductance (a resistor across each, or the integration rings for ever), contact resistances,
a Schottky diode, a load with a switch that takes a microsecond, the dividers as loads of
their taps. Nothing here is taken from the virtual rig.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from plant.cells import PlantCell
from sagline_board import profile

Floats = NDArray[np.float64]
Method = Literal["trap", "gear"]

REST_S, ON_S, RECOVERY_S = 5.0, 0.3, 1.0
PERIOD_S = REST_S + ON_S + RECOVERY_S
STEPS = 5

LADDER_SECTIONS, LADDER_FROM_S, LADDER_TO_S = 9, 5e-4, 60.0
LEAD_H, LEAD_PARALLEL_OHM = 0.6e-6, 20.0
FORCE_LEAD_OHM, RETURN_LEAD_OHM, SENSE_LEAD_OHM = 0.055, 0.06, 0.12
LONGEST_STEP_S = 0.01
POLARIZATION_SCALE = 10.0
"""Ohms in the mirror for the cell's ohmic part."""

SCHOTTKY = ".model schottky d(is=4u n=1.04 rs=0.025 cjo=400p vj=0.35 bv=40)"


def netlist(
    cell: PlantCell,
    method: Method = "trap",
    steps: int = STEPS,
    load_scale: float = 1.0,
    switch_scale: float = 1.0,
) -> str:
    """The deck of `cell` with `steps` steps on its load."""
    bank = profile.LOADS[cell.load]
    end_s = steps * PERIOD_S
    lines = [
        f"* {cell.name} on {bank['load_milliohm'] / 1e3:g} ohm",
        SCHOTTKY,
        f"vgate gate 0 pulse(0 1 {REST_S} 1u 1u {ON_S - 1e-6:.9g} {PERIOD_S})",
        # Corners of this source are instants that the simulator must stop at.
        "vstops stops 0 pwl(" + " ".join(f"{t:.12g} 0" for t in _stops(steps)) + ")",
        "rstops stops 0 1k",
        *_cell(cell),
        *_leads(cell),
        # The load, its two MOSFETs as a conductance that follows the gate, and the snubber.
        *_load(cell, bank["load_milliohm"] * 1e-3 * load_scale),
        # By its fourth power: else nearly all of the current would change in 10 ns.
        "bsw drain ret i=v(drain,ret)*(1e-9+v(gate)*v(gate)*v(gate)*v(gate)/"
        f"{bank['switch_milliohm'] * 1e-3 * switch_scale:.9g})",
        "rsnub fp snub 10",
        "csnub snub ret 100n",
        # Ground is tied to the return side.
        "rtie ret 0 10k",
        "rdamp ret damp 22",
        "cdamp damp 0 100n",
        "dtie 0 ret schottky",
        "vref ref 0 3",
        *_divider(cell, "sense", "sp", 0),
        *_divider(cell, "force", "fp", 1),
        *_divider(cell, "back", "ret", 2),
        f".options method={method} reltol=1e-5 abstol=1e-9 vntol=1e-8 trtol=1",
        ".save v(sp) v(sn) v(fp) v(ret) i(vcell)",
        f".tran {LONGEST_STEP_S} {end_s:.9g} 0 {LONGEST_STEP_S}",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def _stops(steps: int) -> Floats:
    # The edges themselves are corners of the gate; two corners of nearly one instant stall it.
    on = np.geomspace(3e-6, ON_S * 0.999, 130)
    off = ON_S + np.geomspace(3e-6, RECOVERY_S * 0.999, 60)
    once = np.concatenate([on, off])
    return np.concatenate([REST_S + PERIOD_S * step + once for step in range(steps)])


def _cell(cell: PlantCell) -> list[str]:
    """E, its ammeter, the ohmic part, and the polarization: c0 to pos.

    The polarization stands against ground by itself, `POLARIZATION_SCALE` times its impedance,
    and is mirrored into the cell: a thousand farads at 12 V would drown the simulator's
    currents in the rounding of their voltages.
    """
    lines = [
        f"vemf c0 n0 {cell.emf_v:.9g}",
        "vcell c0 c1 0",
        f"r0 c1 c2 {cell.ohmic_ohm:.9g}",
        "fpol 0 pol vcell 1",
    ]
    scale = POLARIZATION_SCALE / cell.ohmic_ohm
    lines.append(f"epol c2 z pol 0 {1.0 / scale:.12g}")
    node = "pol"
    for index, (ohm, tau_s) in enumerate(cell.pairs):
        after = f"p{index}"
        lines += [
            f"rp{index} {node} {after} {ohm * scale:.9g}",
            f"cp{index} {node} {after} {tau_s / (ohm * scale):.9g}",
        ]
        node = after
    # A line of series r and shunt c takes a current step with 2·√(r/(π c))·√t; its sections
    # grow geometrically, and it ends in a short: a layer of finite thickness.
    growth = (LADDER_TO_S / LADDER_FROM_S) ** (0.5 / (LADDER_SECTIONS - 1))
    ohm = scale * cell.diffusion_ohm_per_sqrt_s * np.sqrt(np.pi * LADDER_FROM_S) / 2.0
    farad = LADDER_FROM_S / ohm
    lines.append(f"cl {node} 0 {farad / 2.0:.9g}")
    for index in range(LADDER_SECTIONS):
        last = index + 1 == LADDER_SECTIONS
        after = "0" if last else f"l{index}"
        lines.append(f"rl{index} {node} {after} {ohm * growth**index:.9g}")
        if not last:
            # Half of each neighbour.
            share = (1.0 + growth) / 2.0 * growth**index
            lines.append(f"cl{index} {after} 0 {farad * share:.9g}")
        node = after
    return lines + _film(cell)


def _film(cell: PlantCell) -> list[str]:
    """From z to pos: nothing, or a resistance that charge wears away and time brings back."""
    if not cell.film_ohm:
        return ["rfilm z pos 1u"]
    return [
        # v(q) is the charge passed, which the film forgets.
        f"bfilm z pos v={cell.film_ohm:.9g}*i(vcell)*exp(-v(q)/{cell.film_c:.9g})",
        "fq 0 q vcell 1",
        "cq q 0 1",
        f"rq q 0 {cell.film_s:.9g}",
    ]


def _leads(cell: PlantCell) -> list[str]:
    half_ohm = cell.inside_ohm / 2.0
    inside = [f"rin pos sp {half_ohm:.9g}"]
    if cell.out_at_s is not None:
        off_s, back_s = cell.out_at_s, cell.out_at_s + cell.out_for_s
        corners = ((0.0, 1), (off_s, 1), (off_s + 1e-5, 0), (back_s, 0), (back_s + 1e-5, 1))
        inside = [
            "vin in 0 pwl(" + " ".join(f"{at:.9g} {v}" for at, v in corners) + ")",
            f"bin pos sp i=v(pos,sp)*(1e-10+v(in)/{half_ohm:.9g})",
        ]
    return [
        *inside,
        f"rinn sn n0 {half_ohm:.9g}",
        f"rclip sp f1 {cell.clip_ohm + FORCE_LEAD_OHM:.9g}",
        f"lf f1 f2 {LEAD_H}",
        f"rlf f1 f2 {LEAD_PARALLEL_OHM}",
        "dblock f2 fp schottky",
        f"lr ret r1 {LEAD_H}",
        f"rlr ret r1 {LEAD_PARALLEL_OHM}",
        f"rret r1 sn {RETURN_LEAD_OHM}",
        f"rsn sn 0 {SENSE_LEAD_OHM}",
    ]


def _load(cell: PlantCell, load_ohm: float) -> list[str]:
    if not cell.load_heats_per_s:
        return [f"rload fp drain {load_ohm:.9g}"]
    return [
        # v(hot) is the time for which the load was on, forgotten in 3 s.
        "bhot 0 hot i=v(gate)",
        "chot hot 0 1",
        "rhot hot 0 3",
        f"bload fp drain i=v(fp,drain)/({load_ohm:.9g}*(1+{cell.load_heats_per_s:.9g}*v(hot)))",
    ]


def _divider(cell: PlantCell, name: str, tap: str, channel: int) -> list[str]:
    part = profile.CHANNELS[channel]
    lines = [
        f"r{name}t {tap} {name} {part['top_ohm']}",
        f"r{name}l {name} ref {part['lift_ohm']}",
        f"c{name} {name} 0 100p",
    ]
    if part["foot_ohm"]:
        lines.append(f"r{name}f {name} 0 {part['foot_ohm']}")
    if part["range_foot_ohm"] and cell.range_high:
        lines.append(f"r{name}r {name} 0 {part['range_foot_ohm']}")
    return lines
