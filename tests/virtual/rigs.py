# SPDX-License-Identifier: MIT
"""Cells and parts the tests of the circuit share."""

from dataclasses import replace

from sagline.virtual.cell import Cell
from sagline.virtual.parts import ChannelParts, Parts, nominal_parts
from sagline.virtual.schottky import Schottky

# So large a saturation current makes the diode 27 µohm, in effect a wire.
WIRE = Schottky(saturation_a=1e3, slope_v=0.027, series_ohm=0.0)
OPEN = ChannelParts(
    top_ohm=1e15, foot_ohm=0.0, lift_ohm=1e15, range_foot_ohm=0.0, follower_offset_v=0.0
)


def plain_cell(emf_v: float, r_ohm: float, rc: tuple[tuple[float, float], ...] = ()) -> Cell:
    return Cell(
        name="plain",
        title="",
        designation="",
        emf_v=emf_v,
        r_instant_ohm=r_ohm,
        rc=rc,
        diffusion_ohm_per_sqrt_s=0.0,
        capacity_ah=1.0,
        emf_slope_v=0.0,
        temperature_c=20.0,
        origin={},
    )


def still_parts() -> Parts:
    """The nominal rig without what is small: loads that stay cold, a ground that is not lifted."""
    parts = nominal_parts()
    return replace(parts, sense_path_ohm=0.0, heating_per_a2s=(0.0,) * len(parts.load_ohm))


def bare_parts(load_ohm: float, sense: ChannelParts = OPEN) -> Parts:
    """One load and nothing else but, where given, a sense divider."""
    return replace(
        nominal_parts(),
        load_ohm=(load_ohm,),
        switch_ohm=(0.0,),
        channels=(sense, OPEN, OPEN),
        force_path_ohm=0.0,
        return_path_ohm=0.0,
        sense_path_ohm=0.0,
        heating_per_a2s=(0.0,),
        schottky=WIRE,
    )
