# SPDX-License-Identifier: MIT
"""The cell in the rig once more, written as its node equations and integrated numerically.

Nothing of the circuit module is used: the diode is the full exponential, solved at every step,
and the stiff solver is scipy's.
"""

import math

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from sagline.virtual.cell import Cell
from sagline.virtual.diffusion import ladder
from sagline.virtual.parts import ChannelParts, Parts


def _drawn(channel: ChannelParts, tap_v: float, reference_v: float, high: bool) -> float:
    """Current from the tap into a channel, by solving its node for its voltage."""
    feet = [channel.foot_ohm] + ([channel.range_foot_ohm] if high else [])
    siemens = 1 / channel.top_ohm + 1 / channel.lift_ohm + sum(1 / foot for foot in feet)
    node_v = (tap_v / channel.top_ohm + reference_v / channel.lift_ohm) / siemens
    return (tap_v - node_v) / channel.top_ohm


def _network(
    u: float, r_ohm: float, parts: Parts, mask: int, high: bool
) -> tuple[float, float, float, float]:
    """(V_sense, V_force, V_return, cell current) with u behind the cell's series resistance."""
    # The loads meet at ARM, half of what the nominal switch of each is.
    arm_ohm = 0.0205
    on = [
        1 / (load + switch - arm_ohm)
        for k, (load, switch) in enumerate(zip(parts.load_ohm, parts.switch_ohm, strict=True))
        if mask >> k & 1
    ]
    loop_ohm = 1 / sum(on) + arm_ohm + parts.return_path_ohm
    sense, force, _ = parts.channels
    diode = parts.schottky

    def from_force(force_v: float) -> tuple[float, float]:
        path_a = force_v / loop_ohm + _drawn(force, force_v, parts.reference_v, high)
        junction_v = diode.slope_v * math.log(1 + path_a / diode.saturation_a)
        ohm = diode.series_ohm + parts.force_path_ohm
        return force_v + junction_v + path_a * ohm, path_a

    def imbalance(force_v: float) -> float:
        terminal_v, path_a = from_force(force_v)
        sense_a = _drawn(sense, terminal_v, parts.reference_v, high)
        return u - r_ohm * (path_a + sense_a) - terminal_v

    force_v = brentq(imbalance, 0.1, u, xtol=1e-13)
    assert isinstance(force_v, float)
    terminal_v, path_a = from_force(force_v)
    cell_a = path_a + _drawn(sense, terminal_v, parts.reference_v, high)
    return terminal_v, force_v, force_v / loop_ohm * parts.return_path_ohm, cell_a


def integrate(cell: Cell, parts: Parts, mask: int, high: bool, t_s: np.ndarray) -> np.ndarray:
    """Taps (3, m) at instants t_s after the load was put on the rested cell."""
    ohm, tau_s = np.array(cell.rc + ladder(cell.diffusion_ohm_per_sqrt_s)).T
    volts_per_coulomb = cell.emf_slope_v / (cell.capacity_ah * 3600)

    def network(state: np.ndarray) -> tuple[float, float, float, float]:
        u = cell.emf_v - float(state[:-1].sum()) - volts_per_coulomb * float(state[-1])
        return _network(u, cell.r_instant_ohm, parts, mask, high)

    def slope(_t: float, state: np.ndarray) -> np.ndarray:
        current = network(state)[3]
        return np.append((current * ohm - state[:-1]) / tau_s, current)

    run = solve_ivp(
        slope,
        (0.0, float(t_s[-1])),
        np.zeros(len(ohm) + 1),
        method="Radau",
        t_eval=t_s,
        rtol=1e-6,
        atol=1e-8,
    )
    assert run.success
    return np.array([network(state)[:3] for state in run.y.T]).T
