# SPDX-License-Identifier: MIT
"""The chip's watchdog, on while a load is on and at no other time.

A board whose loop hangs in a pulse starts anew, all its pins released, whatever else has failed.
MicroPython can start the watchdog and not stop it, and one left on would restart a board in the
middle of writing its files: so it is stopped by its enable bit (RP2040 data sheet 4.7.6, RP2350
12.9.7; both have aliases that clear single bits, 2.1.2 and 2.1.3).
"""

from machine import WDT, mem32

from sagline_board.profile import WATCHDOG_CTRL, WATCHDOG_ENABLE

TIMEOUT_MS = 1000
_CLEAR = 0x3000
# Why the chip has started, from CTRL: bit 0 says that the watchdog's time was up. It stays until
# the next reset, and so do the scratch registers, of which MicroPython's WDT marks the fourth
# (pico-sdk's watchdog_enable; machine.reset leaves none; from memory).
_REASON = 0x08
_SCRATCH4 = 0x1C
_MARK = 0x6AB73121


class Watchdog:
    """Started with a pulse, fed by the loop, stopped with it. Of a chip that is not known, where it
    could not be stopped, it is left alone."""

    def __init__(self, board_name):
        self._ctrl = 0
        for chip in WATCHDOG_CTRL:
            if chip in board_name:
                self._ctrl = WATCHDOG_CTRL[chip]
        self._timer = None

    def has_struck(self):
        """Return 1 where it has started the board anew; `stop` forgets it."""
        if not self._ctrl:
            return 0
        timed_out = mem32[self._ctrl + _REASON] & 1
        return 1 if timed_out and mem32[self._ctrl + _SCRATCH4] & 0xFFFFFFFF == _MARK else 0

    def start(self):
        """Start, or start again: so much time is left from now on."""
        if self._ctrl:
            self._timer = WDT(timeout=TIMEOUT_MS)

    def feed(self):
        """So much time is left from now on, if it is on."""
        if self._timer is not None:
            self._timer.feed()

    def stop(self):
        self._timer = None
        if self._ctrl:
            mem32[self._ctrl + _CLEAR] = WATCHDOG_ENABLE
            # Whatever starts the board next is not this.
            mem32[self._ctrl + _SCRATCH4] = 0
