# SPDX-License-Identifier: MIT
"""A cell in the rig: exact response between switchings, at any instant or averaged over windows.

The cell is E − Σ v_k − i·r behind resistor-capacitor pairs and one capacitor for the charge
drawn; the rig is resistive. The diode is replaced by its tangent at the operating point, so the
cell's current is i = alpha·u + beta with u = E − Σ v_k, and

    C_k·dv_k/dt = i − v_k/R_k.

With y_k = √C_k·v_k the matrix of the system, diag(1/tau_k) + alpha·d·dᵀ with d_k = 1/√C_k, is
symmetric: its modes are orthogonal and decay without oscillation. alpha and beta come from
`network.py`, or from `loose.py` where the rig is not wired as it should be.

A load that warms within its pulse moves the taps as so much more resistance would, and the cell's
answer to the little less current is left out.

Not modelled: capacitance and inductance of the rig (settled within 50 µs, see the circuit
notes), and the 12 µA the return channel's lift sends through the return lead.
"""

from dataclasses import dataclass, replace

import numpy as np

from sagline.virtual.cell import Cell
from sagline.virtual.diffusion import ladder
from sagline.virtual.heating import rise_per_s
from sagline.virtual.loose import loose
from sagline.virtual.modes import LEAST_RATE, mean_rise, rise
from sagline.virtual.network import FORCE, RETURN, SENSE, Floats, Network, whole
from sagline.virtual.parts import Parts
from sagline.virtual.wiring import Wiring

__all__ = ["FORCE", "RETURN", "SENSE", "Circuit"]

# A cached tangent is used again within the first; a segment whose tangent has drifted off by
# the second is linearised anew at the end of an advance. Both are errors of the diode's voltage,
# of which V_t sees the fraction r/(R_load + ...).
_REUSE_WITHIN_V = 2e-6
_RENEW_BEYOND_V = 20e-6

# Windows may begin this much before the present instant: rounding of the caller's clock.
_CLOCK_ROUNDING_S = 1e-9

# By how much, relative, a load is made larger to see what its warming does.
_WARMER = 1e-3


@dataclass(frozen=True, eq=False)
class _Linear:
    """One linearised state of the switches, and the cell's modes in it."""

    network: Network
    rate: Floats  # (k,) of the modes, 1/s
    vectors: Floats  # (k, k), modes in columns
    weight: Floats  # (k,): u = E − weight·modes
    warmer: Network | None  # the same with loads larger by _WARMER; None with none on


