# SPDX-License-Identifier: MIT
"""Every byte of a link with its time, kept in a file and played again.

A trace is text: the line `# sagline trace 1`, then a line for each write and
each read that gave something: microseconds on the port's clock, `>` to the
board or `<` from it, and the bytes with all but printable ASCII escaped.
"""

from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

from sagline.errors import SaglineError, UsageError

HEADER = "# sagline trace 1"
REPLAY = "replay://"


def escape(data: bytes) -> str:
    """Return `data` as printable ASCII."""
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")


def unescape(text: str) -> bytes:
    """Return the bytes that `escape` made `text` of. Raises ValueError for other text."""
    return text.encode("ascii").decode("unicode_escape").encode("latin-1")


class TracedPort:
    """A port whose traffic is written down as it happens."""

    def __init__(self, port: Any, now_s: Callable[[], float], file: IO[str]) -> None:
        self._port = port
        self._now_s = now_s
        self._file = file
        print(HEADER, file=file)

    def __getattr__(self, name: str) -> Any:
        # Clock, in_waiting and whatever else the port has.
        return getattr(self._port, name)

    def write(self, data: bytes) -> int:
        self._note(">", data)
        return self._port.write(data)

    def read(self, size: int) -> bytes:
        data = self._port.read(size)
        if data:
            self._note("<", data)
        return data

    def close(self) -> None:
        try:
            self._port.close()
        finally:
            self._file.close()

    def _note(self, direction: str, data: bytes) -> None:
        print(f"{self._now_s() * 1e6:.0f} {direction} {escape(data)}", file=self._file, flush=True)


def open_trace(path: str) -> IO[str]:
    """Return the file to write a trace to. Raises UsageError where that cannot be."""
    try:
        return open(path, "w", encoding="ascii")
    except OSError as error:
        raise UsageError(
            "trace_not_written",
            f"The trace cannot be written to {path}: {error.strerror}",
            "Give --trace a file in a folder that you may write to.",
        ) from error


class ReplayEnded(SaglineError):
    """What is asked is not what the trace holds, or the trace has ended."""

    exit_status = 2


class ReplayPort:
    """A port that plays a trace: the recorded bytes come when the recorded request does."""

    timeout = 0.1

    def __init__(self, path: str) -> None:
        self._entries = read_trace(path)
        self._path = path
        self._at = 0
        self._pending = b""
        self._now_s = 0.0
        self._failed: ReplayEnded | None = None
        self.clock = self
        # The host names its session; to ask the same it must use the recorded name.
        self.session = _session_of(self._entries)

    def now_s(self) -> float:
        return self._now_s

    def wait(self, seconds: float) -> None:
        self._now_s += seconds

    @property
    def in_waiting(self) -> int:
        self._fill()
        return len(self._pending)

    def write(self, data: bytes) -> int:
        # The first difference is the one to know; what follows from it is not.
        if self._failed is None:
            self._failed = self._difference(data)
        if self._failed is not None:
            raise self._failed
        self._at += 1
        return len(data)

    def _difference(self, data: bytes) -> ReplayEnded | None:
        if self._at >= len(self._entries):
            return ReplayEnded(
                "trace_ended",
                f"The trace {self._path} ends before {escape(data)[:60]} is asked.",
                "It was cut short, or another command was traced.",
            )
        direction, recorded = self._entries[self._at]
        if direction != ">" or recorded != data:
            return ReplayEnded(
                "trace_differs",
                f"Line {self._at + 2} of {self._path} holds {escape(recorded)[:60]}, "
                f"not {escape(data)[:60]}.",
                "Replay with the same command and options, and the same version of sagline.",
            )
        return None

    def read(self, size: int) -> bytes:
        self._fill()
        if not self._pending:
            self._now_s += self.timeout
            return b""
        data, self._pending = self._pending[:size], self._pending[size:]
        return data

    def close(self) -> None:
        """Nothing is open."""

    def _fill(self) -> None:
        while self._at < len(self._entries) and self._entries[self._at][0] == "<":
            self._pending += self._entries[self._at][1]
            self._at += 1


def read_trace(path: str) -> list[tuple[str, bytes]]:
    """Return (direction, bytes) of each line. Raises UsageError for what is no trace."""
    try:
        lines = Path(path).read_text(encoding="ascii").splitlines()
    except (OSError, UnicodeError) as error:
        raise UsageError(
            "trace_not_read", f"The trace {path} cannot be read: {error}.", "Check the file's name."
        ) from error
    if not lines or lines[0] != HEADER:
        raise UsageError(
            "no_trace",
            f"{path} is no trace: its first line is not {HEADER!r}.",
            "Give a file that `sagline measure --trace` has written.",
        )
    entries = []
    for number, line in enumerate(lines[1:], start=2):
        fields = line.split(" ", 2)
        try:
            if len(fields) != 3 or not fields[0].isdigit() or fields[1] not in "<>":
                raise ValueError("not time, direction, bytes")
            entries.append((fields[1], unescape(fields[2])))
        except ValueError as error:
            raise UsageError(
                "bad_trace",
                f"Line {number} of {path} is damaged: {error}.",
                "Trace the measurement again.",
            ) from error
    return entries


def _session_of(entries: list[tuple[str, bytes]]) -> str | None:
    for direction, data in entries:
        if direction == ">" and data.startswith(b"@"):
            return data[1 : data.index(b".")].decode("ascii")
    return None
