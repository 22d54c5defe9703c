# SPDX-License-Identifier: MIT
# pyright: reportUndefinedVariable=false
# ruff: noqa: F821 - the instructions' names are the assembler's
"""Gate pulses that the chip itself ends: a PIO state machine counts each one at 1 MHz.

The interpreter hands over which gates and how many microseconds, in one word; from then on
nothing that it does or fails to do prolongs the pulse. To shorten one, the pins are taken
from the state machine and driven low.
"""

from machine import Pin
from rp2 import PIO, StateMachine, asm_pio

HZ = 1000000
GATES = 4
# Of a word GATES bits are the gates and the rest the count. One of 26 bits keeps the word a small
# integer, which takes no memory.
LONGEST_US = (1 << 26) - 1
# Instructions between the pins' rise and their fall, beside those that count.
_BESIDE = 3
# `mov(x, null)`, encoded (RP2040 data sheet, 3.4.8): assembling it here would take memory.
_NO_MORE = 0xA023


@asm_pio(out_init=[PIO.OUT_LOW] * GATES, out_shiftdir=PIO.SHIFT_RIGHT)
def _pulse():
    pull(block)
    out(pins, 4)
    out(x, 28)
    label("on")
    jmp(x_dec, "on")
    mov(pins, null)


class OneShot:
    """The gates from pin `first` on, as many as there are loads, GATES at most."""

    def __init__(self, first, count):
        self._first = first
        self._pins = [Pin(first + index, Pin.OUT, value=0) for index in range(count)]
        self._machine = StateMachine(0)
        self._running = False

    def start(self, mask, longest_us):
        """Turn on the gates of `mask` and no others, for `longest_us` and no longer.

        A pulse that is on ends first, some microseconds before. Raises ValueError, with nothing
        changed, for what does not fit the word.
        """
        if not _BESIDE <= longest_us <= LONGEST_US or mask >> GATES:
            raise ValueError("no such pulse")
        machine = self._machine
        if self._running:
            # A count of nothing ends the pulse that is on, if there is one.
            machine.exec(_NO_MORE)
        else:
            # Takes the pins, low, from whoever drives them.
            machine.init(_pulse, freq=HZ, out_base=self._pins[0])
            machine.active(1)
            self._running = True
        machine.put(mask | (longest_us - _BESIDE) << GATES)

    def stop(self):
        """Take the pins from the state machine and drive them low."""
        self._running = False
        for pin in self._pins:
            pin.init(Pin.OUT, value=0)
        self._machine.active(0)
