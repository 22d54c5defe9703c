# SPDX-License-Identifier: MIT
"""A rig calibrated by somebody who is told what to do with which clip, step by step."""
