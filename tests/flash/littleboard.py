# SPDX-License-Identifier: MIT
"""`little.py` as a board on a serial port: it starts anew when it is reset, and stays off when its
supply was cut."""

import os
import signal
import subprocess
import threading
import tty
from pathlib import Path

from interpreters import micropython

SCRIPT = Path(__file__).with_name("little.py")
IMAGE_BYTES = 128 * 4096


class LittleBoard:
    """Use as a context manager. `port` is the name of its port, `said` what it told on standard
    error: each start, each gate driven."""

    def __init__(
        self,
        image: Path,
        cut_after: int = 0,
        name: str = "Raspberry Pi Pico with RP2040",
        version: str = "1.28.0",
        watchdog: bool = False,
    ) -> None:
        self._image = image
        self._told = [str(cut_after), name, version, str(int(watchdog))]
        if not image.exists():
            image.write_bytes(b"\xff" * IMAGE_BYTES)
        self.said: list[str] = []
        self.off = threading.Event()

    def __enter__(self) -> "LittleBoard":
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._ours)
        tty.setraw(self._theirs)
        self.port = os.ttyname(self._theirs)
        self._closing = False
        self._process = self._start()
        self._watching = threading.Thread(target=self._watch)
        self._watching.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._closing = True
        self._process.kill()
        self._watching.join()
        os.close(self._ours)
        os.close(self._theirs)

    def _start(self) -> "subprocess.Popen[bytes]":
        return subprocess.Popen(
            [micropython(), "-X", "heapsize=8M", str(SCRIPT), str(self._image), *self._told],
            stdin=self._ours, stdout=self._ours, stderr=subprocess.PIPE,
        )  # fmt: skip

    def _watch(self) -> None:
        while True:
            process = self._process
            assert process.stderr is not None
            for line in process.stderr:
                self.said.append(line.decode().strip())
            if process.wait() != -signal.SIGUSR1 or self._closing:
                self.off.set()
                return
            self._process = self._start()
