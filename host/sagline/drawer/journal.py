# SPDX-License-Identifier: MIT
"""A drawer's file: one event a line, on the disk before anybody is told of it.

Lines are added and never changed, so a crash costs at most the line that was being written; a
last line that was cut off is left out when the file is read, and taken away when it is written to.
"""

import os
import re
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from pydantic import ValidationError

from sagline.drawer.events import READER, Event, Opened
from sagline.drawer.state import Drawer, drawer_of
from sagline.errors import NotStored, UsageError
from sagline.places import find_places

SUFFIX = ".jsonl"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")


class Journal:
    """The events of one drawer, those in its file and those that are added."""

    def __init__(self, path: Path, events: Sequence[Event]) -> None:
        self.path = path
        self.events = list(events)

    @property
    def name(self) -> str:
        """The drawer's name."""
        return self.path.name.removesuffix(SUFFIX)

    @property
    def drawer(self) -> Drawer:
        """The drawer as the events make it."""
        return drawer_of(self.events)

    def add(self, *events: Event) -> Drawer:
        """Write the events, all on the disk when this returns; return the drawer they make.

        Raises NotStored where they cannot be written: nothing has changed then.
        """
        # What makes no drawer is not written.
        drawer = drawer_of([*self.events, *events])
        text = "".join(f"{one.model_dump_json(by_alias=True)}\n" for one in events)
        try:
            _append(self.path, text.encode())
        except OSError as error:
            raise NotStored(
                "drawer_not_written",
                f"The drawer's file {self.path} cannot be written: {error.strerror}.",
                "See to its drive and folder; what was measured is in the log.",
            ) from error
        self.events += events
        return drawer


def folder() -> Path:
    """Return the folder of all drawers."""
    return find_places().drawers


def names() -> list[str]:
    """Return the names of the drawers there are, the one that was used last at the end."""
    found = [path for path in folder().glob(f"*{SUFFIX}") if path.is_file()]
    return [path.name.removesuffix(SUFFIX) for path in sorted(found, key=_used)]


def create(name: str | None, opened: Opened) -> Journal:
    """Begin a drawer; without a name it gets that of the moment. Raises UsageError, NotStored."""
    name = name or _moment_name(opened.at)
    path = _path(name)
    if path.exists():
        raise UsageError(
            "drawer_exists",
            f"There is a drawer {name!r} already.",
            f"Go on with it (--resume {name}), or choose another --name.",
        )
    journal = Journal(path, [])
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotStored(
            "drawer_not_written",
            f"The folder {path.parent} cannot be made: {error.strerror}.",
            "See to its drive, or set SAGLINE_HOME.",
        ) from error
    journal.add(opened)
    return journal


def read(name: str) -> Journal:
    """Return the drawer of this name. Raises UsageError where there is none or it is damaged."""
    path = _path(name)
    try:
        lines = path.read_bytes().split(b"\n")
    except FileNotFoundError:
        known = ", ".join(names()) or "none yet"
        raise UsageError(
            "no_drawer", f"There is no drawer {name!r}.", f"There are: {known}."
        ) from None
    except OSError as error:
        raise UsageError(
            "no_drawer", f"The drawer {path} cannot be read: {error.strerror}.", "See to its drive."
        ) from error
    events: list[Event] = []
    # What stands behind the last line's end was cut off.
    for number, line in enumerate(lines[:-1], 1):
        try:
            events.append(READER.validate_json(line))
        except ValidationError:
            raise _damaged(path, number) from None
    try:
        drawer_of(events)
    except ValueError:
        raise _damaged(path, 1) from None
    return Journal(path, events)


def _damaged(path: Path, number: int) -> UsageError:
    return UsageError(
        "drawer_damaged",
        f"Line {number} of the drawer {path} is none that this sagline knows.",
        "Keep the file; the runs are in the log. Begin a new drawer.",
    )


def _append(path: Path, data: bytes) -> None:
    """Add whole lines; where that fails, leave the file as it was."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
    try:
        end = _end_of_lines(descriptor)
        os.ftruncate(descriptor, end)
        os.lseek(descriptor, end, os.SEEK_SET)
        try:
            while data:
                data = data[os.write(descriptor, data) :]
            os.fsync(descriptor)
        except BaseException:
            with suppress(OSError):
                os.ftruncate(descriptor, end)
            raise
    finally:
        os.close(descriptor)


def _end_of_lines(descriptor: int) -> int:
    os.lseek(descriptor, 0, os.SEEK_SET)
    whole = b""
    while part := os.read(descriptor, 1 << 16):
        whole += part
    return whole.rfind(b"\n") + 1


def _path(name: str) -> Path:
    if not _NAME.fullmatch(name):
        raise UsageError(
            "bad_name",
            f"{name!r} cannot be a drawer's name.",
            "Use up to 64 letters a-z, A-Z, digits, - and _, beginning with a letter or digit.",
        )
    return folder() / f"{name}{SUFFIX}"


def _moment_name(at: datetime) -> str:
    stem = f"{at.astimezone():%Y-%m-%d-%H%M}"
    taken = set(names())
    numbers = ("", *(f"-{number}" for number in range(2, len(taken) + 3)))
    return next(name for number in numbers if (name := f"{stem}{number}") not in taken)


def _used(path: Path) -> tuple[float, str]:
    try:
        return path.stat().st_mtime, path.name
    except OSError:
        return 0.0, path.name
