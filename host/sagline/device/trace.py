# SPDX-License-Identifier: MIT
"""Every byte of a link with its time, kept in a text file as it happens.

A trace is ASCII lines, each ended by LF:

    # sagline trace 1
    # virtual://lr6?seed=7, sagline 0.1.0, 2026-11-25T10:00:00+00:00
    0 > \\n
    0 > @5AFE0001.1 SESSion:OPEN 1*61D2EE3A\\n
    200 < @5AFE0001.1 1,0*17E2C5E4\\n

The first line is the format and its version; other lines that begin with `#`
are for people. Every other line is one write, or one read that gave something:
microseconds on the port's clock, which never run back; `>` to the board or `<`
from it; and the bytes, in which backslash and all but printable ASCII are
escaped as in a Python string (\\n, \\r, \\t, \\\\, \\xNN).
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

from sagline.errors import UsageError
from sagline_board import __version__

HEADER = "# sagline trace 1"


@dataclass(frozen=True)
class Entry:
    """One chunk of bytes: its line in the file, when, whither ("<" or ">"), what."""

    line: int
    at_us: int
    direction: str
    data: bytes


def escape(data: bytes) -> str:
    """Return `data` as printable ASCII."""
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")


def unescape(text: str) -> bytes:
    """Return the bytes that `escape` made `text` of. Raises ValueError for other text."""
    return text.encode("ascii").decode("unicode_escape").encode("latin-1")


class Tracer:
    """Writes a trace. A disk that fills up ends the trace, not the measurement."""

    def __init__(self, path: str, address: str, now_s: Callable[[], float]) -> None:
        """Begin the file at `path`. Raises UsageError where it cannot be written."""
        self.path = path
        # Why the trace ends early, where it does.
        self.failure: str | None = None
        self._now_s = now_s
        try:
            # Never over another recording; what is no file, such as a pipe, holds none.
            mode = "w" if os.path.exists(path) and not os.path.isfile(path) else "x"
            # Open as long as the link: `close` ends it.
            self._file: IO[str] = open(  # noqa: SIM115
                path, mode, encoding="ascii", newline="\n"
            )
        except FileExistsError as error:
            raise UsageError(
                "trace_exists",
                f"There is a file {path} already; a trace is never written over one.",
                "Give --trace another name, or delete that file if you need it no more.",
            ) from error
        except OSError as error:
            raise UsageError(
                "trace_not_written",
                f"The trace cannot be written to {path}: {error.strerror}",
                "Give --trace a file in a folder that you may write to.",
            ) from error
        opened = datetime.now(UTC).isoformat(timespec="seconds")
        self._put(HEADER)
        self._put(f"# {escape(address.encode())}, sagline {__version__}, {opened}")

    def note(self, direction: str, data: bytes) -> None:
        """Write down that `data` went (">") or came ("<") now."""
        self._put(f"{self._now_s() * 1e6:.0f} {direction} {escape(data)}")

    def close(self) -> None:
        """End the file."""
        try:
            self._file.close()
        except OSError as error:
            self._fail(error)

    def _put(self, line: str) -> None:
        if self.failure is not None:
            return
        try:
            print(line, file=self._file, flush=True)
        except OSError as error:
            self._fail(error)

    def _fail(self, error: OSError) -> None:
        self.failure = self.failure or error.strerror or str(error)


def read_trace(path: str) -> list[Entry]:
    """Return the entries of the trace at `path`. Raises UsageError for what is no trace."""
    try:
        text = Path(path).read_text(encoding="ascii")
    except UnicodeError as error:
        raise _no_trace(path) from error
    except OSError as error:
        raise UsageError(
            "trace_not_read",
            f"The trace {path} cannot be read: {error.strerror}.",
            "Check the file's name.",
        ) from error
    lines = text.split("\n")
    if lines[0] != HEADER:
        raise _no_trace(path)
    if lines.pop():
        raise UsageError(
            "trace_cut",
            f"The last line of the trace {path} is cut off.",
            "Delete that line to play what comes before it.",
        )
    numbered = enumerate(lines, start=1)
    return [_entry(path, number, line) for number, line in numbered if not line.startswith("#")]


def _entry(path: str, number: int, line: str) -> Entry:
    try:
        time, direction, text = line.split(" ", 2)
        if not time.isdigit() or direction not in ("<", ">") or not text:
            raise ValueError("time, < or >, and bytes are wanted")
        return Entry(number, int(time), direction, unescape(text))
    except ValueError as error:
        raise UsageError(
            "bad_trace",
            f"Line {number} of the trace {path} is damaged: {error}.",
            "Use an undamaged copy of the file, or trace the measurement again.",
        ) from error


def _no_trace(path: str) -> UsageError:
    return UsageError(
        "no_trace",
        f"The file {path} is no trace: its first line is not {HEADER!r}.",
        "Give a file that `sagline measure --trace` has written.",
    )
