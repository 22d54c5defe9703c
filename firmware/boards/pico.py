# SPDX-License-Identifier: MIT
"""The board on a Raspberry Pi Pico or Pico 2: on-board converter, plain loop, one to four loads.

There is no hardware one-shot here: a pulse ends because this loop ends it, so
the handshake says `one_shot` 0 and the host keeps away from cells that could
do harm meanwhile. The loop toggles ARM; if it stops, the circuit lets go of
ARM by itself.
"""

import binascii
import sys
import time

import machine
from boards.loop import StdioPort, serve
from machine import ADC, Pin

from sagline_board import ticks
from sagline_board.board import Board
from sagline_board.hardware import ROW, Hardware
from sagline_board.profile import LOADS, ONBOARD, PINS

# Ctrl-C works before the firmware starts, for whoever needs the board back.
START_DELAY_MS = 1500


def make_safe():
    """Drive every gate and ARM low."""
    for number in PINS["gates"]:
        Pin(number, Pin.OUT, value=0)
    Pin(PINS["arm"], Pin.OUT, value=0)


class PicoHardware(Hardware):
    """Gates, range switch and the on-board converter."""

    def __init__(self):
        Hardware.__init__(self)
        make_safe()
        self._gates = [Pin(number, Pin.OUT, value=0) for number in PINS["gates"][: len(LOADS)]]
        self._arm = Pin(PINS["arm"], Pin.OUT, value=0)
        self._range = Pin(PINS["range"], Pin.OUT, value=1)
        Pin(PINS["smps"], Pin.OUT, value=1)
        # Given the pin, not the channel: only then is its pad set up for the converter.
        self._adc = [ADC(Pin(number)) for number in PINS["adc"]]
        self._mask = 0
        self._off_tick = 0
        self.model = "pico-2" if "RP2350" in sys.implementation._machine else "pico"
        self.serial = binascii.hexlify(machine.unique_id()).decode()

    def ticks_us(self):
        return time.ticks_us()

    def switch(self, mask, longest_us):
        try:
            for index, gate in enumerate(self._gates):
                gate.value(1 if mask & (1 << index) else 0)
            self._arm.value(1 if mask else 0)
            self._mask = mask
            self._off_tick = ticks.add(time.ticks_us(), longest_us)
        except BaseException:
            make_safe()
            raise

    def set_range(self, high):
        self._range.value(1 if high else 0)

    def capture(self, length_us, bin_us):
        try:
            return self._capture(length_us, bin_us)
        except BaseException:
            make_safe()
            self._mask = 0
            raise

    def _capture(self, length_us, bin_us):
        sense, force, back = self._adc
        ticks_us = time.ticks_us
        rows = self.rows
        at = ticks_us()
        end = ticks.add(at, length_us)
        row = 0
        while True:
            left_us = ticks.diff(end, at)
            if left_us <= 0:
                return row // ROW
            bin_end = ticks.add(at, bin_us if bin_us < left_us else left_us)
            n = 0
            sense_total = force_total = back_total = 0
            now = at
            while n == 0 or ticks.diff(bin_end, now) > 0:
                # read_u16 stretches the 12 bits to 16; the upper twelve are the code.
                sense_total += sense.read_u16() >> 4
                force_total += force.read_u16() >> 4
                back_total += back.read_u16() >> 4
                n += 1
                now = ticks_us()
            for channel, total in enumerate((sense_total, force_total, back_total)):
                rows[row] = ONBOARD * 4 + channel
                # The stubs have a type of their own for ticks.
                rows[row + 1] = at  # pyright: ignore[reportCallIssue, reportArgumentType]
                rows[row + 2] = ticks.diff(now, at)
                rows[row + 3] = n
                rows[row + 4] = total
                row += ROW
            at = now
            if self._mask:
                self._keep_armed(now)

    def _keep_armed(self, now):
        """Toggle ARM, which the circuit takes for a sign of life; off when the time is up."""
        if ticks.diff(now, self._off_tick) >= 0:
            self.switch(0, 0)
        else:
            self._arm.value(0)
            self._arm.value(1)


def start():
    """Run the firmware until Ctrl-C, unless the jumper says not to."""
    make_safe()
    if not Pin(PINS["jumper"], Pin.IN, Pin.PULL_UP).value():
        return
    time.sleep_ms(START_DELAY_MS)
    try:
        serve(Board(PicoHardware()), StdioPort(), lambda _ms: None)
    except Exception as error:
        make_safe()
        sys.print_exception(error)
        machine.reset()
    finally:
        make_safe()
