# SPDX-License-Identifier: MIT
"""The part of the firmware that runs on any board; the host imports it too."""

__version__ = "0.1.0"
