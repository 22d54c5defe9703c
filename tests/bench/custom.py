# SPDX-License-Identifier: MIT
"""Random cells for the studies: values anywhere around those of the catalogue's kinds.

Each kind is a cell of the catalogue; a drawn cell has its resistances and time constants
log-uniform over the ranges that the catalogue gives for the kind, widened, and another number
of resistor-capacitor pairs.
"""

from dataclasses import dataclass
from math import log
from pathlib import Path

import numpy as np

from sagline.analysis.plan import ON_MS, limit_exceeded
from sagline.analysis.profile import LoadProfile
from sagline.designations import DESIGNATIONS
from sagline.virtual.cell import Cell
from sagline.virtual.cellfile import load
from sagline.virtual.cells import CELLS
from sagline_board import profile

WIDER = 1.5
"""By how much a range of resistances or times is extended at either end."""

MOST_PAIRS = 3


@dataclass(frozen=True)
class Custom:
    """A drawn cell as a user would give it: its file, and the load to ask for."""

    cell: Cell
    load_ohm: float


def draw_custom(rng: np.random.Generator, file: Path) -> Custom:
    """Write a random cell to `file` and return it with a load that bears it."""
    kind = list(CELLS.values())[rng.integers(len(CELLS))]

    def between(key: str, wider: float = WIDER) -> float:
        entry = kind.origin[key]
        low, high = entry.low / wider, entry.high * wider
        return float(np.exp(rng.uniform(log(low), log(high))))

    pairs = [[between("rc_ohm"), between("rc_s")] for _ in range(rng.integers(MOST_PAIRS + 1))]
    values = {
        "emf_v": between("emf_v", 1.0),
        "r_instant_ohm": between("r_instant_ohm"),
        "rc": pairs,
        "diffusion_ohm_per_sqrt_s": between("diffusion_ohm_per_sqrt_s"),
        "capacity_ah": between("capacity_ah"),
        "emf_slope_v": between("emf_slope_v"),
        "temperature_c": kind.temperature_c,
    }
    # Numbers and lists of numbers are written alike in Python and in TOML.
    file.write_text("".join(f"{key} = {value!r}\n" for key, value in values.items()))
    cell = load(file)
    loads_ohm = _loads_ohm(kind.designation, cell.emf_v)
    return Custom(cell, loads_ohm[rng.integers(len(loads_ohm))])


def _loads_ohm(designation: str, emf_v: float) -> list[float]:
    """The load that is usual for such a cell, and the next heavier one where it may be used."""
    bank = [LoadProfile.from_integers(entry) for entry in profile.LOADS]
    usual = next(
        at for at, one in enumerate(bank) if one.load_ohm == DESIGNATIONS[designation].load_ohm
    )
    near = bank[max(0, usual - 1) : usual + 1]
    # The limits are asked of the voltage as the board reads it, which may be 2 % high.
    return [one.load_ohm for one in near if limit_exceeded(one, 1.02 * emf_v, ON_MS) is None]
