# SPDX-License-Identifier: MIT
"""The chip's watchdog, on while a load is on and at no other time.

A board whose loop hangs in a pulse starts anew, all its pins released, whatever else has failed.
MicroPython can start the watchdog and not stop it, and one left on would restart a board in the
middle of writing its files: so it is stopped by its enable bit (RP2040 data sheet 4.7.6, RP2350
12.9.7; both have aliases that clear single bits, 2.1.2 and 2.1.3).
"""

from machine import WDT, mem32

TIMEOUT_MS = 1000
CTRL = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
ENABLE = 1 << 30
_CLEAR = 0x3000


class Watchdog:
    """Started with a pulse, fed by the loop, stopped with it. Of a chip that is not known, where it
    could not be stopped, it is left alone."""

    def __init__(self, board_name):
        self._clear = 0
        for chip in CTRL:
            if chip in board_name:
                self._clear = CTRL[chip] + _CLEAR
        self._timer = None

    def start(self):
        """Start, or start again: so much time is left from now on."""
        if self._clear:
            self._timer = WDT(timeout=TIMEOUT_MS)

    def feed(self):
        """So much time is left from now on, if it is on."""
        if self._timer is not None:
            self._timer.feed()

    def stop(self):
        self._timer = None
        if self._clear:
            mem32[self._clear] = ENABLE
