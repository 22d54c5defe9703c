# SPDX-License-Identifier: MIT
"""A serial port whose other end is the real firmware core on a virtual clock.

No thread: `write` queues bytes, `read` runs the firmware until a byte comes out
or the timeout has passed in virtual time. What passes through here is bytes;
every reply is composed by `sagline_board`.
"""

from typing import Any

import numpy as np
from serial.serialutil import PortNotOpenError, SerialBase

from sagline.virtual.address import VirtualAddress, parse
from sagline.virtual.cells import CELLS
from sagline.virtual.clock import VirtualClock
from sagline.virtual.hardware import SimulationBug, VirtualHardware
from sagline.virtual.parts import draw_parts
from sagline_board.board import Board


class PortClock:
    """The clock that link and procedure use: seconds, and waiting lets the board run."""

    def __init__(self, port: "VirtualPort") -> None:
        self._port = port

    def now_s(self) -> float:
        """Return virtual seconds since the port was opened."""
        return self._port.virtual_clock.now_us * 1e-6

    def wait(self, seconds: float) -> None:
        """Let `seconds` of virtual time pass."""
        self._port.run_for(round(seconds * 1e6))


def build_hardware(address: VirtualAddress, clock: VirtualClock) -> VirtualHardware:
    """Return the hardware that `address` describes; its seed draws the rig and the noise."""
    draw, noise = (np.random.default_rng(s) for s in np.random.SeedSequence(address.seed).spawn(2))
    return VirtualHardware(
        CELLS[address.name],
        draw_parts(draw, wide_codes=address.board == "rp2040"),
        noise,
        clock,
        onboard=address.adc != "ads1115",
        ads1115=address.adc != "onboard",
        model=f"virtual-{address.board}",
        serial=f"{address.name}-{address.seed}",
    )


class VirtualPort(SerialBase):
    """pyserial's interface to one virtual rig."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.is_open = False
        self._outbox = bytearray()
        self._inbox = b""
        super().__init__(*args, **kwargs)

    def open(self) -> None:
        """Build the rig named by the address. Raises UsageError for a bad one."""
        address = parse(str(self.port))
        self.virtual_clock = VirtualClock(real_pace=address.pace == "real")
        self.hardware = build_hardware(address, self.virtual_clock)
        self.board = Board(self.hardware)
        self.clock = PortClock(self)
        self.is_open = True

    def close(self) -> None:
        """Close the port; a running step ends by the firmware's own rules, not here."""
        self.is_open = False

    @property
    def in_waiting(self) -> int:
        """How many bytes can be read at once."""
        return len(self._outbox)

    def write(self, b: Any, /) -> int:
        """Queue bytes for the board."""
        self._require_open()
        data = bytes(b)
        self._inbox += data
        return len(data)

    def read(self, size: int = 1, /) -> bytes:
        """Return up to `size` bytes, letting the board run for up to the timeout."""
        self._require_open()
        timeout_s = 1.0 if self.timeout is None else self.timeout
        self._run_until(self.virtual_clock.now_us + round(timeout_s * 1e6), stop_at_output=True)
        data = bytes(self._outbox[:size])
        del self._outbox[:size]
        return data

    def reset_input_buffer(self) -> None:
        """Forget what the board has sent."""
        self._outbox.clear()

    def flush(self) -> None:
        """Nothing is held back."""

    def run_for(self, duration_us: int) -> None:
        """Let the board run for `duration_us` of virtual time."""
        self._require_open()
        self._run_until(self.virtual_clock.now_us + duration_us, stop_at_output=False)

    def _run_until(self, until_us: int, *, stop_at_output: bool) -> None:
        try:
            self._run_board(until_us, stop_at_output)
        except SimulationBug as bug:
            raise RuntimeError("the simulated rig failed") from bug.__cause__

    def _run_board(self, until_us: int, stop_at_output: bool) -> None:
        while True:
            if stop_at_output and self._outbox and not self._inbox:
                return
            if self._inbox:
                data, self._inbox = self._inbox, b""
                self.board.receive(data)
                self._outbox += self.board.take_output()
                continue
            left_us = until_us - self.virtual_clock.now_us
            if left_us <= 0:
                return
            # While a step runs the poll itself takes the slice's time.
            idle_us = self.board.poll()
            self._outbox += self.board.take_output()
            left_us = until_us - self.virtual_clock.now_us
            if idle_us and left_us > 0:
                self.virtual_clock.advance(min(idle_us, left_us))

    def _require_open(self) -> None:
        if not self.is_open:
            raise PortNotOpenError()

    def _reconfigure_port(self) -> None:
        """Nothing to configure: bytes have no speed here."""
