# SPDX-License-Identifier: MIT
"""Is the rig itself in order? Checks with empty clips, and with a cell between them."""
