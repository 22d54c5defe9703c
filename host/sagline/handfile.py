# SPDX-License-Identifier: MIT
"""Readings by hand in a CSV file.

    # way: voltmeter
    # u_volts: 0.002
    open_v,loaded_v,load_ohm
    1.580,1.492,10.0
    1.579,1.491,10.0

A row is read from left to right as if it had been typed: open, loaded, then what closes the
group. A row without load (or current, or watts) adds its readings to the next that has one.
Lengths on a wire are open_cm and loaded_cm. Lines that begin with # hold options by name;
those without a colon are comments. Fields are parted by commas, semicolons or tabs, whichever
the heading has; a decimal comma is as good as a point.
"""

import csv
import json
from dataclasses import dataclass, field
from pathlib import Path

from sagline.analysis.hand import fields
from sagline.errors import UsageError
from sagline.handrecord import HandOptions, HandRecord
from sagline.log.csvtext import Digits, Field, Style, metadata, table

CSV_SCHEMA = "sagline-hand-csv-1"

COLUMNS = {
    "open_v": "open",
    "open_cm": "open",
    "loaded_v": "loaded",
    "loaded_cm": "loaded",
    "load_ohm": "load",
    "current_a": "amps",
    "power_w": "watts",
}
ABOUT = ("way", fields.TIMES[0].name, *(one.name for one in fields.ABOUT))
SWITCHES = tuple(one.name for one in fields.SWITCHES)
OPTIONS = tuple(HandOptions.model_fields)
# What an exported file says besides, and nobody needs to read.
TOLD = ("schema", "id", "kind", "started_at", "sagline")

LARGEST_BYTES = 1_000_000


@dataclass
class HandFile:
    """What stood in a file, as text: entries in their order, options and the rest by name."""

    entries: list[tuple[str, str]] = field(default_factory=list)
    options: dict[str, str] = field(default_factory=dict)
    about: dict[str, str] = field(default_factory=dict)
    switches: set[str] = field(default_factory=set)


def read_hand_file(path: Path) -> HandFile:
    """Read a file. Raises UsageError with the line that is not understood."""
    try:
        data = path.read_bytes()[: LARGEST_BYTES + 1]
        text = data.decode("utf-8-sig")
    except OSError as error:
        raise UsageError(
            "file_not_read",
            f"{path} cannot be read: {error.strerror}.",
            "Name a CSV file of readings, or one of voltmeter, line and slidewire.",
        ) from error
    except UnicodeDecodeError as error:
        raise UsageError(
            "file_not_read", f"{path} is no text in UTF-8.", "Save it as CSV in UTF-8."
        ) from error
    if len(data) > LARGEST_BYTES:
        raise UsageError(
            "file_too_large",
            f"{path} has more than a megabyte, too much to have been read by hand.",
            "For a record of volts against time use `sagline analyse`.",
        )
    return _parsed(path, text)


def _parsed(path: Path, text: str) -> HandFile:
    found = HandFile()
    heading: list[str] | None = None
    separator = ","
    for number, line in enumerate(text.splitlines(), 1):
        where = f"{path}, line {number}"
        if line.startswith("#"):
            _option(found, line[1:], where)
        elif line.strip():
            if heading is None:
                separator = next((one for one in ";\t" if one in line), ",")
            cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
            if heading is None:
                heading = _heading(cells, where)
            else:
                found.entries += _row(heading, cells, where)
    if "way" not in found.about:
        raise UsageError(
            "no_way",
            f"{path} does not say how its readings were taken.",
            "Begin it with a line `# way: voltmeter` (or line, or slidewire).",
        )
    return found


def _option(found: HandFile, text: str, where: str) -> None:
    if ":" not in text:
        return
    key, value = (part.strip() for part in text.split(":", 1))
    key = key.removeprefix("--").replace("-", "_")
    if value.startswith('"'):
        try:
            value = str(json.loads(value))
        except ValueError:
            raise _not_understood(where, f"{value} is no text in quotes") from None
    if key in TOLD or not value:
        return
    if key in SWITCHES:
        if value not in ("yes", "no"):
            raise _not_understood(where, f"{key} is yes or no, not {value!r}")
        found.switches |= {key} if value == "yes" else set()
    elif key in ABOUT:
        found.about[key] = value
    elif key in OPTIONS:
        found.options[key] = value
    else:
        raise _not_understood(where, f"{key!r} is no option of readings by hand")


def _heading(cells: list[str], where: str) -> list[str]:
    names = [cell.lower() for cell in cells]
    unknown = [cell for cell, name in zip(cells, names, strict=True) if name not in COLUMNS]
    twice = len({COLUMNS.get(name) for name in names}) < len(names)
    if unknown or twice:
        what = f"{unknown[0]!r} is no column" if unknown else "a column is there twice"
        raise _not_understood(where, f"{what}; the columns are {', '.join(COLUMNS)}")
    return names


def _row(heading: list[str], cells: list[str], where: str) -> list[tuple[str, str]]:
    if len(cells) > len(heading) and any(cells[len(heading) :]):
        raise _not_understood(
            where, f"{len(cells)} fields stand below {len(heading)} headings; a decimal comma "
            "wants fields that are parted by semicolons",
        )  # fmt: skip
    order = ("open", "loaded", "load", "amps", "watts")
    by_name = {COLUMNS[name]: cell for name, cell in zip(heading, cells, strict=False)}
    return [(name, by_name[name]) for name in order if by_name.get(name)]


def _not_understood(where: str, what: str) -> UsageError:
    return UsageError(
        "file_not_understood", f"{where}: {what}.", "See `sagline hand --help` for the form."
    )


def hand_csv(record: HandRecord, style: Style) -> str:
    """Return a record as such a file, which gives the same result when it is read."""
    unit = "cm" if record.way == "slidewire" else "v"
    names = {"open": f"open_{unit}", "loaded": f"loaded_{unit}", "load": "load_ohm",
             "amps": "current_a", "watts": "power_w"}  # fmt: skip
    used = [name for name in names if any(entry.name == name for entry in record.entries)]
    rows: list[dict[str, Field]] = [{}]
    for entry in record.entries:
        place = used.index(entry.name)
        if any(used.index(name) >= place for name in rows[-1]):
            rows.append({})
        rows[-1][entry.name] = Digits(entry.text.replace(",", "."))
    about: dict[str, Field] = {
        "schema": CSV_SCHEMA,
        "way": record.way,
        "id": record.id,
        "started_at": record.started_at.isoformat(),
        "label": record.label,
        "designation": record.designation,
        "operator": record.operator,
        "temperature_c": record.temperature_c,
        "closed_s": record.closed_s,
        **record.options.model_dump(exclude_none=True),
        **{name: "yes" for name in SWITCHES if getattr(record, name)},
    }
    said = {key: value for key, value in about.items() if value is not None}
    heading = [names[name] for name in used]
    return metadata(said) + table(
        heading, [[row.get(name) for name in used] for row in rows], style
    )
