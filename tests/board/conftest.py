# SPDX-License-Identifier: MIT
"""The chip that the Pico's tests share."""

from board.rp2_standin.bench import chip

__all__ = ["chip"]
