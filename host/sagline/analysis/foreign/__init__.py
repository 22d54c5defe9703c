# SPDX-License-Identifier: MIT
"""A record that no rig of ours made: volts and amperes against time, by the same estimator."""
