# SPDX-License-Identifier: MIT
"""replay://FILE: a port that plays a trace.

The recorded bytes come when the recorded request does. A request that differs
from the recorded one ends it with an error: nothing is made up.
"""

from typing import Any
from urllib.parse import unquote

from serial.serialutil import PortNotOpenError, SerialBase

from sagline.device.trace import Entry, escape, read_trace
from sagline.errors import SaglineError

SCHEME = "replay://"
# As much of a line as an error shows.
_MOST_SHOWN = 60


class ReplayEnded(SaglineError):
    """What is asked is not what the trace holds, or the trace has ended."""

    exit_status = 2


class ReplayPort(SerialBase):
    """pyserial's interface to a trace; the clock shows the recorded times."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.is_open = False
        self._entries: list[Entry] = []
        self._at = 0
        self._pending = b""
        self._now_s = 0.0
        self._failed: ReplayEnded | None = None
        # The host names its session; to ask the same it must use the recorded name.
        self.session: str | None = None
        self.clock = self
        super().__init__(*args, **kwargs)

    def open(self) -> None:
        """Read the trace that the address names. Raises UsageError for what is none."""
        self.path = unquote(str(self.port).removeprefix(SCHEME))
        self._entries = read_trace(self.path)
        self.session = _session_of(self._entries)
        self._at, self._pending, self._failed = 0, b"", None
        self.is_open = True

    def close(self) -> None:
        """Close the port."""
        self.is_open = False

    def now_s(self) -> float:
        """Return seconds: recorded time as far as the trace has been played."""
        return self._now_s

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass."""
        self._now_s += seconds

    @property
    def in_waiting(self) -> int:
        """How many bytes can be read at once."""
        self._fill()
        return len(self._pending)

    def write(self, b: Any, /) -> int:
        """Go on to what follows the recorded request. Raises ReplayEnded where `b` is another."""
        self._require_open()
        data = bytes(b)
        # The first difference is the one to know; what follows from it is not.
        self._failed = self._failed or self._difference(data)
        if self._failed is not None:
            raise self._failed
        self._pass(self._entries[self._at])
        return len(data)

    def read(self, size: int = 1, /) -> bytes:
        """Return recorded bytes; none, and the timeout has passed, where a request comes next."""
        self._require_open()
        self._fill()
        if not self._pending:
            self._now_s += self.timeout or 0.0
        data, self._pending = self._pending[:size], self._pending[size:]
        return data

    def reset_input_buffer(self) -> None:
        """Forget what was not read."""
        self._fill()
        self._pending = b""

    def flush(self) -> None:
        """Nothing is held back."""

    def _fill(self) -> None:
        while self._at < len(self._entries) and self._entries[self._at].direction == "<":
            self._pending += self._entries[self._at].data
            self._pass(self._entries[self._at])

    def _pass(self, entry: Entry) -> None:
        self._at += 1
        self._now_s = max(self._now_s, entry.at_us * 1e-6)

    def _difference(self, data: bytes) -> ReplayEnded | None:
        if self._at >= len(self._entries):
            return ReplayEnded(
                "trace_ended",
                f"The trace {self.path} ends before {_shown(data)} is asked.",
                "The recording stopped there, or less was measured.",
            )
        entry = self._entries[self._at]
        if entry.direction == ">" and entry.data == data:
            return None
        said = "holds" if entry.direction == ">" else "holds the board's"
        return ReplayEnded(
            "trace_differs",
            f"Line {entry.line} of the trace {self.path} {said} {_shown(entry.data)}, "
            f"not {_shown(data)}.",
            "Replay with the same command and options, and the same version of sagline.",
        )

    def _require_open(self) -> None:
        if not self.is_open:
            raise PortNotOpenError()

    def _reconfigure_port(self) -> None:
        """Nothing to configure: bytes have no speed here."""


def _shown(data: bytes) -> str:
    text = escape(data.strip())
    return text if len(text) <= _MOST_SHOWN else text[:_MOST_SHOWN] + "…"


def _session_of(entries: list[Entry]) -> str | None:
    for entry in entries:
        if entry.direction == ">" and entry.data.startswith(b"@"):
            return entry.data[1:].partition(b".")[0].decode("latin-1")
    return None
