# SPDX-License-Identifier: MIT
"""Writes files that a person asked for, and none over another unless told to."""

from collections.abc import Mapping
from pathlib import Path

from sagline.errors import NotStored, UsageError


def write_files(texts: Mapping[Path, str], *, force: bool = False) -> None:
    """Write each text (UTF-8, lines as they are) to its path; the file's own folder must be there.

    Without `force` nothing is written if any of the files is there: UsageError. A file that
    cannot be written whole is taken away again: NotStored.
    """
    there = [path for path in texts if path.exists() or path.is_symlink()]
    folder = next((path for path in there if path.is_dir()), None)
    if folder is not None:
        raise UsageError(
            "out_is_folder", f"{folder} is a folder.", "Give the name of a file in it with --out."
        )
    if there and not force:
        more = f", and {len(there) - 1} more" if len(there) > 1 else ""
        raise UsageError(
            "file_exists",
            f"{there[0]} is there already{more}; nothing was written.",
            "Choose another name with --out, or overwrite with --force.",
        )
    for path, text in texts.items():
        _write(path, text, "w" if force else "x")


def make_folder(path: Path) -> None:
    """Make the folder, and those above it. Raises NotStored."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _not_written(path, error) from error


def _write(path: Path, text: str, mode: str) -> None:
    opened = False
    try:
        with path.open(mode, encoding="utf-8", newline="") as file:
            opened = True
            file.write(text)
    except OSError as error:
        if opened:
            path.unlink(missing_ok=True)
        raise _not_written(path, error) from error


def _not_written(path: Path, error: OSError) -> NotStored:
    return NotStored(
        "not_written",
        f"{path} cannot be written: {error.strerror or error}.",
        "See to its folder and the room there, or choose another place with --out.",
    )
