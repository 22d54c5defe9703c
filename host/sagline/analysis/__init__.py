# SPDX-License-Identifier: MIT
"""Pure analysis: frozen values in, frozen values out.

Nothing here reads a file, a clock or a port, prints, or takes random state from
outside. The way of the data: `step` (one step to levels) -> `repeats` (levels to
rows and scatter) -> `budget` (uncertainty) -> `estimate` (the figures).
"""
