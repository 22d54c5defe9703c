# SPDX-License-Identifier: MIT
"""Cells of the plant: one of each class, none of them a cell of the virtual catalogue.

Every value lies in the range usual for its class (from memory, as the catalogue's are).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PlantCell:
    """One cell between its clips.

    `pairs` are (ohm, s) of parallel RC in series; the diffusion is a ladder whose voltage
    grows like `diffusion_ohm_per_sqrt_s`·I·√t between its fastest and slowest section.
    `inside_ohm` is the joint between the cell and its sense tap, counted as the cell's;
    `clip_ohm` that between tap and force lead, which falls out. `load` is an index into the
    bank. What is tried in single cells: `film_ohm` in series with the cell decays as charge
    passes (a passivated electrode, or a contact that improves), gone to 1/e after `film_c`
    coulombs and back in `film_s`; `load_heats_per_s` is the relative rise of the load's
    resistance while it is on; `out_at_s` is when the cell leaves its clips, for `out_for_s`.
    """

    name: str
    emf_v: float
    ohmic_ohm: float
    pairs: tuple[tuple[float, float], ...]
    diffusion_ohm_per_sqrt_s: float
    inside_ohm: float
    clip_ohm: float
    load: int
    range_high: bool = False
    film_ohm: float = 0.0
    film_c: float = 1.0
    film_s: float = 1.0
    load_heats_per_s: float = 0.0
    out_at_s: float | None = None
    out_for_s: float = 2.0


CELLS = {
    cell.name: cell
    for cell in (
        PlantCell(
            "LR6",
            emf_v=1.563,
            ohmic_ohm=0.093,
            pairs=((0.021, 9e-4), (0.031, 0.022)),
            diffusion_ohm_per_sqrt_s=0.041,
            inside_ohm=0.004,
            clip_ohm=0.035,
            load=0,
        ),
        PlantCell(
            "LR6 worn",
            emf_v=1.284,
            ohmic_ohm=0.315,
            pairs=((0.041, 0.0021), (0.052, 0.017), (0.034, 0.11)),
            diffusion_ohm_per_sqrt_s=0.071,
            inside_ohm=0.006,
            clip_ohm=0.05,
            load=0,
        ),
        PlantCell(
            "6LR61",
            emf_v=9.36,
            ohmic_ohm=1.44,
            pairs=((0.31, 0.0011), (0.42, 0.041)),
            diffusion_ohm_per_sqrt_s=0.29,
            inside_ohm=0.02,
            clip_ohm=0.04,
            load=2,
            range_high=True,
        ),
        PlantCell(
            "CR2032",
            emf_v=3.17,
            ohmic_ohm=7.6,
            pairs=((2.9, 0.0032), (2.1, 0.071), (1.4, 0.19)),
            diffusion_ohm_per_sqrt_s=2.7,
            inside_ohm=0.15,
            clip_ohm=0.2,
            load=3,
        ),
        PlantCell(
            "18650",
            emf_v=3.71,
            ohmic_ohm=0.028,
            pairs=((0.011, 0.0014), (0.009, 0.067)),
            diffusion_ohm_per_sqrt_s=0.013,
            inside_ohm=0.003,
            clip_ohm=0.03,
            load=0,
        ),
        PlantCell(
            "IFpR26/65",
            emf_v=3.285,
            ohmic_ohm=0.0062,
            pairs=((0.0021, 0.0013), (0.0014, 0.036)),
            diffusion_ohm_per_sqrt_s=0.0041,
            inside_ohm=0.0006,
            clip_ohm=0.02,
            load=0,
        ),
        PlantCell(
            "HR6",
            emf_v=1.303,
            ohmic_ohm=0.0165,
            pairs=((0.0062, 0.0031), (0.0055, 0.031)),
            diffusion_ohm_per_sqrt_s=0.0088,
            inside_ohm=0.002,
            clip_ohm=0.04,
            load=0,
        ),
        PlantCell(
            "12 V 7 Ah",
            emf_v=12.81,
            ohmic_ohm=0.0143,
            pairs=((0.0041, 0.0027), (0.0052, 0.083)),
            diffusion_ohm_per_sqrt_s=0.0047,
            inside_ohm=0.001,
            clip_ohm=0.02,
            load=1,
            range_high=True,
        ),
        PlantCell(
            "starter",
            emf_v=12.62,
            ohmic_ohm=0.0036,
            pairs=((0.0011, 0.0016), (0.0008, 0.055)),
            diffusion_ohm_per_sqrt_s=0.0009,
            inside_ohm=0.0003,
            clip_ohm=0.01,
            load=0,
            range_high=True,
        ),
    )
}
