# SPDX-License-Identifier: MIT
"""A cell in the rig: exact response between switchings, at any instant or averaged over windows.

The cell is E − Σ v_k − i·r behind resistor-capacitor pairs and one capacitor for the charge
drawn; the rig is resistive. The diode is replaced by its tangent at the operating point, so the
cell's current is i = alpha·u + beta with u = E − Σ v_k, and

    C_k·dv_k/dt = i − v_k/R_k.

With y_k = √C_k·v_k the matrix of the system, diag(1/tau_k) + alpha·d·dᵀ with d_k = 1/√C_k, is
symmetric: its modes are orthogonal and decay without oscillation.

Not modelled: capacitance and inductance of the rig (settled within 50 µs, see the circuit
notes), heating, and the 12 µA the return channel's lift sends through the return lead.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagline.virtual.cells import Cell
from sagline.virtual.diffusion import ladder
from sagline.virtual.modes import LEAST_RATE, mean_rise, rise
from sagline.virtual.parts import Parts

Floats = NDArray[np.float64]

SENSE, FORCE, RETURN = 0, 1, 2

# A cached tangent is used again within the first; a segment whose tangent has drifted off by
# the second is linearised anew at the end of an advance. Both are errors of the diode's voltage,
# of which V_t sees the fraction r/(R_load + ...).
_REUSE_WITHIN_V = 2e-6
_RENEW_BEYOND_V = 20e-6

# Windows may begin this much before the present instant: rounding of the caller's clock.
_CLOCK_ROUNDING_S = 1e-9


@dataclass(frozen=True, eq=False)
class _Linear:
    """One linearised state of the switches. Everything is affine in u."""

    diode_intercept_v: float
    diode_ohm: float
    path_slope: float  # current through the diode, A per V of u
    path_zero_a: float
    alpha: float
    beta: float
    tap_slope: Floats  # (3, 1): sense, force, return
    tap_zero_v: Floats  # (3, 1)
    rate: Floats  # (k,) of the modes, 1/s
    vectors: Floats  # (k, k), modes in columns
    weight: Floats  # (k,): u = E − weight·modes


class Circuit:
    """A rested cell put into a rig at instant 0, no load, the 16.5 V range's foot open.

    All instants given to the methods are relative to the present one, in seconds.
    """

    def __init__(self, cell: Cell, parts: Parts) -> None:
        self.cell = cell
        self.parts = parts
        pairs = cell.rc + ladder(cell.diffusion_ohm_per_sqrt_s)
        # The charge drawn lowers the EMF as one more capacitor that never leaks.
        inverse_farad = [ohm / tau_s for ohm, tau_s in pairs]
        inverse_farad.append(cell.emf_slope_v / (cell.capacity_ah * 3600.0))
        self._drive = np.sqrt(np.array(inverse_farad))
        self._leak = np.array([1.0 / tau_s for _, tau_s in pairs] + [0.0])
        self._cache: dict[tuple[int, bool], _Linear] = {}
        self._mask = 0
        self._range_high = False
        self.time_s = 0.0
        self._settle(np.zeros(len(self._drive)))

    @property
    def mask(self) -> int:
        """Loads switched on, one bit per entry of the bank."""
        return self._mask

    @property
    def range_high(self) -> bool:
        """Whether the dividers' range foot is in."""
        return self._range_high

    def switch(self, mask: int, range_high: bool) -> None:
        """Set loads and range at the present instant. ValueError for a load not in the bank."""
        if not 0 <= mask < 1 << len(self.parts.load_ohm):
            raise ValueError(f"no such loads: mask {mask}")
        state = self._linear.vectors @ self._modes
        self._mask = mask
        self._range_high = range_high
        self._settle(state)

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
        if self._tangent_error_v(linear, self._path_current(linear)) > _RENEW_BEYOND_V:
            self._settle(linear.vectors @ self._modes)

    def taps(self, start_s: Floats, length_s: Floats) -> Floats:
        """Mean of V_sense, V_force, V_return over each window [start, start + length].

        start_s, length_s of shape (m,), not before the present instant and as far ahead as the
        switches stay as they are; length 0 gives the voltage at an instant. Shape (3, m), volts.
        Raises ValueError for a window that begins in the past or has a negative length.
        """
        linear = self._linear
        return linear.tap_slope * self._mean_u(start_s, length_s) + linear.tap_zero_v

    def mean_current(self, start_s: Floats, length_s: Floats) -> Floats:
        """Mean of the cell's current over each window, shape (m,), amperes; as `taps`."""
        return self._linear.alpha * self._mean_u(start_s, length_s) + self._linear.beta

    def voltage(self) -> float:
        """Terminal voltage now, at the sense taps."""
        return float(self._linear.tap_slope[SENSE, 0] * self._u + self._linear.tap_zero_v[SENSE, 0])

    def current(self) -> float:
        """Current out of the cell now, dividers included, amperes."""
        return self._linear.alpha * self._u + self._linear.beta

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
        operating = self._operating_point()
        if linear is None or self._tangent_error_v(linear, operating[0]) > _REUSE_WITHIN_V:
            linear = self._linearise(*operating[1:])
            self._cache[key] = linear
        self._linear = linear
        self._modes = linear.vectors.T @ state
        forcing = linear.weight * (linear.alpha * self.cell.emf_v + linear.beta)
        self._slope = forcing - linear.rate * self._modes
        self._drop = self._slope * linear.weight

    def _path_current(self, linear: _Linear) -> float:
        return linear.path_slope * self._u + linear.path_zero_a

    def _tangent_error_v(self, linear: _Linear, current_a: float) -> float:
        return self.parts.schottky.tangent_error_v(
            linear.diode_intercept_v, linear.diode_ohm, current_a
        )

    def _load_siemens(self) -> float:
        """From force tap to ground through the loads that are on and the return lead."""
        bank = zip(self.parts.load_ohm, self.parts.switch_ohm, strict=True)
        on = sum(
            1.0 / (load + switch)
            for bit, (load, switch) in enumerate(bank)
            if self._mask >> bit & 1
        )
        return 1.0 / (1.0 / on + self.parts.return_path_ohm) if on else 0.0

    def _loading(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """What sense and force channel draw: (siemens, amperes) each."""
        reference_v = self.parts.reference_v
        return (
            self.parts.channels[SENSE].loading(reference_v, self._range_high),
            self.parts.channels[FORCE].loading(reference_v, self._range_high),
        )

    def _operating_point(self) -> tuple[float, float, float]:
        """Diode at the present u: (current, tangent's intercept, tangent's resistance)."""
        (sense_s, sense_a), (force_s, force_a) = self._loading()
        r = self.cell.r_instant_ohm
        shunted = 1.0 + r * sense_s
        beyond_s = self._load_siemens() + force_s
        source_v = (self._u + r * sense_a) / shunted - force_a / beyond_s
        source_ohm = r / shunted + self.parts.force_path_ohm + 1.0 / beyond_s
        return self.parts.schottky.through(source_v, source_ohm)

    def _linearise(self, intercept_v: float, diode_ohm: float) -> _Linear:
        (sense_s, sense_a), (force_s, force_a) = self._loading()
        r = self.cell.r_instant_ohm
        load_s = self._load_siemens()
        lead_ohm = self.parts.force_path_ohm + diode_ohm
        # V_force = V_t − intercept − lead·i_path and i_path = (load + force)·V_force − force_a.
        reach = 1.0 / (1.0 + lead_ohm * (load_s + force_s))
        force_zero_v = reach * (lead_ohm * force_a - intercept_v)
        path_s = (load_s + force_s) * reach
        path_zero_a = (load_s + force_s) * force_zero_v - force_a
        # i = (sense + path)·V_t − sense_a + path_zero and V_t = u − r·i.
        total_s = sense_s + path_s
        total_zero_a = path_zero_a - sense_a
        sense_slope = 1.0 / (1.0 + r * total_s)
        sense_zero_v = -r * total_zero_a * sense_slope
        slope = np.array([sense_slope, reach * sense_slope, 0.0])
        zero_v = np.array([sense_zero_v, reach * sense_zero_v + force_zero_v, 0.0])
        slope[RETURN] = self.parts.return_path_ohm * load_s * slope[FORCE]
        zero_v[RETURN] = self.parts.return_path_ohm * load_s * zero_v[FORCE]
        alpha = total_s * sense_slope
        rate, vectors = np.linalg.eigh(
            np.diag(self._leak) + alpha * np.outer(self._drive, self._drive)
        )
        return _Linear(
            diode_intercept_v=intercept_v,
            diode_ohm=diode_ohm,
            path_slope=path_s * sense_slope,
            path_zero_a=path_s * sense_zero_v + path_zero_a,
            alpha=alpha,
            beta=total_s * sense_zero_v + total_zero_a,
            tap_slope=slope[:, None],
            tap_zero_v=zero_v[:, None],
            # The slowest rates are near 0 and rounding can leave them just below it.
            rate=np.maximum(rate, LEAST_RATE),
            vectors=vectors,
            weight=vectors.T @ self._drive,
        )
