# SPDX-License-Identifier: MIT
"""The history of calibrations on this computer: one file each, under its rig's serial number.

The board's own copy is the one that counts. This one is there for the day when the board has
lost it, and to see what was found before. A file here is never changed or written over.
"""

import json
import os
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote, unquote

from sagline.errors import NotStored, UsageError
from sagline.places import find_places

if TYPE_CHECKING:
    from sagline.calibrations import Calibration

_ENDING = ".json"
# Marks a calibration that was taken off its board on purpose.
_CLEARED = ".cleared"


def keep(calibration: "Calibration") -> Path:
    """Keep `calibration`; return its file. One that is kept already stays as it is.

    Raises NotStored where it cannot be written, or where another one has its id.
    """
    path = folder(calibration.rig_serial) / f"{calibration.id}{_ENDING}"
    try:
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            _write(path, json.dumps(calibration.to_dict(), indent=1) + "\n")
        path.with_suffix(_CLEARED).unlink(missing_ok=True)
    except OSError as error:
        raise NotStored(
            "calibration_not_kept",
            f"The calibration cannot be written to {path}: {error.strerror or error}.",
            "Make room or see to the folder's rights, then calibrate again or restore it from "
            "the board.",
        ) from error
    if load(path) != calibration:
        raise NotStored(
            "calibration_id_taken",
            f"Another calibration with the same id is in {path}.",
            "Nothing was written. Move that file elsewhere, if it is not wanted.",
        )
    return path


def ids(serial: str) -> list[str]:
    """Return the ids of the rig's calibrations, the newest last: an id begins with its time.

    Empty where there is none or the folder cannot be read. Opens no file.
    """
    try:
        names = os.listdir(folder(serial))
    except OSError:
        return []
    return sorted(name.removesuffix(_ENDING) for name in names if _is_ours(name))


def missed(serial: str) -> str | None:
    """Return the id of the newest calibration, which a board that has none must have lost.

    None where there is none, or where it was taken off the board on purpose.
    """
    known = ids(serial)
    if not known or (folder(serial) / f"{known[-1]}{_CLEARED}").exists():
        return None
    return known[-1]


def mark_cleared(serial: str) -> None:
    """Remember that the rig's board has no calibration because somebody wanted that."""
    known = ids(serial)
    if known:
        with suppress(OSError):  # then it is offered again, which does no harm
            (folder(serial) / f"{known[-1]}{_CLEARED}").touch()


def serials() -> list[str]:
    """Return the serial numbers of the rigs that have calibrations here."""
    try:
        folders = sorted(entry.name for entry in os.scandir(_home()) if entry.is_dir())
    except OSError:
        return []
    return [serial for serial in map(unquote, folders) if ids(serial)]


def readable(serial: str) -> "tuple[list[Calibration], list[str]]":
    """Return the rig's calibrations, the newest last, and a remark for each unreadable file."""
    found: list[Calibration] = []
    remarks: list[str] = []
    for calibration_id in ids(serial):
        try:
            found.append(get(serial, calibration_id))
        except UsageError as error:
            remarks.append(error.message)
    return found, remarks


def newest(serial: str) -> "Calibration | None":
    """Return the rig's newest calibration, None where there is none.

    Raises UsageError where its file cannot be read.
    """
    known = ids(serial)
    return get(serial, known[-1]) if known else None


def get(serial: str, calibration_id: str) -> "Calibration":
    """Return one calibration by its whole id. Raises UsageError where it is not there."""
    return load(folder(serial) / f"{calibration_id}{_ENDING}")


def find(serial: str, given: str) -> "Calibration":
    """Return the rig's calibration whose id begins or ends with `given`.

    Raises UsageError where none or several do.
    """
    text = given.strip().lower()
    meant = [one for one in ids(serial) if text and (one.startswith(text) or one.endswith(text))]
    if len(meant) != 1:
        how = "No calibration" if not meant else f"More than one calibration ({len(meant)})"
        raise UsageError(
            "no_calibration" if not meant else "several_calibrations",
            f"{how} of rig {serial} on this computer has an id with {given!r} at an end.",
            "`sagline calibrate --list` lists them.",
        )
    return get(serial, meant[0])


def load(path: Path) -> "Calibration":
    """Return the calibration in a file. Raises UsageError where it cannot be read as one."""
    from sagline.calibrations import Calibration

    try:
        return Calibration.model_validate_json(path.read_bytes())
    except OSError as error:
        what = error.strerror or str(error)
    except ValueError as error:
        what = str(error).splitlines()[0]
    raise UsageError(
        "calibration_unreadable",
        f"{path} cannot be read as a calibration: {what}.",
        "Take another one (`sagline calibrate --list`), or calibrate again.",
    )


def _home() -> Path:
    return find_places().calibrations


def folder(serial: str) -> Path:
    """Return the rig's folder; it need not exist yet."""
    # What a board calls itself must not lead out of here.
    return _home() / quote(serial, safe="").replace(".", "%2E")


def _is_ours(name: str) -> bool:
    return name.endswith(_ENDING) and not name.startswith(".")


def _write(path: Path, text: str) -> None:
    """Write the file whole or not at all, and not over another. Raises OSError."""
    number, draft = tempfile.mkstemp(prefix=".", dir=path.parent)
    try:
        with open(number, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if os.name == "nt":
            os.rename(draft, path)  # which does not write over a file there
        else:
            with suppress(FileExistsError):
                os.link(draft, path)
    finally:
        with suppress(OSError):
            os.unlink(draft)
