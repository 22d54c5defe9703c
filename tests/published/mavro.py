# SPDX-License-Identifier: MIT
"""NIST Statistical Reference Datasets, Mavro: a digital instrument, ten readings a second."""

import numpy as np

READINGS = np.array([
    180, 170, 180, 190, 180, 170, 150, 140, 150, 150, 170, 180, 180, 190, 190, 210, 200, 160,
    140, 130, 130, 150, 150, 160, 150, 140, 130, 140, 150, 140, 150, 160, 150, 160, 190, 200,
    200, 210, 220, 230, 240, 250, 270, 260, 260, 260, 270, 260, 250, 240,
])  # fmt: skip
"""In 1e-5 above 2."""

# Certified.
MEAN = 2.00185600000000
S = 0.000429123454003053
LAG_1 = 0.937989183438248
