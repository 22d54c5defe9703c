# SPDX-License-Identifier: MIT
"""From a calibration's readings to what it found, with its uncertainty. Pure, as the analysis is.

The on-board converter's table comes from `ramp`, `rampfit` and `ramptable`.
"""
