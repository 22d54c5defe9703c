# SPDX-License-Identifier: MIT
"""The blocking diode in the force lead: V = n·Vt·ln(1 + i/Is) + i·Rs."""

import math
from dataclasses import dataclass

_MAX_STEPS = 60
_SETTLED_V = 1e-12

# A diode that passes all of its reverse current but this fraction counts as blocking; the floor
# keeps its tangent finite.
_BLOCKING = 1e-6


@dataclass(frozen=True)
class Schottky:
    """Constants of the diode equation; `slope_v` is n·Vt."""

    saturation_a: float
    slope_v: float
    series_ohm: float

    def drop_v(self, current_a: float) -> float:
        """Forward voltage at a current above −saturation_a."""
        junction_v = self.slope_v * math.log1p(current_a / self.saturation_a)
        return junction_v + current_a * self.series_ohm

    def tangent_error_v(self, intercept_v: float, ohm: float, current_a: float) -> float:
        """How far a tangent of `through` is from the diode at a current; 0 if both block."""
        passing_a = current_a + self.saturation_a
        if passing_a < _BLOCKING * self.saturation_a:
            return 0.0 if ohm > 0.5 * self.blocking_ohm else math.inf
        return abs(self.drop_v(current_a) - intercept_v - ohm * current_a)

    @property
    def blocking_ohm(self) -> float:
        """The tangent's resistance where the diode blocks."""
        return self.slope_v / (_BLOCKING * self.saturation_a)

    def through(self, source_v: float, source_ohm: float) -> tuple[float, float, float]:
        """Fed from `source_v` behind `source_ohm`: (current A, tangent's intercept V, slope ohm).

        Newton on the junction voltage v of v + (R + Rs)·Is·(e^(v/nVt) − 1) = V. The left side
        rises and is convex in v, so starting at or above the root it descends to it.
        Raises ArithmeticError if it does not settle.
        """
        ohm = source_ohm + self.series_ohm
        v = 0.0
        if source_v > 0.0:
            v = min(source_v, self.slope_v * math.log1p(source_v / (ohm * self.saturation_a)))
        for _ in range(_MAX_STEPS):
            rising_a = self.saturation_a * math.exp(v / self.slope_v)
            excess_v = v + ohm * (rising_a - self.saturation_a) - source_v
            step_v = excess_v / (1.0 + ohm * rising_a / self.slope_v)
            v -= step_v
            if abs(step_v) < _SETTLED_V:
                break
        else:
            raise ArithmeticError(f"diode: no operating point from {source_v} V, {source_ohm} ohm")
        rising_a = self.saturation_a * math.exp(v / self.slope_v)
        current_a = rising_a - self.saturation_a
        junction_ohm = min(self.slope_v / rising_a, self.blocking_ohm)
        return current_a, v - junction_ohm * current_a, junction_ohm + self.series_ohm


# Own constants for the 40 V, 5 A class at 25 °C: n = 1.11, Vt = 25.7 mV. They give 0.35 V at
# 0.35 A and 0.56 V at 5 A; such parts are typically 0.3 to 0.4 V and 0.5 to 0.55 V there (from
# memory). The saturation current agrees with the resting pin voltages of the circuit notes.
BLOCKING = Schottky(saturation_a=2.7e-6, slope_v=0.0285, series_ohm=0.030)

# The smaller diode from ground to the return node: 0.12 V at 19 µA, which is what the resting pin
# voltages of the circuit notes leave for it when the negative sense lead is lost.
GROUND_TIE = Schottky(saturation_a=2.5e-7, slope_v=0.0285, series_ohm=0.1)
