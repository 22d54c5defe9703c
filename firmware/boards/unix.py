# SPDX-License-Identifier: MIT
"""The firmware on MicroPython's unix port, with a simulated circuit behind a second pipe.

    micropython unix.py REQUESTS ANSWERS ADC SERIAL NULL WIDE [FOLDER]

REQUESTS and ANSWERS are named pipes to whoever simulates the circuit, ADC is
both, ads1115 or onboard, NULL and WIDE are 1 or 0. Standard input and output
are the serial line. Every request is four little-endian 32-bit integers: what, two values, 0. Every
answer is two, the clock in us and a count of rows, then the rows, five
integers each. The board's clock is the circuit's: it moves only in `capture`
and while the loop rests. In FOLDER it keeps what lasts through a reset; without one, in memory.
"""

import struct
import sys

from boards.files import FolderFiles
from boards.loop import StdioPort, serve

from sagline_board.board import Board
from sagline_board.hardware import MAX_ROWS, ROW, Hardware

SWITCH, RANGE, CAPTURE, REST, NULL = 1, 2, 3, 4, 5


class UnixHardware(Hardware):
    """Asks the circuit for counts."""

    one_shot = 1
    cold = 1
    model = "virtual-unix"

    def __init__(self, requests, answers, adc, serial, null, wide, folder):
        Hardware.__init__(self)
        if folder:
            self.files = FolderFiles(folder + "/")
        self.onboard = 1 if adc != "ads1115" else 0
        self.ads1115 = 1 if adc != "onboard" else 0
        self.null = null
        self.wide_codes = wide
        self.serial = serial
        self._requests = requests
        self._answers = answers
        self._tick = 0
        self._view = memoryview(self.rows)

    def ticks_us(self):
        return self._tick

    def switch(self, mask, longest_us):
        self._ask(SWITCH, mask, longest_us)

    def set_range(self, high):
        self._ask(RANGE, high, 0)

    def set_null(self, setting):
        self._ask(NULL, setting, 0)

    def capture(self, length_us, bin_us):
        return self._ask(CAPTURE, length_us, bin_us)

    def rest(self, wait_ms):
        """Let the circuit's clock go on while the loop has nothing to do."""
        self._ask(REST, wait_ms * 1000, 0)

    def _ask(self, what, first, second):
        self._requests.write(struct.pack("<4i", what, first, second, 0))
        self._tick, count = struct.unpack("<2i", self._read(8))
        if count > MAX_ROWS:
            raise OSError("the circuit answers more rows than there is room for")
        values = struct.unpack("<%di" % (count * ROW), self._read(count * ROW * 4))
        for index, value in enumerate(values):
            self.rows[index] = value
        return count

    def _read(self, length):
        data = b""
        while len(data) < length:
            piece = self._answers.read(length - len(data))
            if not piece:
                raise OSError("the circuit has gone")
            data += piece
        return data


def main(arguments):
    requests, answers, adc, serial, null, wide, *folder = arguments
    with open(requests, "wb") as to_circuit, open(answers, "rb") as from_circuit:
        hw = UnixHardware(
            to_circuit, from_circuit, adc, serial, int(null), int(wide), "".join(folder)
        )
        serve(Board(hw), StdioPort(), hw.rest)


if __name__ == "__main__":
    main(sys.argv[1:])