class Circuit:
    """A rested cell put into a rig at instant 0, no load, the 16.5 V range's foot open.

    All instants given to the methods are relative to the present one, in seconds.
    """

    def __init__(self, cell: Cell, parts: Parts, wiring: Wiring | None = None) -> None:
        self.parts = parts
        self._mask = 0
        self._range_high = False
        self._wiring = wiring or Wiring()
        self.time_s = 0.0
        self._pulse_since_s = self._rise_per_s = 0.0
        self.insert(cell)

    @property
    def mask(self) -> int:
        """Loads switched on, one bit per entry of the bank."""
        return self._mask

    @property
    def range_high(self) -> bool:
        """Whether the dividers' range foot is in."""
        return self._range_high

    @property
    def wiring(self) -> Wiring:
        """How the cell is connected."""
        return self._wiring

    def insert(self, cell: Cell) -> None:
        """Put in a rested cell, wired as the present one is."""
        self.cell = cell
        pairs = cell.rc + ladder(cell.diffusion_ohm_per_sqrt_s)
        # The charge drawn lowers the EMF as one more capacitor that never leaks.
        inverse_farad = [ohm / tau_s for ohm, tau_s in pairs]
        inverse_farad.append(cell.emf_slope_v / (cell.capacity_ah * 3600.0))
        self._drive = np.sqrt(np.array(inverse_farad))
        self._leak = np.array([1.0 / tau_s for _, tau_s in pairs] + [0.0])
        self._cache: dict[tuple[int, bool], _Linear] = {}
        self._settle(np.zeros(len(self._drive)))

    def rewire(self, wiring: Wiring) -> None:
        """Change how the cell is connected, at the present instant."""
        state = self._linear.vectors @ self._modes
        self._wiring = wiring
        self._cache = {}
        self._settle(state)

    def set_emf(self, emf_v: float) -> None:
        """Let the EMF jump, as if another source had taken the cell's place."""
        state = self._linear.vectors @ self._modes
        self.cell = replace(self.cell, emf_v=emf_v)
        self._cache = {}
        self._settle(state)

    def switch(self, mask: int, range_high: bool) -> None:
        """Set loads and range at the present instant. ValueError for a load not in the bank."""
        if not 0 <= mask < 1 << len(self.parts.load_ohm):
            raise ValueError(f"no such loads: mask {mask}")
        state = self._linear.vectors @ self._modes
        anew = mask != self._mask
        self._mask = mask
        self._range_high = range_high
        self._settle(state)
        if anew:
            network = self._linear.network
            taps_v = network.tap_slope[:, 0] * self._u + network.tap_zero_v[:, 0]
            self._pulse_since_s = self.time_s
            self._rise_per_s = rise_per_s(self.parts, mask, float(taps_v[FORCE] - taps_v[RETURN]))

    def advance(self, dt_s: float) -> None:
        """Let time pass. ValueError if dt_s is negative."""
        if dt_s < 0.0:
            raise ValueError("time does not run backwards")
        linear = self._linear
        moved = rise(linear.rate, dt_s)
        self._modes = self._modes + self._slope * moved
        self._slope = self._slope * (1.0 - linear.rate * moved)
        self._drop = self._slope * linear.weight
        self._u = self.cell.emf_v - float(linear.weight @ self._modes)
        self.time_s += dt_s
        if linear.network.error_v(self._u) > _RENEW_BEYOND_V:
            self._settle(linear.vectors @ self._modes)

    def taps(self, start_s: Floats, length_s: Floats) -> Floats:
        """Mean of V_sense, V_force, V_return over each window [start, start + length].

        start_s, length_s of shape (m,), not before the present instant and as far ahead as the
        switches stay as they are; length 0 gives the voltage at an instant. Shape (3, m), volts.
        Raises ValueError for a window that begins in the past or has a negative length.
        """
        network, warmer = self._linear.network, self._linear.warmer
        u = self._mean_u(start_s, length_s)
        taps = network.tap_slope * u + network.tap_zero_v
        if warmer is not None:
            on_s = self.time_s - self._pulse_since_s + start_s + 0.5 * length_s
            warm = self._rise_per_s * on_s / _WARMER
            taps += warm * (warmer.tap_slope * u + warmer.tap_zero_v - taps)
        return taps

    def mean_current(self, start_s: Floats, length_s: Floats) -> Floats:
        """Mean of the cell's current over each window, shape (m,), amperes; as `taps`."""
        network = self._linear.network
        return network.alpha * self._mean_u(start_s, length_s) + network.beta

    def voltage(self) -> float:
        """Voltage now at the sense tap."""
        network = self._linear.network
        return float(network.tap_slope[SENSE, 0] * self._u + network.tap_zero_v[SENSE, 0])

    def current(self) -> float:
        """Current out of the cell now, dividers included, amperes."""
        return self._linear.network.alpha * self._u + self._linear.network.beta

    def terminal_v(self, after_s: float = 0.0) -> float:
        """Voltage between the cell's own terminals, whatever is wired to them; 0 without it.

        `after_s` lies as far ahead as the switches stay as they are.
        """
        if not self._wiring.present:
            return 0.0
        u = float(self._mean_u(np.array([after_s]), np.zeros(1))[0])
        network = self._linear.network
        return u - self.cell.r_instant_ohm * (network.alpha * u + network.beta)

    def emf_v(self) -> float:
        """EMF now: that of the rested cell less the fall with the charge drawn."""
        state = float(self._linear.vectors[-1] @ self._modes)
        return self.cell.emf_v - float(self._drive[-1]) * state

    def _mean_u(self, start_s: Floats, length_s: Floats) -> Floats:
        if len(start_s) and (start_s.min() < -_CLOCK_ROUNDING_S or length_s.min() < 0.0):
            raise ValueError("windows lie at or after the present instant and have a length >= 0")
        moved = mean_rise(self._linear.rate, start_s[:, None], length_s[:, None])
        return self._u - moved @ self._drop

    def _settle(self, state: Floats) -> None:
        """Take the state y over into the modes of the present switches, linearised at it."""
        self._u = self.cell.emf_v - float(self._drive @ state)
        key = (self._mask, self._range_high)
        linear = self._cache.get(key)
        if linear is None or linear.network.error_v(self._u) > _REUSE_WITHIN_V:
            linear = self._linearise()
            self._cache[key] = linear
        self._linear = linear
        self._modes = linear.vectors.T @ state
        network = linear.network
        forcing = linear.weight * (network.alpha * self.cell.emf_v + network.beta)
        self._slope = forcing - linear.rate * self._modes
        self._drop = self._slope * linear.weight

    def _linearise(self) -> _Linear:
        wiring = self._wiring
        parts = self.parts
        if wiring.outside_ohm:
            parts = replace(parts, force_path_ohm=parts.force_path_ohm + wiring.outside_ohm)
        r_ohm = self.cell.r_instant_ohm + wiring.inside_ohm
        if wiring.whole:
            network = whole(parts, r_ohm, self._mask, self._range_high, self._u)
        else:
            network = loose(parts, wiring, r_ohm, self._mask, self._range_high, self._u)
        warmer = None
        if self._mask and wiring.whole:
            loads = [ohm * (1.0 + _WARMER) for ohm in parts.load_ohm]
            switches = [ohm * (1.0 + _WARMER) for ohm in parts.switch_ohm]
            warm = replace(parts, load_ohm=tuple(loads), switch_ohm=tuple(switches))
            warmer = whole(warm, r_ohm, self._mask, self._range_high, self._u)
        rate, vectors = np.linalg.eigh(
            np.diag(self._leak) + network.alpha * np.outer(self._drive, self._drive)
        )
        return _Linear(
            network,
            # The slowest rates are near 0 and rounding can leave them just below it.
            rate=np.maximum(rate, LEAST_RATE),
            vectors=vectors,
            weight=vectors.T @ self._drive,
            warmer=warmer,
        )
