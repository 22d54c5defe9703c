# SPDX-License-Identifier: MIT
"""What a perfect measurement of a virtual cell would find."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from sagline.designations import DESIGNATIONS
from sagline.virtual.cells import Cell
from sagline.virtual.circuit import Circuit
from sagline.virtual.parts import Parts, nominal_parts
from sagline_board import profile

# Always in the list: the time at which results are compared.
REFERENCE_TIME_S = 0.1


def truth(cell: Cell, load_ohm: float | None = None, at_s: Iterable[float] = ()) -> dict[str, Any]:
    """{"truth": {emf_v, r_instant_ohm, r_at: [{t_s, value}], load_ohm}}.

    r(t) = (E − V(t))/I(t) of the rested cell, the load closed at t = 0: V at the sense taps and I
    the cell's own current at the same instant, from the nominal circuit with that load. E is
    the open voltage without any divider. `load_ohm` None is the plan's load for the designation;
    a resistor that is not in the bank takes the place of one. r_at holds 0.1 s and every time
    of `at_s`, ascending. Raises ValueError for a load that is not positive, a negative time, or
    no load for a designation that has none.
    """
    if load_ohm is None:
        if cell.designation not in DESIGNATIONS:
            raise ValueError(f"no load is planned for designation {cell.designation!r}")
        load_ohm = DESIGNATIONS[cell.designation].load_ohm
    if not 0.0 < load_ohm < float("inf"):
        raise ValueError("load_ohm must be positive")
    times_s = sorted({REFERENCE_TIME_S, *(float(t) for t in at_s)})
    if not (times_s[0] >= 0.0 and times_s[-1] < float("inf")):
        raise ValueError("times must not be negative")
    circuit = Circuit(cell, _one_load(load_ohm))
    circuit.switch(1, range_high=cell.emf_v * 1e3 > profile.RANGE_MV[0])
    r_instant_ohm = _resistance(circuit)
    r_at = []
    for t_s in times_s:
        circuit.advance(t_s - circuit.time_s)
        r_at.append({"t_s": t_s, "value": _resistance(circuit)})
    return {
        "truth": {
            "emf_v": cell.emf_v,
            "r_instant_ohm": r_instant_ohm,
            "r_at": r_at,
            "load_ohm": load_ohm,
        }
    }


def _resistance(circuit: Circuit) -> float:
    return (circuit.cell.emf_v - circuit.voltage()) / circuit.current()


def _one_load(load_ohm: float) -> Parts:
    """The nominal rig with this load alone; one not in the bank gets the first load's switch."""
    parts = nominal_parts()
    distance = np.abs(np.array(parts.load_ohm) - load_ohm)
    index = int(np.argmin(distance))
    switch_ohm = parts.switch_ohm[index if distance[index] < 1e-9 * load_ohm else 0]
    return replace(parts, load_ohm=(load_ohm,), switch_ohm=(switch_ohm,))
