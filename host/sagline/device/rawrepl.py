# SPDX-License-Identifier: MIT
"""MicroPython's raw REPL: code goes to the board, what it printed comes back.

Ctrl-C ends what runs, Ctrl-A enters; then each piece of code ends with Ctrl-D and is answered by
"OK", what it printed, Ctrl-D, what it raised, Ctrl-D and ">" (MicroPython documentation, "The
MicroPython Interactive Interpreter Mode", on raw mode).
"""

from __future__ import annotations

from contextlib import suppress

from sagline.device.clock import Clock, WallClock
from sagline.device.serialport import SafePort, open_port
from sagline.errors import LinkLost, SaglineError, WrongDevice

INTERRUPT = b"\r\x03\x03"
_ENTER, _RUN, _LEAVE = b"\r\x01", b"\x04", b"\x02"
_PROMPT = b"raw REPL; CTRL-B to exit\r\n>"
TRIES = 3
ENTER_S = 2.0
RUN_S = 20.0
# The board takes what it is sent byte by byte, and Ctrl-C among it drops what waits.
PIECE_BYTES = 256
PIECE_PAUSE_S = 0.005


class BoardRaised(SaglineError):
    """Code on the board ended in an exception; `raised` is its last line."""

    def __init__(self, raised: str) -> None:
        super().__init__(
            "board_raised",
            f"MicroPython on the board stopped at an error: {raised}",
            "Unplug the board, plug it in again and try again; if it stays so, put MicroPython on "
            "it anew",
        )
        self.raised = raised


class RawRepl:
    """A board's raw REPL on an open port; use as a context manager, which leaves the port closed.

    Whatever ran before is stopped. Raises WrongDevice where no MicroPython answers.
    """

    def __init__(self, address: str, clock: Clock | None = None) -> None:
        self._address = address
        self._clock = clock or WallClock()
        self._port = SafePort(open_port(address), address)

    def __enter__(self) -> RawRepl:
        try:
            self._enter()
        except BaseException:
            self._port.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(LinkLost):
            self._port.write(_LEAVE)
        self._port.close()

    def _enter(self) -> None:
        for _ in range(TRIES):
            self._port.write(INTERRUPT)
            self._clock.wait(0.1)
            self._port.reset_input_buffer()
            self._port.write(_ENTER)
            if self._until(_PROMPT, ENTER_S) is not None:
                return
        raise WrongDevice(
            "no_micropython",
            f"What is on {self._address} does not answer as MicroPython.",
            "If it is a Pico, hold BOOTSEL while you plug it in, then run `sagline flash` again",
        )

    def run(self, code: str) -> str:
        """Return what `code` printed. Raises BoardRaised, LinkLost after RUN_S of silence."""
        data = code.encode()
        for at in range(0, len(data), PIECE_BYTES):
            self._port.write(data[at : at + PIECE_BYTES])
            self._clock.wait(PIECE_PAUSE_S)
        self._port.write(_RUN)
        self._must(b"OK")
        printed = self._must(_RUN)
        raised = self._must(_RUN + b">").decode(errors="replace").strip()
        if raised:
            raise BoardRaised(raised.splitlines()[-1])
        return printed.decode(errors="replace")

    def send_off(self, code: str) -> None:
        """Run code that never answers, for the board starts anew."""
        with suppress(LinkLost):
            self._port.write(code.encode() + _RUN)
            self._port.flush()

    def _must(self, end: bytes) -> bytes:
        found = self._until(end, RUN_S)
        if found is None:
            raise LinkLost(
                "board_silent",
                f"The board on {self._address} stopped answering.",
                "Unplug it, plug it in again and try again",
            )
        return found

    def _until(self, end: bytes, wait_s: float) -> bytes | None:
        """What came before `end`, None where it does not come in time."""
        data = b""
        until_s = self._clock.now_s() + wait_s
        while not data.endswith(end):
            byte = self._port.read(1)
            if byte:
                data += byte
            elif self._clock.now_s() > until_s:
                return None
        return data[: -len(end)]
