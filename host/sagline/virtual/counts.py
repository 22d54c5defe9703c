# SPDX-License-Identifier: MIT
"""Gives counts of a simulated circuit to a board that runs elsewhere, over two pipes.

The other end is `firmware/boards/unix.py`, which says what goes over them.
"""

import struct
import threading
from typing import BinaryIO

from sagline.virtual.address import VirtualAddress
from sagline.virtual.clock import VirtualClock
from sagline.virtual.hardware import VirtualHardware
from sagline.virtual.port import build_hardware
from sagline_board.hardware import ROW

REQUEST = struct.Struct("<4i")
SWITCH, RANGE, CAPTURE, REST, NULL = 1, 2, 3, 4, 5


class CountsServer(threading.Thread):
    """Answers requests for counts until the board closes its pipe.

    `requests` and `answers` are paths of named pipes; opening them waits for
    the board. `hardware` is the circuit that is asked.
    """

    def __init__(self, address: VirtualAddress, requests: str, answers: str) -> None:
        super().__init__(name="sagline-counts", daemon=True)
        self._clock = VirtualClock(real_pace=address.pace == "real")
        self.hardware: VirtualHardware = build_hardware(address, self._clock)
        self._paths = requests, answers

    def run(self) -> None:
        """Serve one board."""
        with open(self._paths[0], "rb") as requests, open(self._paths[1], "wb") as answers:
            while len(request := requests.read(REQUEST.size)) == REQUEST.size:
                self._answer(request, answers)

    def _answer(self, request: bytes, answers: BinaryIO) -> None:
        what, first, second, _ = REQUEST.unpack(request)
        rows = 0
        if what == SWITCH:
            self.hardware.switch(first, second)
        elif what == RANGE:
            self.hardware.set_range(first)
        elif what == CAPTURE:
            rows = self.hardware.capture(first, second)
        elif what == NULL:
            self.hardware.set_null(first)
        elif what == REST:
            self._clock.advance(first)
        else:
            raise ValueError(f"unknown request {what}")
        values = self.hardware.rows[: rows * ROW]
        answers.write(struct.pack(f"<2i{len(values)}i", self.hardware.ticks_us(), rows, *values))
        answers.flush()
