# SPDX-License-Identifier: MIT
"""What a perfect measurement of a virtual cell would find."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from sagline.designations import DESIGNATIONS
from sagline.designations import find as find_designation
from sagline.errors import UsageError
from sagline.virtual.cell import Cell
from sagline.virtual.circuit import Circuit
from sagline.virtual.parts import Parts, nominal_parts
from sagline_board import profile

# Always in the list: the time at which results are compared.
REFERENCE_TIME_S = 0.1
# As far as the ladder in `diffusion.py` follows the root of time.
LATEST_S = 100.0
# Between them the circuit's figures keep their digits.
LOAD_LIMITS_OHM = (1e-3, 1e6)


def truth(cell: Cell, load_ohm: float | None = None, at_s: Iterable[float] = ()) -> dict[str, Any]:
    """{"truth": {emf_v, r_instant_ohm, r_at: [{t_s, value}], load_ohm}}.

    r(t) = (E − V(t))/I(t) of the rested cell, the load closed at t = 0: V at the sense taps and I
    the cell's own current at the same instant, from the nominal circuit with that load. E is
    the open voltage without any divider. `load_ohm` None is the plan's load for the designation;
    a resistor that is not in the bank takes the place of one. r_at holds 0.1 s and every time
    of `at_s`, ascending. Raises UsageError, naming the option of the command line, for a load
    outside LOAD_LIMITS_OHM, a time outside 0 to LATEST_S, or no load for a cell whose
    designation has none.
    """
    if load_ohm is None:
        load_ohm = _planned_ohm(cell)
    _check_load(load_ohm)
    times_s = sorted({REFERENCE_TIME_S, *(_checked_time(t) for t in at_s)})
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


def _planned_ohm(cell: Cell) -> float:
    planned = find_designation(cell.designation)
    if planned is None:
        kind = f"The designation {cell.designation}" if cell.designation else "A cell without one"
        raise UsageError(
            "load_needed",
            f"{kind} has no planned load: state it with --load.",
            f"Write for example --load 3.3. A file may say designation = with one of "
            f"{', '.join(DESIGNATIONS)}.",
        )
    return planned.load_ohm


def _check_load(load_ohm: float) -> None:
    least_ohm, most_ohm = LOAD_LIMITS_OHM
    if not load_ohm > 0.0:
        said = "must be greater than 0 Ω"
    elif not least_ohm <= load_ohm <= most_ohm:
        said = f"must be from {least_ohm:g} to {most_ohm:g} Ω"
    else:
        return
    raise UsageError(
        "bad_load", f"--load {said}, not {load_ohm:g}.", "Write for example --load 3.3."
    )


def _checked_time(t_s: float) -> float:
    if not 0.0 <= t_s <= LATEST_S:
        raise UsageError(
            "bad_times",
            f"--at must be from 0 to {LATEST_S:g} s after switching, not {t_s:g}.",
            "Write for example --at 0.01,1.",
        )
    return t_s


def _resistance(circuit: Circuit) -> float:
    return (circuit.cell.emf_v - circuit.terminal_v()) / circuit.current()


def _one_load(load_ohm: float) -> Parts:
    """The nominal rig with this load alone; one not in the bank gets the first load's switch."""
    parts = nominal_parts()
    distance = np.abs(np.array(parts.load_ohm) - load_ohm)
    index = int(np.argmin(distance))
    switch_ohm = parts.switch_ohm[index if distance[index] < 1e-9 * load_ohm else 0]
    return replace(parts, load_ohm=(load_ohm,), switch_ohm=(switch_ohm,), heating_per_a2s=(0.0,))
