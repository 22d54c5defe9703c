# SPDX-License-Identifier: MIT
"""The voltmeter that lies beside the rig."""

import numpy as np

# Limit of its error, as a plain hand-held meter has it (from memory): so much of the reading and
# so many units of its last digit.
GAIN_LIMIT, DIGITS = 5e-4, 2.0
DIGIT_V = 1e-4


class HandMeter:
    """One meter: its error is drawn once and stays."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._share = float(rng.uniform(-1.0, 1.0))

    def read(self, true_v: float) -> float:
        """What it shows at `true_v`, in volts; it draws no current."""
        error_v = self._share * (GAIN_LIMIT * abs(true_v) + DIGITS * DIGIT_V)
        return round((true_v + error_v) / DIGIT_V) * DIGIT_V
