# SPDX-License-Identifier: MIT
"""How a load rises by the heat of its own pulse.

No heat leaves within a pulse, and the current is taken for constant: it falls by little.
"""

from sagline.virtual.parts import Parts


def rise_per_s(parts: Parts, mask: int, drop_v: float) -> float:
    """How fast the loads that are on rise together, relative, with `drop_v` across them.

    Each counts by its share of the current. 0 with none on.
    """
    siemens = 0.0
    rise = 0.0
    for bit, per_a2s in enumerate(parts.heating_per_a2s):
        if mask >> bit & 1:
            own = 1.0 / (parts.load_ohm[bit] + parts.switch_ohm[bit])
            siemens += own
            rise += per_a2s * (drop_v * own) ** 2 * own
    return rise / siemens if siemens else 0.0
