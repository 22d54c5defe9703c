# SPDX-License-Identifier: MIT
"""A Pico's file system and REPL on MicroPython's unix port, for `sagline flash`.

A script for MicroPython, told an image file, after how many writes to flash the supply is cut
(0: never), the board's name, MicroPython's version there, and whether its watchdog runs. The file
system is a real LittleFS on the image; boot.py and main.py start as on a board, Ctrl-C ends in the
REPL, of which there are the raw mode and its ways in and out. The chip takes everything and does
nothing; every gate that is driven, and every write, is told on standard error.
"""

import os
import select
import sys
import time

import vfs  # pyright: ignore[reportMissingImports]

BLOCK = 4096
_real_in, _real_out = sys.stdin, sys.stdout


def die(signal):
    """End at once, without a last word or write: RESET by the firmware, KILL by the supply."""
    os.system("kill -" + signal + " $PPID")
    while True:
        time.sleep(1)


class Flash:
    """Blocks of an image; each change of one is on it before the call returns."""

    def __init__(self, image, cut_after):
        self._image = image
        self._left = cut_after

    def _change(self, at, data):
        if self._left == 1:
            # The supply goes in the middle of it.
            data = data[: len(data) // 2]
        sys.stderr.write("write\n")
        self._image.seek(at)
        self._image.write(data)
        self._image.flush()
        if self._left == 1:
            die("KILL")
        self._left -= 1

    def readblocks(self, number, into, offset=0):
        self._image.seek(number * BLOCK + offset)
        self._image.readinto(into)

    def writeblocks(self, number, data, offset=0):
        self._change(number * BLOCK + offset, data)

    def ioctl(self, op, argument):
        if op == 4:
            self._image.seek(0, 2)
            return self._image.tell() // BLOCK
        if op == 5:
            return BLOCK
        if op == 6:
            self._change(argument * BLOCK, b"\xff" * BLOCK)
        return 0


class Pin:
    IN, OUT, PULL_UP = 0, 1, 1

    def __init__(self, number, mode=-1, pull=-1, value=-1):
        self._number = number
        if value != -1:
            self.value(value)

    def init(self, mode=-1, pull=-1, value=-1):
        pass

    def value(self, value=-1):
        if value != -1 and self._number in (2, 3, 4, 5, 6):
            sys.stderr.write("pin " + str(self._number) + " " + str(value) + "\n")
        return 1


class Takes:
    """Any part of the chip that is not looked at here."""

    def __init__(self, *_args, **_named):
        pass

    def freq(self, _hertz):
        pass

    def init(self, *_args, **_named):
        pass

    def active(self, _value):
        pass

    def put(self, _word):
        pass

    def feed(self):
        pass

    def read_u16(self):
        return 16000


class Bus(Takes):
    """With nobody on it."""

    def writeto(self, *_args):
        raise OSError(5)

    readfrom_into = writeto


class Registers:
    def __init__(self):
        self._set = {}

    def __getitem__(self, address):
        return self._set.get(address, 0)

    def preset(self, address, value):
        self._set[address] = value

    def __setitem__(self, address, value):
        pass


class Machine:
    Pin, ADC, I2C, PWM, WDT = Pin, Takes, Bus, Takes, Takes
    mem32 = Registers()

    @staticmethod
    def freq():
        return 125000000

    @staticmethod
    def unique_id():
        return b"\x0a\x0b"

    @staticmethod
    def reset():
        die("USR1")


class Rp2:
    StateMachine = Takes

    class PIO:
        OUT_LOW, SHIFT_RIGHT = 2, 1

    @staticmethod
    def asm_pio(**_settings):
        return lambda function: function


class Buffer:
    """Standard input; Ctrl-C in it interrupts what runs."""

    @staticmethod
    def read(_count):
        byte = _real_in.buffer.read(1)
        if byte == b"\x03":
            raise KeyboardInterrupt
        return byte


class Stdin:
    buffer = Buffer


class System:
    class implementation:
        name, version, _machine = "micropython", (1, 28, 0), "Raspberry Pi Pico with RP2040"
        _mpy = sys.implementation._mpy  # pyright: ignore[reportAttributeAccessIssue]

    stdin, stdout, path, modules = Stdin, _real_out, sys.path, sys.modules
    stderr = sys.stderr
    print_exception = sys.print_exception  # pyright: ignore[reportAttributeAccessIssue]


class Poll:
    def __init__(self):
        self._poll = select.poll()

    def register(self, what, events):
        self._poll.register(_real_in if what is Stdin else what, events)

    def poll(self, wait_ms):
        return self._poll.poll(wait_ms)


class Select:
    poll, POLLIN, POLLOUT = Poll, select.POLLIN, select.POLLOUT


class Clock:
    ticks_us, ticks_ms, ticks_diff = time.ticks_us, time.ticks_ms, time.ticks_diff  # pyright: ignore[reportAttributeAccessIssue]

    @staticmethod
    def sleep_ms(ms):
        pass


def start(name):
    """Run a file as a board does at its start."""
    if name not in os.listdir("/"):
        return
    with open("/" + name) as file:
        text = file.read()
    try:
        exec(text, {"__name__": "__main__"})
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
    except Exception as error:
        sys.print_exception(error, sys.stderr)  # pyright: ignore[reportAttributeAccessIssue]


def repl():
    """Raw mode, what leads in and what leads out."""
    out = _real_out.buffer
    space = {"__name__": "__main__"}
    raw = False
    code = b""
    while True:
        byte = _real_in.buffer.read(1)
        if not byte:
            return
        if byte == b"\x01":
            raw, code = True, b""
            out.write(b"raw REPL; CTRL-B to exit\r\n>")
        elif byte == b"\x02":
            raw = False
        elif byte == b"\x03":
            code = b""
        elif raw and byte == b"\x04":
            out.write(b"OK")
            try:
                exec(code.decode(), space)
                out.write(b"\x04")
            except Exception as error:
                out.write(b"\x04")
                sys.print_exception(error, _real_out)  # pyright: ignore[reportAttributeAccessIssue]
            out.write(b"\x04>")
            code = b""
        elif raw:
            code += byte


def main():
    image = open(sys.argv[1], "r+b")  # noqa: SIM115 - for as long as the board lives
    flash = Flash(image, int(sys.argv[2]))
    try:
        system = vfs.VfsLfs2(flash)
    except OSError:
        vfs.VfsLfs2.mkfs(flash)
        system = vfs.VfsLfs2(flash)
    System.implementation._machine = sys.argv[3]
    major, minor, micro = sys.argv[4].split(".")
    System.implementation.version = int(major), int(minor), int(micro)
    if sys.argv[5] == "1":
        Machine.mem32.preset(0x40058000, 1 << 30)
    vfs.umount("/")
    vfs.mount(system, "/")
    os.chdir("/")
    sys.path[:] = ["/", "/lib"]
    sys.modules.update(  # pyright: ignore[reportCallIssue]
        {"machine": Machine, "rp2": Rp2, "sys": System, "select": Select, "time": Clock}  # pyright: ignore[reportArgumentType]
    )
    sys.stderr.write("start\n")
    start("boot.py")
    start("main.py")
    repl()


main()
