# SPDX-License-Identifier: MIT
"""The resistive part of cell and rig, diodes replaced by tangents: everything affine in u.

u is the cell's inner voltage, E less what its capacitors hold. A rig that is wired as it should
be has a closed form, here; any other is solved node by node in `loose.py`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagline.virtual.parts import Parts
from sagline.virtual.schottky import Schottky
from sagline_board.profile import LEADS, LOADS

Floats = NDArray[np.float64]

# Half of a load's switch is ARM: two MOSFETs of one kind.
_ARM_OHM = 0.5e-3 * LOADS[0]["switch_milliohm"]

SENSE, FORCE, RETURN = 0, 1, 2


@dataclass(frozen=True)
class Tangent:
    """A diode's tangent, and the diode's current as `slope`·u + `zero_a`."""

    diode: Schottky
    intercept_v: float
    ohm: float
    slope: float
    zero_a: float

    def error_v(self, u: float) -> float:
        """How far the tangent is from the diode at u."""
        current_a = self.slope * u + self.zero_a
        return self.diode.tangent_error_v(self.intercept_v, self.ohm, current_a)


@dataclass(frozen=True, eq=False)
class Network:
    """One state of switches and wires: cell current alpha·u + beta, taps (3, 1) in volts."""

    alpha: float
    beta: float
    tap_slope: Floats
    tap_zero_v: Floats
    tangents: tuple[Tangent, ...]

    def error_v(self, u: float) -> float:
        """The greatest error of its tangents at u."""
        return max(tangent.error_v(u) for tangent in self.tangents)


def load_siemens(parts: Parts, mask: int) -> float:
    """From force tap to return tap through the loads that are on, and ARM that all share."""
    bank = zip(parts.load_ohm, parts.switch_ohm, strict=True)
    on = [load + switch for bit, (load, switch) in enumerate(bank) if mask >> bit & 1]
    if len(on) < 2:
        return sum(1.0 / ohm for ohm in on)
    return 1.0 / (_ARM_OHM + 1.0 / sum(1.0 / (ohm - _ARM_OHM) for ohm in on))


def whole(parts: Parts, r_ohm: float, mask: int, range_high: bool, u: float) -> Network:
    """The rig with every lead in its place, linearised at u; r_ohm is the cell's."""
    loads_s = load_siemens(parts, mask)
    load_s = 1.0 / (1.0 / loads_s + parts.return_path_ohm) if loads_s else 0.0
    sense_s, sense_a = parts.channels[SENSE].loading(parts.reference_v, range_high)
    force_s, force_a = parts.channels[FORCE].loading(parts.reference_v, range_high)
    beyond_s = load_s + force_s
    shunted = 1.0 + r_ohm * sense_s
    _, intercept_v, diode_ohm = parts.schottky.through(
        (u + r_ohm * sense_a) / shunted - force_a / beyond_s,
        r_ohm / shunted + parts.force_path_ohm + 1.0 / beyond_s,
    )
    lead_ohm = parts.force_path_ohm + diode_ohm
    # V_force = V_t − intercept − lead·i_path and i_path = (load + force)·V_force − force_a.
    reach = 1.0 / (1.0 + lead_ohm * beyond_s)
    force_zero_v = reach * (lead_ohm * force_a - intercept_v)
    path_s = beyond_s * reach
    path_zero_a = beyond_s * force_zero_v - force_a
    # i = (sense + path)·V_t − sense_a + path_zero and V_t = u − r·i.
    total_s = sense_s + path_s
    total_zero_a = path_zero_a - sense_a
    sense_slope = 1.0 / (1.0 + r_ohm * total_s)
    sense_zero_v = -r_ohm * total_zero_a * sense_slope
    slope = np.array([sense_slope, reach * sense_slope, 0.0])
    zero_v = np.array([sense_zero_v, reach * sense_zero_v + force_zero_v, 0.0])
    slope[RETURN] = parts.return_path_ohm * load_s * slope[FORCE]
    zero_v[RETURN] = parts.return_path_ohm * load_s * zero_v[FORCE]
    # What the tie takes from the return node, and the dividers from their taps, flows back through
    # the negative sense lead and lifts the board's ground, by which all is read, above the
    # cell's negative terminal. Its own effect on those currents is left out.
    taken_s = np.array([sense_s, force_s, 1.0 / LEADS["ground_tie_ohm"]])
    ground_slope = parts.sense_path_ohm * float(taken_s @ slope)
    ground_v = parts.sense_path_ohm * (float(taken_s @ zero_v) - sense_a - force_a)
    return Network(
        alpha=total_s * sense_slope,
        beta=total_s * sense_zero_v + total_zero_a,
        tap_slope=(slope - ground_slope)[:, None],
        tap_zero_v=(zero_v - ground_v)[:, None],
        tangents=(
            Tangent(
                parts.schottky,
                intercept_v,
                diode_ohm,
                path_s * sense_slope,
                path_s * sense_zero_v + path_zero_a,
            ),
        ),
    )
