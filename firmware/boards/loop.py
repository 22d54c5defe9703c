# SPDX-License-Identifier: MIT
"""The loop that every board runs: bytes in, a slice of work, bytes out.

Standard input is read a byte at a time and only when it has something: longer
reads would wait for all their bytes. Output goes past the text layer, which
would turn each LF into CR LF.
"""

import select
import sys

# Input taken in one go before the step gets its turn again.
_MOST_BYTES = 256
# With nothing to do the loop looks at its input at least this often.
_IDLE_MS = 20


# Output kept for a host that does not read while a step runs; it asks again.
_MOST_KEPT = 2048


class StdioPort:
    """Standard input and output as a serial port."""

    def __init__(self):
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._room = select.poll()
        self._room.register(sys.stdout, select.POLLOUT)

    def read(self, wait_ms):
        """Return what has come within `wait_ms`, b"" for nothing, None at the end of input."""
        data = b""
        while len(data) < _MOST_BYTES and self._poll.poll(0 if data else wait_ms):
            byte = self._in.read(1)
            if not byte:
                return data or None
            data += byte
        return data

    def write(self, data):
        """Send `data`; what a host that does not read leaves over is dropped."""
        view = memoryview(data)
        while len(view):
            taken = self._out.write(view)
            if not taken:
                return
            view = view[taken:]

    def offer(self, data):
        """Send what can be taken without waiting; return the rest.

        A byte at a time: on a Pico, room means room for one, and a write of
        more would wait for the host, half a second at worst.
        """
        sent = 0
        while sent < len(data) and self._room.poll(0):
            self._out.write(data[sent : sent + 1])
            sent += 1
        return data[sent:]


def serve(board, port, rest):
    """Run `board` on `port` until its input ends, with every load off at the end.

    `rest(ms)` is told how long the loop has waited with nothing to do. While a
    step runs nothing here waits for the host.
    """
    try:
        wait_ms = 0
        output = b""
        while True:
            data = port.read(wait_ms)
            if data is None:
                return
            if data:
                board.receive(data)
            elif wait_ms:
                rest(wait_ms)
            wait_ms = min(_IDLE_MS, board.poll() // 1000)
            more = board.take_output()
            if len(output) + len(more) <= _MOST_KEPT:
                output += more
            if output and wait_ms:
                port.write(output)
                output = b""
            elif output:
                output = port.offer(output)
    finally:
        board.engine.abort()
