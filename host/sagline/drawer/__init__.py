# SPDX-License-Identifier: MIT
"""Many cells one after the other: pure parts first, then what touches files and the rig."""
