# SPDX-License-Identifier: MIT
"""The catalogue: the cells a virtual rig knows by name, one file each in `catalogue/`.

No cell here was measured: the values are invented inside ranges that are typical of the kind,
and each file's `origin` gives the range and its standing for each of them.
"""

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from sagline.virtual.cell import Cell
from sagline.virtual.cellfile import load

__all__ = ["CATALOGUE", "CELLS", "Cell"]

CATALOGUE = Path(__file__).with_name("catalogue")
# In the order in which they are listed.
_NAMES = (
    "lr6", "lr6-worn", "6lr61", "cr2032", "18650", "lfp", "hr6", "sla12", "starter12",
)  # fmt: skip

CELLS: Mapping[str, Cell] = MappingProxyType(
    {name: load(CATALOGUE / f"{name}.toml") for name in _NAMES}
)
