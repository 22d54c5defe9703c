# SPDX-License-Identifier: MIT
"""The chips that the Pico's tests share."""

from board.rp2_standin.bench import chip, full

__all__ = ["chip", "full"]
