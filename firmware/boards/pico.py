# SPDX-License-Identifier: MIT
"""The board on a Raspberry Pi Pico or Pico 2: both converters, the null channel, one to four loads.

A gate pulse ends because this loop ends it, and where the loop does not come to
it, because the chip's own state machine does, a little later (oneshot.py). The
loop toggles ARM, whose pump holds the bank's common switch; if the loop stops,
the circuit lets go by itself as well, and the watchdog starts the board anew.

It names the front ends that it has found at its start, and no others. The
on-board converter is read through its FIFO, in a plain loop where the chip or
its DMA cannot be had.
"""

import binascii
import gc
import sys
import time

import machine
from boards.ads1115 import BUS_HZ, BUS_TIMEOUT_US, find_ads1115, use_null
from boards.fifo import open_fifo
from boards.files import FolderFiles
from boards.loop import StdioPort, serve
from boards.nullpwm import NullPwm, find_null
from boards.oneshot import OneShot
from boards.thermistor import find_thermistor
from boards.watchdog import Watchdog
from machine import ADC, I2C, PWM, Pin

from sagline_board import lamp, ticks
from sagline_board.board import Board
from sagline_board.commands import ARM_ALONE
from sagline_board.hardware import ROW, Hardware
from sagline_board.profile import BASE, FULL, ONBOARD, PINS, loads_of

try:
    from rp2 import DMA
except ImportError:
    DMA = None

# Ctrl-C works before the firmware starts, for whoever needs the board back.
START_DELAY_MS = 1500
# Edges that fill ARM's pump before the first gate, so that current flows from
# the gate's edge on (simulated: 28 are enough, see hardware/verification.md).
ARM_EDGES = 64
_EIO = 5
# Where what is kept through a reset lies in the board's file system.
FOLDER = "/"


def make_safe():
    """Drive every gate and ARM low."""
    for number in PINS["gates"]:
        Pin(number, Pin.OUT, value=0)
    Pin(PINS["arm"], Pin.OUT, value=0)


