# SPDX-License-Identifier: MIT
"""Rigs whose boards outlive the host's opening and closing, and calibrations for them."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

import numpy as np

import sagline
from bench.true_calibration import calibration_of, rig_of
from sagline.calibrations import Calibration
from sagline.device.rig import Rig
from sagline.virtual.port import VirtualPort
from sagline.virtual.server import RigServer
from sagline_board import keep

CELL = "lr6?seed=7"


def calibration(made_at: datetime | None = None, address: str = f"virtual://{CELL}") -> Calibration:
    """A new calibration of the rig that `address` draws."""
    parts, serial = rig_of(address)
    rng = np.random.default_rng(7)
    return calibration_of(parts, serial=serial, rng=rng, made_at=made_at or datetime.now(UTC))


class Bench:
    """A virtual rig that is there all the time, as a board on a desk is."""

    def __init__(self, server: RigServer) -> None:
        self._server = server
        self._going = True
        self._thread = threading.Thread(target=self._run, daemon=True)
        self.address = f"socket://127.0.0.1:{server.port}"
        self._thread.start()

    @property
    def port(self) -> VirtualPort:
        """The rig's own port, to be touched while no host has it open."""
        return self._server.rig

    def open(self, **settings) -> Rig:
        """Open the rig, as `sagline.open_rig` does."""
        return sagline.open_rig(self.address, **settings)

    def stop(self) -> None:
        """End it."""
        self._going = False
        self._thread.join(10.0)
        assert not self._thread.is_alive()

    def _run(self) -> None:
        while self._going:
            self._server.turn()


@contextmanager
def bench() -> Iterator[Bench]:
    """A rig on a desk."""
    with RigServer(CELL, 0) as server:
        there = Bench(server)
        try:
            yield there
        finally:
            there.stop()


def put(desk: Bench, *calibrations: Calibration) -> None:
    """Let the board keep them, one after the other."""
    for one in calibrations:
        with desk.open() as rig:
            rig.keep_calibration(one)


def harm(desk: Bench, slot: int) -> None:
    """Flip one bit in what a slot holds, and start the board anew."""
    files, name = desk.port.hardware.files, keep.SLOTS[slot - 1]
    content = bytearray(files.read(name, 0, files.size(name)))
    content[100] ^= 1
    files.write(name, (content,))
    desk.port.restart_board()


def lose(desk: Bench) -> None:
    """What a new file system does."""
    desk.port.hardware.files = keep.MemoryFiles()
    desk.port.restart_board()
