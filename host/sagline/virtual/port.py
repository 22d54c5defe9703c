# SPDX-License-Identifier: MIT
"""A serial port whose other end is the real firmware core on a virtual clock.

No thread: `write` queues bytes, `read` runs the firmware until a byte comes out
or the timeout has passed in virtual time. What passes through here is bytes;
every reply is composed by `sagline_board`. A port that was closed may be opened again: it finds
the same rig, whose board has started anew only if it lost its supply meanwhile.
"""

import errno
import os
from typing import Any

import numpy as np
from serial.serialutil import PortNotOpenError, SerialBase, SerialException

from sagline.errors import UsageError
from sagline.virtual.address import VirtualAddress, parse
from sagline.virtual.clock import VirtualClock
from sagline.virtual.hardware import SimulationBug, VirtualHardware
from sagline.virtual.meter import HandMeter
from sagline.virtual.noisyline import NoisyLine
from sagline.virtual.parts import draw_parts
from sagline.virtual.thermistor import VirtualThermistor
from sagline_board.board import Board
from sagline_board.profile import BASE, FULL, loads_of


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
    draw, noise, *_, bead = _generators(address.seed)
    build = BASE if address.build == "base" else FULL
    if address.faults.shorted >> len(loads_of(build)):
        raise UsageError(
            "bad_fault",
            "A base build has no such load.",
            f"Write mosfet_on:{loads_of(build)[0]['load_milliohm'] / 1000:g}.",
        )
    return VirtualHardware(
        address.known[address.cells[0]],
        draw_parts(draw, wide_codes=address.board == "rp2040", build=build),
        noise,
        clock,
        onboard=address.adc != "ads1115",
        ads1115=address.adc != "onboard",
        null=address.null and address.adc != "onboard",
        wide_codes=address.board == "rp2040",
        build=build,
        model=f"virtual-{address.board}",
        serial=f"{address.name}-{address.seed}",
        faults=address.faults,
        thermistor=VirtualThermistor(bead) if address.thermistor == "on" else None,
    )


def _generators(seed: int) -> list[np.random.Generator]:
    """One each for rig, noise, bytes to and from the board, meter, thermistor: none disturbs
    another."""
    return [np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(6)]


class VirtualPort(SerialBase):
    """pyserial's interface to one virtual rig."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.is_open = False
        self.powered = False
        self._alive = False
        self._built_from: str | None = None
        self._outbox = bytearray()
        self._inbox = b""
        super().__init__(*args, **kwargs)

    def open(self) -> None:
        """Build the rig named by the address, or find the one built before.

        Raises UsageError for a bad address, SerialException while the board is unplugged.
        """
        if self._built_from != self.port:
            self._build(str(self.port))
        if not self.powered:
            raise SerialException(
                errno.ENOENT, f"could not open port {self.port}: {os.strerror(errno.ENOENT)}"
            )
        self.is_open = True
        self._alive = True

    def _build(self, url: str) -> None:
        self.address = parse(url)
        self.virtual_clock = VirtualClock(real_pace=self.address.pace == "real")
        self.hardware = build_hardware(self.address, self.virtual_clock)
        _draw, _noise, to_board, from_board, meter, _bead = _generators(self.address.seed)
        self._to_board = NoisyLine(self.address.faults.rates, to_board)
        self._from_board = NoisyLine(self.address.faults.rates, from_board)
        self.meter = HandMeter(meter)
        self.board = Board(self.hardware)
        self.clock = PortClock(self)
        self.powered = True
        self._built_from = self.port

    def restart_board(self) -> None:
        """Start the firmware anew, as a reset does: loads off and taken for hot, no session."""
        self.hardware.cold = 0
        self._inbox = b""
        self.board = Board(self.hardware)

    def cut_supply(self) -> None:
        """Take the board from the host: its gates fall, and this port is dead until plugged in."""
        self.hardware.switch(0, 0)
        self.powered = False
        self._alive = False
        self._inbox = b""
        self._outbox.clear()

    def restore_supply(self) -> None:
        """Plug the board in again. A port that was open stays dead; open it anew."""
        self.restart_board()
        self.powered = True

    def close(self) -> None:
        """Close the port; a running step ends by the firmware's own rules, not here."""
        self.is_open = False

    @property
    def in_waiting(self) -> int:
        """How many bytes can be read at once."""
        self._require_open()
        if not self._alive:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return len(self._outbox)

    def write(self, b: Any, /) -> int:
        """Queue bytes for the board."""
        self._require_open()
        if not self._alive:
            raise SerialException(f"write failed: [Errno {errno.EIO}] {os.strerror(errno.EIO)}")
        data = bytes(b)
        self._inbox += self._to_board.carry(data)
        return len(data)

    def read(self, size: int = 1, /) -> bytes:
        """Return up to `size` bytes, letting the board run for up to the timeout."""
        self._require_open()
        timeout_s = 1.0 if self.timeout is None else self.timeout
        self._run_until(self.virtual_clock.now_us + round(timeout_s * 1e6), stop_at_output=True)
        if not self._alive:
            raise SerialException(
                "device reports readiness to read but returned no data "
                "(device disconnected or multiple access on port?)"
            )
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
            if stop_at_output and ((self._outbox and not self._inbox) or not self._alive):
                return
            if self._inbox:
                data, self._inbox = self._inbox, b""
                self.board.receive(data)
                self._outbox += self._from_board.carry(self.board.take_output())
                continue
            left_us = until_us - self.virtual_clock.now_us
            if left_us <= 0:
                return
            # While a step runs the poll itself takes the slice's time.
            idle_us = left_us
            if self.powered:
                idle_us = self.board.poll()
                self._outbox += self._from_board.carry(self.board.take_output())
            left_us = until_us - self.virtual_clock.now_us
            if idle_us and left_us > 0:
                self.virtual_clock.advance(min(idle_us, left_us))
            for event in self.hardware.take_port_events():
                if event == "reset":
                    self.restart_board()
                else:
                    self.cut_supply()

    def _require_open(self) -> None:
        if not self.is_open:
            raise PortNotOpenError()

    def _reconfigure_port(self) -> None:
        """Nothing to configure: bytes have no speed here."""
