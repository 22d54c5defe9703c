# SPDX-License-Identifier: MIT
"""The voltmeter that lies beside the rig."""

import numpy as np

# Half-widths of its errors, as a plain hand-held meter has them (from memory), and its last digit.
GAIN_LIMIT = 5e-4
OFFSET_LIMIT_V = 2e-4
DIGIT_V = 1e-4


class HandMeter:
    """One meter: its error is drawn once and stays."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._gain = 1.0 + float(rng.uniform(-GAIN_LIMIT, GAIN_LIMIT))
        self._offset_v = float(rng.uniform(-OFFSET_LIMIT_V, OFFSET_LIMIT_V))

    def read(self, true_v: float) -> float:
        """What it shows at `true_v`, in volts; it draws no current."""
        return round((self._gain * true_v + self._offset_v) / DIGIT_V) * DIGIT_V
