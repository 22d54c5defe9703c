# SPDX-License-Identifier: MIT
"""A TOML file that people write, and errors that name its file and line."""

import re
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sagline.errors import UsageError

_AT = re.compile(r" \(at (?:line (?P<line>\d+), column \d+|end of document)\)$")
# What tomllib raises: ValueError also for a number of too many digits.
_NOT_TOML = (ValueError, RecursionError)


@dataclass(frozen=True)
class TomlFile:
    """The text of a TOML file and the tables in it."""

    path: Path
    text: str
    document: dict[str, Any]

    def wrong(self, keys: Sequence[str], message: str, remedy: str) -> UsageError:
        """Return the error that says what is wrong with the value at `keys`, and on which line."""
        line = line_of(self.text, keys)
        return UsageError("bad_file", f"{self.path}, line {line}: {message}", remedy)


def read_toml(path: Path) -> TomlFile:
    """Return the file at `path`.

    Raises UsageError where it is missing, no plain file, not UTF-8, or not TOML.
    """
    text = _text(path)
    try:
        return TomlFile(path, text, tomllib.loads(text))
    except _NOT_TOML as error:
        where = _AT.search(str(error))
        if where is None:
            line, said = _last_complete(text) + 1, "a value is too long or nested too deeply"
        else:
            line, said = int(where["line"] or _end(text)), _AT.sub("", str(error))
        raise UsageError(
            "bad_file",
            f"{path}, line {line}: this is not TOML: {said}.",
            'Correct that line. Text stands in quotes: operator = "A. Volta".',
        ) from error


def _text(path: Path) -> str:
    try:
        # Opening a pipe would wait for whoever writes to it.
        if path.exists() and not path.is_file():
            what = "a folder" if path.is_dir() else "no plain file"
            raise UsageError(
                "bad_file", f"{path} is {what}.", "Move it away; a text file belongs there."
            )
        raw = path.read_bytes()
    except OSError as error:
        if path.is_symlink() and not path.exists():
            said = "it is a link that leads nowhere"
        else:
            said = error.strerror or str(error)
        raise UsageError(
            "bad_file", f"{path} cannot be read: {said}.", "Put it right, or remove it."
        ) from error
    try:
        # Some editors on Windows begin a file with a mark that is no part of the text.
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise UsageError(
            "bad_file",
            f"{path}, line {line}: this is not UTF-8 text.",
            "Save the file as UTF-8.",
        ) from error


def line_of(text: str, keys: Sequence[str]) -> int:
    """Return the line, from 1, of the statement that brings in the value at `keys`; 1 if none.

    A statement begins right after the one before it is complete.
    """
    before = 0
    for line, found in _complete(text):
        if _holds(found, keys):
            return before + 1
        before = line
    return 1


def _complete(text: str) -> Iterator[tuple[int, Any]]:
    """Yield the lines at whose end a statement is complete, with what the text holds so far.

    The text up to such a line's end is TOML itself; within a value of several lines it is not.
    """
    lines = text.split("\n")
    for count in range(1, len(lines) + 1):
        with suppress(*_NOT_TOML):
            yield count, tomllib.loads("\n".join(lines[:count]))


def _last_complete(text: str) -> int:
    return max((line for line, _ in _complete(text)), default=0)


def _end(text: str) -> int:
    return text.rstrip().count("\n") + 1


def _holds(found: Any, keys: Sequence[str]) -> bool:
    for key in keys:
        if not (isinstance(found, dict) and key in found):
            return False
        found = found[key]
    return True
