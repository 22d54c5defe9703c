# SPDX-License-Identifier: MIT
"""Runs the Pico with everything fitted on MicroPython, the heap locked while it samples.

A script for MicroPython: it prints what `test_pico_memory.py` expects. Chip and ADS1115 are
fakes without physics, on a clock that moves only when it is read; what they are true of is
looked at in the tests on the stand-in.
"""

import gc
import sys

import micropython  # pyright: ignore[reportMissingImports]

CODES = (1000, 1100, 300)


class Clock:
    """`time`, 40 us a look."""

    now_us = 0
    step_us = 40

    @staticmethod
    def ticks_us():
        Clock.now_us += Clock.step_us
        return Clock.now_us & 0x3FFFFFFF

    @staticmethod
    def ticks_ms():
        return Clock.now_us // 1000

    @staticmethod
    def ticks_diff(later, earlier):
        return ((later - earlier + 0x20000000) & 0x3FFFFFFF) - 0x20000000

    @staticmethod
    def sleep_ms(ms):
        Clock.now_us += ms * 1000


class Dma:
    """Codes come at 2 us each from when it was triggered; all are in the buffer already."""

    filled = False
    began_us = 0
    transfers = 0
    # The count at which the converter was stopped, -1 while it runs.
    frozen = -1

    def pack_ctrl(self, size, inc_read, treq_sel):
        return treq_sel

    def config(self, read=0, write=(), count=0, ctrl=0, trigger=False):
        if not trigger:
            return
        if not Dma.filled:
            for index in range(len(write)):
                write[index] = CODES[index % 3]  # pyright: ignore[reportIndexIssue]
            Dma.filled = True
        Dma.began_us = Clock.now_us
        Dma.transfers = count
        Dma.frozen = -1

    def active(self, value):
        return False

    @property
    def count(self):
        if Dma.frozen >= 0:
            return Dma.frozen
        Clock.now_us += Clock.step_us
        return max(0, Dma.transfers - (Clock.now_us - Dma.began_us) // 2)


class Registers:
    """mem32: the converter is always ready, its FIFO empty, its input the one whose turn it is."""

    def __getitem__(self, address):
        if address & 0xFF == 0x08:
            return 1 << 8
        return 1 << 8 | (Dma.transfers - max(0, Dma.frozen)) % 3 << 12

    def __setitem__(self, address, value):
        # The converter's alone: the watchdog has such an address too.
        if address >> 12 == 0x4004F:
            Dma.frozen = max(0, Dma.transfers - (Clock.now_us - Dma.began_us) // 2)


class Pin:
    IN, OUT, PULL_UP = 0, 1, 1

    def __init__(self, number, mode=-1, pull=-1, value=-1):
        self.number = number

    def init(self, mode=-1, pull=-1, value=-1):
        pass

    def value(self, value=-1):
        if self.number == 10:
            return 0 if Clock.now_us - I2C.began_us >= 1162 else 1
        return value


class Adc:
    def __init__(self, pin):
        pass


class Pwm:
    duty = 0

    def __init__(self, pin):
        pass

    def freq(self, hertz):
        pass

    def duty_u16(self, duty):
        Pwm.duty = duty


class I2C:
    """An ADS1115 whose inputs read 3000, its fourth what the PWM says, in codes of 62.5 uV."""

    began_us = 0
    registers = [0, 0x8583, 0x8000, 0x7FFF]
    pointer = 0

    def __init__(self, number, sda, scl, freq, timeout):
        pass

    def writeto(self, address, data):
        I2C.pointer = data[0]
        if len(data) == 3:
            I2C.registers[data[0]] = data[1] << 8 | data[2]
            if data[0] == 1 and data[1] & 0x80:
                Clock.now_us += 100
                I2C.began_us = Clock.now_us
                fourth = data[1] & 0x70 == 0x70
                I2C.registers[0] = Pwm.duty * 625 // 1024 if fourth else 3000
        return len(data)

    def readfrom_into(self, address, into):
        value = I2C.registers[I2C.pointer]
        if I2C.pointer == 1:
            value |= 0x8000
        into[0] = value >> 8
        into[1] = value & 0xFF


class WDT:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


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


class Machine:
    WDT = WDT
    Pin = Pin
    ADC = Adc
    I2C = I2C
    PWM = Pwm
    mem32 = Registers()

    @staticmethod
    def freq():
        return 125000000

    @staticmethod
    def unique_id():
        return b"\x01\x02"


class Rp2:
    DMA = Dma
    StateMachine = StateMachine

    class PIO:
        OUT_LOW, SHIFT_RIGHT = 2, 1

    @staticmethod
    def asm_pio(**_settings):
        return lambda function: function


class System:
    """`sys`, on a board."""

    class implementation:
        _machine = "Raspberry Pi Pico with RP2040"

    stdin = sys.stdin
    stdout = sys.stdout


def held():
    gc.collect()
    return gc.mem_alloc()  # pyright: ignore[reportAttributeAccessIssue]


def locked_slices(hw):
    """Print of each slice the rows, the sources, whether the sums are exact and windows whole."""
    for mask in (0, 8):
        hw.switch(mask, 60000000)
        for length_us, bin_us in ((1000, 50), (4000, 200), (5000, 5000), (12000, 12000)):
            micropython.heap_lock()
            try:
                count = hw.capture(length_us, bin_us)
            finally:
                micropython.heap_unlock()
            rows = [tuple(hw.rows[5 * i : 5 * i + 5]) for i in range(count)]
            own = [row for row in rows if row[0] < 3]
            wide = [row for row in rows if row[0] > 3]
            exact = all([row[4] == row[3] * CODES[row[0]] for row in own])
            exact = exact and all([row[3:] == (1, 3000) for row in wide])
            pieces = (length_us + 4999) // 5000
            turns = sum([row[3] for row in own]) == 3 * pieces * (length_us // pieces // 6)
            print(len(own), len(wide) > 0 or length_us < 2000, exact, turns)
    hw.switch(0, 0)


def longest_step(board):
    """Run it; return the most that was held at any time, and how many points it gave."""
    board.receive(b"STEP:SEGM 0,5000;SEGM 8,1200;SEGM 0,2000;STAR\n")
    most = 0
    polls = 0
    while board.poll() == 0:
        polls += 1
        if polls % 200 == 0:
            most = max(most, held())
    board.receive(b"STEP:STAT?;FETC? 0\n")
    return max(most, held()), board.take_output()


def main():
    for name, module in (("machine", Machine), ("rp2", Rp2), ("time", Clock), ("sys", System)):
        sys.modules[name] = module  # pyright: ignore[reportArgumentType] - a class will do
    before = held()
    from boards.pico import PicoHardware  # pyright: ignore[reportMissingImports]

    from sagline_board.board import Board

    code = held()
    hw = PicoHardware()
    print(hw.onboard, hw.ads1115, hw.null, hw.model)
    hardware = held()
    locked_slices(hw)
    board = Board(hw)
    Clock.now_us += 30000000
    board.poll()
    whole = held()
    Clock.step_us = 400
    most, state = longest_step(board)
    print(state.split(b";")[0].split(b",")[0].decode(), board.engine.sampler.count > 400)
    print(code - before, hardware - code, whole - hardware, most - whole)


main()
