# SPDX-License-Identifier: MIT
"""The control chart of a rig's check standard: one JSON line a check, added and never changed."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from sagline import calibrationstore
from sagline.errors import NotStored, UsageError

CHECK_SCHEMA = "sagline-check-1"


def path_of(serial: str) -> Path:
    """Return the rig's chart; it need not exist yet."""
    return calibrationstore.folder(serial) / "checks.jsonl"


def read(serial: str) -> list[dict[str, Any]]:
    """Return the checks, the oldest first; none where there is no chart.

    A last line that was cut off is left out. Raises UsageError for a chart that cannot be read.
    """
    path = path_of(serial)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return []
    except (OSError, ValueError) as error:
        raise _unreadable(path, str(error)) from error
    checks: list[dict[str, Any]] = []
    for number, line in enumerate(text.split("\n")[:-1], start=1):
        try:
            check = json.loads(line)
            if check["schema"] != CHECK_SCHEMA:
                continue
            float(check["rel"])
            checks.append(check)
        except (ValueError, KeyError, TypeError) as error:
            raise _unreadable(path, f"line {number}: {error!r}") from error
    return checks


def earlier(serial: str, like: dict[str, Any]) -> list[float]:
    """Return the deviations of checks of the same resistor, load, range and front end.

    Those of another scale are of another chart: deviations from the resistor change with it.
    """
    keys = ("resistor_ohm", "load_ohm", "range_high", "front_end", "scale_k")
    return [
        float(check["rel"])
        for check in read(serial)
        if all(check.get(key) == like[key] for key in keys)
    ]


def append(serial: str, at: datetime, check: dict[str, Any]) -> Path:
    """Add a check; return the chart's file. Raises NotStored."""
    path = path_of(serial)
    line = json.dumps({"schema": CHECK_SCHEMA, "at": at.isoformat(), **check})
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("ab+") as file:
            # What an earlier write left half done is no check.
            file.seek(0)
            whole = file.read().rfind(b"\n") + 1
            file.truncate(whole)
            file.write(line.encode() + b"\n")
    except OSError as error:
        raise NotStored(
            "check_not_kept",
            f"The check cannot be added to {path}: {error.strerror or error}.",
            "Make room or see to the folder's rights, then check again.",
        ) from error
    return path


def _unreadable(path: Path, why: str) -> UsageError:
    return UsageError(
        "chart_unreadable",
        f"The control chart {path} cannot be read: {why}.",
        "Move the file elsewhere, and a new chart is begun.",
    )
