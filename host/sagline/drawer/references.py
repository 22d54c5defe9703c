# SPDX-License-Identifier: MIT
"""The user's own reference of each designation: a run in the log that others are put beside.

A file of its own beside the drawers, for a reference outlives them. A run of a
simulated rig is a reference for such runs alone, so there are two files.
"""

import json
import os
from pathlib import Path

from sagline.errors import NotStored, UsageError
from sagline.places import find_places


def file_of(*, simulated: bool) -> Path:
    """Return the file of the references for such runs."""
    return find_places().drawers / ("demo-references.json" if simulated else "references.json")


def read(*, simulated: bool) -> dict[str, str]:
    """Return the record's id of each designation's reference. Raises UsageError where damaged."""
    path = file_of(simulated=simulated)
    try:
        found = json.loads(path.read_bytes())
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise _damaged(path) from error
    if not isinstance(found, dict) or not all(isinstance(one, str) for one in found.values()):
        raise _damaged(path)
    return found


def put(designation: str, record_id: str | None, *, simulated: bool) -> str | None:
    """Make a run the reference of its designation, or with None have none; return the one before.

    Raises NotStored, UsageError.
    """
    path = file_of(simulated=simulated)
    known = read(simulated=simulated)
    before = known.pop(designation, None)
    if record_id is not None:
        known[designation] = record_id
    beside = path.with_name(f"{path.name}.new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(beside, "w", encoding="utf-8") as file:
            file.write(json.dumps(known, indent=2, sort_keys=True) + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except OSError as error:
        raise NotStored(
            "references_not_written",
            f"The references {path} cannot be written: {error.strerror}.",
            "See to its drive and folder.",
        ) from error
    return before


def _damaged(path: Path) -> UsageError:
    return UsageError(
        "references_damaged",
        f"The references {path} cannot be read.",
        "Mend or remove the file; the runs themselves are in the log.",
    )
