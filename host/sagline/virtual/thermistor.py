# SPDX-License-Identifier: MIT
"""A thermistor at the simulated cell: its codes from the cell's temperature and its own errors."""

from __future__ import annotations

import math

import numpy as np

from sagline_board import profile

_AT_25_K = 298.15
_SUPPLY_CODES = 26_300
"""3.29 V in codes of 125 µV; only the ratio counts."""
# From the bead to the cell, and what its current warms it: common practice, within so much.
CONTACT_LIMIT_K = 0.5


class VirtualThermistor:
    """One bead with its resistor, drawn from the profile's limits by `rng`."""

    def __init__(self, rng: np.random.Generator) -> None:
        made = profile.THERMISTOR

        def drawn(name: str, ppm: str) -> float:
            return made[name] * (1.0 + made[ppm] * 1e-6 * float(rng.uniform(-1.0, 1.0)))

        self._reference_ohm = drawn("reference_ohm", "reference_tolerance_ppm")
        self._at_25_ohm = drawn("ohm_at_25", "tolerance_ppm")
        self._b_k = drawn("b_k", "b_tolerance_ppm")
        self._contact_k = float(rng.uniform(-CONTACT_LIMIT_K, CONTACT_LIMIT_K))

    def codes(self, cell_c: float) -> tuple[int, int]:
        """The codes of the bead and of the supply over both; IEC 60539-1's B value."""
        kelvin = cell_c + self._contact_k + 273.15
        ohm = self._at_25_ohm * math.exp(self._b_k * (1.0 / kelvin - 1.0 / _AT_25_K))
        return round(_SUPPLY_CODES * ohm / (ohm + self._reference_ohm)), _SUPPLY_CODES
