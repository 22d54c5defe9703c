# SPDX-License-Identifier: MIT
"""Runs the Pico's board file on MicroPython with the heap locked while it samples.

A script for MicroPython: it prints how many rows each capture gave. An
allocation while the heap is locked raises MemoryError.
"""

import sys

import micropython  # pyright: ignore[reportMissingImports]


class Pin:
    IN, OUT, PULL_UP = 0, 1, 1

    def __init__(self, number, mode=-1, pull=-1, value=-1):
        self.number = number

    def init(self, mode=-1, pull=-1, value=-1):
        pass

    def value(self, value=-1):
        return value


class StateMachine:
    """Takes everything and does nothing."""

    def __init__(self, number):
        pass

    def init(self, program, freq, out_base):
        pass

    def active(self, value):
        pass

    def put(self, word):
        pass


class Rp2:
    StateMachine = StateMachine

    class PIO:
        OUT_LOW, SHIFT_RIGHT = 2, 1

    @staticmethod
    def asm_pio(**_settings):
        return lambda function: function


class ADC:
    def __init__(self, pin):
        self.code = pin.number * 16

    def read_u16(self):
        return self.code


class WDT:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


class I2C:
    """A bus with nothing on it."""

    def __init__(self, number, sda, scl, freq, timeout):
        pass

    def writeto(self, address, data):
        raise OSError(5)


class Machine:
    WDT = WDT
    mem32 = {}
    Pin = Pin
    ADC = ADC
    I2C = I2C
    PWM = None

    @staticmethod
    def unique_id():
        return b"\x01\x02"


def locked(work, first, second):
    micropython.heap_lock()
    try:
        return work(first, second)
    finally:
        micropython.heap_unlock()


def main():
    sys.modules["machine"] = Machine  # pyright: ignore[reportArgumentType] - a class will do
    sys.modules["rp2"] = Rp2  # pyright: ignore[reportArgumentType]
    from boards.pico import PicoHardware  # pyright: ignore[reportMissingImports]

    hw = PicoHardware()
    print(hw.serial)
    capture = hw.capture
    for mask in (0, 8):
        hw.switch(mask, 1000000)
        for length_us, bin_us in ((1000, 50), (4000, 200), (5000, 5000), (12000, 12000)):
            count = locked(capture, length_us, bin_us)
            print(count % 3, count > 0, hw.rows[4] == 26 * hw.rows[3])
    try:
        locked(lambda first, second: [0] * 100, 0, 0)
    except MemoryError:
        print("the lock holds")


main()
