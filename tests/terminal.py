# SPDX-License-Identifier: MIT
"""A program on a terminal of its own: a pseudo terminal that it is the leader of."""

import fcntl
import os
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from typing import Any


class Terminal:
    """`python -m sagline ARGUMENTS` with standard error, or all three streams, on a terminal.

    `redirected` is what a shell is told beside, such as "2>&-"; `script` is run in place of it.
    """

    def __init__(
        self, *arguments: str, whole: bool, redirected: str = "", script: str | None = None
    ) -> None:
        self.ours, self._theirs = os.openpty()
        fcntl.ioctl(self._theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.before = termios.tcgetattr(self._theirs)
        self.shown = ""
        program = (sys.executable, *(("-m", "sagline") if script is None else ("-c", script)))
        self.process = subprocess.Popen(
            ["/bin/sh", "-c", f'exec "$@" {redirected}', "sh", *program, *arguments],
            stdin=self._theirs if whole else subprocess.DEVNULL,
            stdout=self._theirs if whole else subprocess.PIPE,
            stderr=self._theirs,
            text=True,
            start_new_session=True,
            # The terminal's going away is told to the programs whose terminal it is.
            preexec_fn=lambda: fcntl.ioctl(2, termios.TIOCSCTTY, 0),
        )

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()
        self.hang_up()
        os.close(self._theirs)

    def until(self, holds: Callable[[str], Any], patience_s: float = 60.0) -> None:
        """Read what the program shows until `holds` of it."""
        end_s = time.monotonic() + patience_s
        while not holds(self.shown):
            assert time.monotonic() < end_s, self.shown[-2000:]
            if select.select([self.ours], [], [], 0.1)[0]:
                self.shown += os.read(self.ours, 65536).decode("utf-8", "replace")

    def ended(self) -> int:
        """Read until the program has ended; return its exit status."""
        self.until(lambda _: self.process.poll() is not None)
        self.until(lambda _: not select.select([self.ours], [], [], 0)[0])
        return self.process.returncode

    def settings(self) -> list[Any]:
        """The terminal's settings now, as `stty` shows them."""
        return termios.tcgetattr(self._theirs)

    def hang_up(self) -> None:
        """Take the terminal away, as closing its window does."""
        if self.ours >= 0:
            os.close(self.ours)
            self.ours = -1
