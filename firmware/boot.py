# SPDX-License-Identifier: MIT
"""Every gate and ARM low, and nothing else: this file runs even where main.py is skipped.

A soft reset leaves pins as they were, so a load that was on would stay on. It
must return at once: USB comes up only after it. The numbers are those of
PINS in the profile, which a test compares; importing the profile could fail.
"""

from machine import Pin

for _number in (2, 3, 4, 5, 6):
    Pin(_number, Pin.OUT, value=0)
