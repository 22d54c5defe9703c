# SPDX-License-Identifier: MIT
"""A plant apart from the virtual rig: cells and circuit in a circuit simulator, a recorder,
and what the analysis makes of both."""
