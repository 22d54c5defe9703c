# SPDX-License-Identifier: MIT
"""Devices on a pseudo terminal: a real path for pyserial, anything at the other end."""

import os
import select
import threading
import tty
from collections.abc import Callable

from board.still import StillHardware
from sagline_board.board import Board


class PtyDevice(threading.Thread):
    """Answers whatever is written to `port` with `answer(bytes)`, until closed.

    `pull_out` closes the device's end, as pulling out the plug does.
    """

    def __init__(self, answer: Callable[[bytes], bytes]) -> None:
        super().__init__(daemon=True)
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._ours)
        tty.setraw(self._theirs)
        self.port = os.ttyname(self._theirs)
        self.got = b""
        self._answer = answer
        self._open = True
        self.start()

    def __enter__(self) -> "PtyDevice":
        return self

    def __exit__(self, *_: object) -> None:
        self.pull_out()

    def run(self) -> None:
        while self._open:
            if not select.select([self._ours], [], [], 0.02)[0]:
                continue
            data = os.read(self._ours, 4096)
            self.got += data
            reply = self._answer(data)
            if reply:
                os.write(self._ours, reply)

    def pull_out(self) -> None:
        """Close the device's end."""
        if self._open:
            self._open = False
            self.join(5.0)
            os.close(self._theirs)
            os.close(self._ours)


def board_on_a_pty() -> PtyDevice:
    """A board that answers, its clock standing still between requests."""
    board = Board(StillHardware())

    def answer(data: bytes) -> bytes:
        board.receive(data)
        board.poll()
        return board.take_output()

    return PtyDevice(answer)
