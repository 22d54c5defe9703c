# SPDX-License-Identifier: MIT
"""The edge to standard output and standard error: closed, full, or of a small alphabet."""

import codecs
import errno
import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO, cast

from sagline.errors import UsageError

_PLAIN = {
    "Ω": "ohm", "µ": "u", "−": "-", "±": "+/-", "²": "^2", "∞": "infinite", "°": "deg ", "…": "...",
}  # fmt: skip
"""What is written for a character that the output's encoding lacks."""

_HANDLER = "sagline-plain"


def _plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(_PLAIN.get(character, "?") for character in lacking), error.end


def prepare() -> None:
    """Make the standard streams bear whatever is written, before anything else is opened.

    A descriptor that came closed would be given to the next file or port to be opened, and
    would send it what is meant for people. One closed for output still says so when it is
    written to.
    """
    codecs.register_error(_HANDLER, _plain)
    for descriptor, flags in ((0, os.O_RDONLY), (1, os.O_RDONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(descriptor)
        except OSError:
            # The lowest free descriptor is this one.
            os.open(os.devnull, flags)
    if sys.stdin is None:
        sys.stdin = open(0, closefd=False, encoding="utf-8")  # noqa: SIM115
    if sys.stdout is None:
        sys.stdout = open(1, "w", closefd=False, encoding="utf-8")  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = open(2, "w", closefd=False, encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_HANDLER)


def on_terminal() -> bool:
    """Whether a screen can be shown: Textual reads standard input and draws on standard
    error, on Windows on standard output."""
    return all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr))


class OutputLost(Exception):
    """Standard output does not take what is written to it; `reason` says why."""

    def __init__(self, reason: OSError) -> None:
        super().__init__(str(reason))
        self.reason = reason

    @property
    def reader_left(self) -> bool:
        """Whether whoever read it has left, and wants no more: no error of anybody's."""
        # Windows says EINVAL for a pipe without a reader.
        windows_says = os.name == "nt" and self.reason.errno == errno.EINVAL
        return isinstance(self.reason, BrokenPipeError) or windows_says

    def as_error(self) -> UsageError:
        """Return the error for people."""
        if self.reason.errno == errno.EBADF:
            why, remedy = "standard output is closed", "Leave it open, or send it to a file."
        else:
            why = self.reason.strerror or str(self.reason)
            remedy = "Send it to a place that takes it, then try again."
        return UsageError("output_not_written", f"Could not write the output: {why}.", remedy)


class _Output:
    """A text stream whose errors are told from those of any other file: OutputLost."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        try:
            return self._stream.write(text)
        except OSError as error:
            raise self._lost(error) from error

    def flush(self) -> None:
        try:
            self._stream.flush()
        except OSError as error:
            raise self._lost(error) from error

    def _lost(self, error: OSError) -> OutputLost:
        _drop(self._stream)
        return OutputLost(error)


@contextmanager
def guarded_output() -> Iterator[None]:
    """Within, whatever standard output does not take raises OutputLost, at the end at latest."""
    before = sys.stdout
    output = _Output(before)
    sys.stdout = cast(TextIO, output)
    try:
        try:
            yield
        except SystemExit:
            # argparse ends so, having printed a help text or the version.
            output.flush()
            raise
        output.flush()
    except BaseException:
        # What was printed before goes out too; what went wrong first is what is told.
        with suppress(OutputLost):
            output.flush()
        raise
    finally:
        sys.stdout = before


def tell(text: str, end: str = "\n") -> None:
    """Write words to standard error; where nobody can be told, say nothing."""
    try:
        print(text, end=end, file=sys.stderr, flush=True)
    except OSError:
        _drop(sys.stderr)


def _drop(stream: TextIO) -> None:
    """Let what is left go nowhere, so that the end of the program does not fail by it."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
