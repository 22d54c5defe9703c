# SPDX-License-Identifier: MIT
"""EMF and internal resistance of a cell or battery, with uncertainty.

import sagline

with sagline.open_rig("virtual://lr6?seed=7") as rig:
    result = rig.measure(repeats=5)
print(result.to_dict()["r_ohm"])
"""

from typing import TYPE_CHECKING, Any

from sagline_board import __version__

if TYPE_CHECKING:
    from sagline.python import open_rig

__all__ = ["__version__", "open_rig"]


def __getattr__(name: str) -> Any:
    # Late, so that `sagline --version` starts without numpy and pyserial.
    if name == "open_rig":
        from sagline.python import open_rig

        return open_rig
    raise AttributeError(f"module 'sagline' has no attribute {name!r}")
