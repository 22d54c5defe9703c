# SPDX-License-Identifier: MIT
"""The cell's temperature from a thermistor in series with a known resistor.

R = R_ref * bead / (supply - bead) from two codes of one range, and, by the B value of
IEC 60539-1, 1/T = 1/298.15 K + ln(R/R_25)/B.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sagline.analysis.profile import PPM, Integers
from sagline.analysis.values import AnalysisError

ZERO_C_K = 273.15
_AT_25_K = 298.15
# One B value is not quite the whole curve: its maker's table departs by no more than this for
# each kelvin away from 25 degrees (from memory of a common 10 kohm bead, between 0 and 60).
SHAPE_LIMIT_K_PER_K = 0.03
# Between bead and cell, and what its own current warms it (common practice).
CONTACT_LIMIT_K = 0.5
# Beyond these shares of the supply the lead is broken, or its wires touch.
OPEN, SHORTED = 0.98, 0.005


@dataclass(frozen=True)
class ThermistorProfile(Integers):
    """The bead and its resistor as the board answers them."""

    reference_ohm: int
    reference_tolerance_ppm: int
    ohm_at_25: int
    tolerance_ppm: int
    b_k: int
    b_tolerance_ppm: int


@dataclass(frozen=True)
class CellTemperature:
    """Degrees Celsius and their standard uncertainty (K)."""

    celsius: float
    u_k: float


def cell_temperature(profile: ThermistorProfile, bead: int, supply: int) -> CellTemperature:
    """Return the temperature that the two codes tell.

    Raises AnalysisError (`thermistor_open`, `thermistor_shorted`) where they tell none.
    """
    share = bead / supply if supply > 0 else 1.0
    if share > OPEN:
        raise AnalysisError(
            "thermistor_open",
            "The thermistor's lead is broken or not plugged in.",
            "Plug it in, or give --temperature",
        )
    if share < SHORTED:
        raise AnalysisError(
            "thermistor_shorted",
            "The thermistor's two wires touch.",
            "See to its lead, or give --temperature",
        )
    ratio = profile.reference_ohm / profile.ohm_at_25 * share / (1.0 - share)
    kelvin = 1.0 / (1.0 / _AT_25_K + math.log(ratio) / profile.b_k)
    away_k = kelvin - _AT_25_K
    # What a relative error of the ratio moves: dT = T^2/B dR/R; one of B moves T (T - T25)/T25.
    per_ratio_k = kelvin * kelvin / profile.b_k
    limits_k = (
        per_ratio_k * profile.tolerance_ppm / PPM,
        per_ratio_k * profile.reference_tolerance_ppm / PPM,
        away_k * kelvin / _AT_25_K * profile.b_tolerance_ppm / PPM,
        away_k * SHAPE_LIMIT_K_PER_K,
        CONTACT_LIMIT_K,
    )
    # Rectangular, JCGM 100, 4.3.7.
    return CellTemperature(kelvin - ZERO_C_K, math.hypot(*limits_k) / math.sqrt(3.0))