class PicoHardware(Hardware):
    """Gates, range switch and the on-board converter."""

    one_shot = 1

    def __init__(self):
        Hardware.__init__(self)
        make_safe()
        self.build = FULL if Pin(PINS["build"], Pin.IN, Pin.PULL_UP).value() else BASE
        self._shot = OneShot(PINS["gates"][0], len(loads_of(self.build)))
        self._watchdog = Watchdog(sys.implementation._machine)
        self.hung = self._watchdog.has_struck()
        self._watchdog.stop()
        self._lamp = Pin("LED", Pin.OUT, value=0)
        self._lit = 0
        self._arm = Pin(PINS["arm"], Pin.OUT, value=0)
        self._range = Pin(PINS["range"], Pin.OUT, value=1)
        _steady_supply(sys.implementation._machine)
        # Given the pin, not the channel: only then is its pad set up for the converter.
        self._adc = [ADC(Pin(number)) for number in PINS["adc"]]
        self._mask = 0
        self._off_tick = 0
        self._level = 1
        self._wide = None
        self._null = None
        self._thermistor = None
        self._find_front_ends()
        # Looked up once: a method taken from an object takes memory.
        self._between_slots = self._between
        self.wide_codes = 0 if "RP2350" in sys.implementation._machine else 1
        self.model = "pico-2" if "RP2350" in sys.implementation._machine else "pico"
        self.serial = binascii.hexlify(machine.unique_id()).decode()
        self.files = FolderFiles(FOLDER)

    def _find_front_ends(self):
        self._fifo = open_fifo(machine.mem32, DMA, sys.implementation._machine)
        if self.build == BASE:
            return
        bus = I2C(0, sda=Pin(PINS["sda"]), scl=Pin(PINS["scl"]), freq=BUS_HZ,
                  timeout=BUS_TIMEOUT_US)  # fmt: skip
        self._thermistor = find_thermistor(bus)
        self.thermistor = 1 if self._thermistor is not None else 0
        # Pulled up, or a board without the converter would read whatever floats there.
        self._wide = find_ads1115(bus, Pin(PINS["ready"], Pin.IN, Pin.PULL_UP))
        if self._wide is None:
            return
        self.ads1115 = 1
        null = NullPwm(PWM(Pin(PINS["null"])), machine.freq())
        if find_null(null, self._wide):
            self.null = 1
            self._null = null
            use_null(self._wide)

    def ticks_us(self):
        return time.ticks_us()

    def read_thermistor(self):
        if self._thermistor is None:
            raise OSError(_EIO)
        return self._thermistor.read()

    def light(self, level):
        """Light the lamp, or not. Never while a step runs: `capture` finds it dark."""
        if level != self._lit:
            self._lamp.value(level)
            self._lit = level

    def switch(self, mask, longest_us):
        gates = mask & ~ARM_ALONE
        try:
            if not gates:
                self._shot.stop()
            if not mask:
                self._arm.value(0)
                self._watchdog.stop()
            elif not self._mask:
                # Better now than in the first milliseconds after the edge.
                gc.collect()
                for _ in range(ARM_EDGES // 2):
                    self._arm.value(1)
                    self._arm.value(0)
            if mask:
                self._watchdog.start()
            if self._wide is not None and mask != self._mask:
                self._wide.spoil()
            self._mask = mask
            self._off_tick = ticks.add(time.ticks_us(), longest_us)
            if gates:
                self._shot.start(gates, longest_us)
        except BaseException:
            self._let_go()
            raise

    def _let_go(self):
        """Gates and ARM low before anything else: the pins taken from whoever drives them."""
        make_safe()
        self._mask = 0
        self._shot.stop()
        self._watchdog.stop()

    def set_range(self, high):
        if self._wide is not None:
            self._wide.spoil()
        self._range.value(1 if high else 0)

    def set_null(self, setting):
        if self._wide is not None and self._null is not None:
            self._wide.spoil()
            self._null.set(setting)

    def capture(self, length_us, bin_us):
        try:
            return self._capture(length_us, bin_us)
        except BaseException:
            self._let_go()
            raise

    def _capture(self, length_us, bin_us):
        self._watchdog.feed()
        if self._lit:
            self.light(0)
        # Nothing below allocates, so that no collection falls into a slice.
        wide = self._wide
        if wide is not None:
            wide.resume()
        if self._fifo is not None:
            return self._fifo.capture(self.rows, length_us, bin_us, self._between_slots) // ROW
        sense, force, back = self._adc
        arm = self._arm
        ticks_us = time.ticks_us
        ticks_diff = time.ticks_diff
        start = ticks_us()
        row = 0
        level = 1
        while True:
            at = ticks_us()
            left_us = length_us - ticks_diff(at, start)
            if left_us <= 0:
                return row // ROW
            wanted_us = bin_us if bin_us < left_us else left_us
            lasted_us = n = 0
            sense_total = force_total = back_total = 0
            armed = self._mask
            # A window ends where the ADS1115 wants the bus: conversions in one follow each other.
            while n == 0 or (lasted_us < wanted_us and not (wide and wide.ready())):
                # read_u16 stretches the 12 bits to 16; the upper twelve are the code.
                sense_total += sense.read_u16() >> 4
                force_total += force.read_u16() >> 4
                back_total += back.read_u16() >> 4
                lasted_us = ticks_diff(ticks_us(), at)
                n += 1
                if armed:
                    arm.value(level)
                    level = 1 - level
            # The channels take turns, so each has a window of its own, a
            # conversion later than the one before: its middle is the mean time.
            turn_us = lasted_us // (3 * n)
            own_us = lasted_us - 2 * turn_us
            self._put(row, 0, at, own_us, n, sense_total)
            self._put(row + ROW, 1, ticks.add(at, turn_us), own_us, n, force_total)
            self._put(row + 2 * ROW, 2, ticks.add(at, 2 * turn_us), own_us, n, back_total)
            row += 3 * ROW
            if wide is not None:
                row = wide.poll(self.rows, row)
            if self._mask and ticks.diff(ticks_us(), self._off_tick) >= 0:
                self.switch(0, 0)

    def _between(self, row):
        """Keep ARM up, end a pulse that is due, take what the ADS1115 has; return the next row."""
        if self._mask:
            self._arm.value(self._level)
            self._level = 1 - self._level
            if ticks.diff(time.ticks_us(), self._off_tick) >= 0:
                self.switch(0, 0)
        if self._wide is not None:
            row = self._wide.poll(self.rows, row)
        return row

    def _put(self, row, channel, at, length_us, n, total):
        rows = self.rows
        rows[row] = ONBOARD * 4 + channel
        rows[row + 1] = at
        rows[row + 2] = length_us
        rows[row + 3] = n
        rows[row + 4] = total


def _steady_supply(board_name):
    """Hold the Pico's supply in PWM mode, so that its ripple does not follow the load.

    Where there is a radio the chip's own pin switches the radio on, and the
    supply's mode hangs on the radio chip.
    """
    if " W " in board_name:
        Pin("WL_GPIO1", Pin.OUT, value=1)
    else:
        Pin(PINS["smps"], Pin.OUT, value=1)


class Shown:
    """The lamp of a board at rest; the loop calls it where it has waited."""

    def __init__(self, board, hw):
        self._board = board
        self._hw = hw
        self._state = None
        self._began_ms = 0

    def __call__(self, _waited_ms):
        reason = self._board.engine.guard.reason
        state = (lamp.state_of(self._board), reason)
        now_ms = time.ticks_ms()
        if state != self._state:
            self._state = state
            self._began_ms = now_ms
        at_ms = time.ticks_diff(now_ms, self._began_ms)
        self._hw.light(lamp.level(lamp.pattern_of(state[0], reason), at_ms))


def start():
    """Run the firmware until Ctrl-C, unless the jumper says not to."""
    make_safe()
    if not Pin(PINS["jumper"], Pin.IN, Pin.PULL_UP).value():
        return
    Pin("LED", Pin.OUT, value=1)
    time.sleep_ms(START_DELAY_MS)
    try:
        hw = PicoHardware()
        board = Board(hw)
        serve(board, StdioPort(), Shown(board, hw))
    except Exception as error:
        make_safe()
        sys.print_exception(error)
        machine.reset()
    finally:
        make_safe()
        Pin("LED", Pin.OUT, value=0)
