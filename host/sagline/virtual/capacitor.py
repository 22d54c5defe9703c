# SPDX-License-Identifier: MIT
"""A charged capacitor as a cell: the EMF falls with the charge, Q = C·V.

An aluminium electrolytic takes up some charge late (dielectric absorption): what has gone into
the depth of its oxide comes out with time constants of its own. In series with the capacitor
each part is a resistor beside a capacitor of C/share, which is the same at the terminals as a
branch beside it. Not modelled: leakage, which grows with the voltage.
"""

from sagline.virtual.cell import Cell

CAPACITOR = "capacitor"

# Share of the charge and time constant (s). Assumptions: electrolytics absorb some per cent,
# over seconds and minutes (from memory); film capacitors ten times less.
ABSORPTION = ((0.01, 5.0), (0.02, 60.0))
# Series resistance of hundreds of microfarads; typical, from memory. It carries microamperes.
SERIES_OHM = 0.1

MOST_FARAD = 1.0
MOST_V = 16.5


def capacitor(farad: float, volts: float) -> Cell:
    """A capacitor of `farad`, what comes late included, that has been at `volts` for long.

    Raises ValueError for less than 1 µF, more than 1 F, or a voltage that no clip here may have.
    """
    if not 1e-6 <= farad <= MOST_FARAD:
        raise ValueError(f"a capacitor here has 1e-6 to {MOST_FARAD:g} F")
    if not 0.0 <= volts <= MOST_V:
        raise ValueError(f"a capacitor is charged to 0 to {MOST_V:g} V here")
    return Cell(
        name=CAPACITOR,
        title=f"electrolytic capacitor, {farad * 1e6:g} µF",
        designation="",
        emf_v=volts,
        r_instant_ohm=SERIES_OHM,
        rc=tuple((share * tau_s / farad, tau_s) for share, tau_s in ABSORPTION),
        diffusion_ohm_per_sqrt_s=0.0,
        # One volt less for each C coulombs.
        capacity_ah=farad / 3600.0,
        emf_slope_v=1.0,
        temperature_c=23.0,
    )
