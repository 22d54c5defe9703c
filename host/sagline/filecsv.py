# SPDX-License-Identifier: MIT
"""A foreign record's CSV text as columns of numbers, strictly: what is unclear is refused.

    # load_ohm: 3.3
    time_s,sense_v,force_v
    0.000,1.5821,0.0002

Semicolons or tabs may part the fields; then a comma may stand for the decimal point. Fields that
are blank or say "nan" were not read at that time.
"""

import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from sagline.analysis.foreign.table import REMEDY
from sagline.errors import UsageError

COLUMNS = ("time_s", "sense_v", "current_a", "force_v", "return_v")
FINEST = -15
"""Exponent of ten of the finest digit that a number of a computer holds beside ones."""

_ABSENT = {"", "nan", "na", "n/a", "null", "-"}
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE]([+-]?\d+))?")
_KEY = re.compile(r"#\s*([A-Za-z][\w .-]*?)\s*:\s*(.*)")


@dataclass(frozen=True)
class ForeignText:
    """What a file says: `columns` by name, of one length, None where a field was not read.

    `digits` is the exponent of ten of each column's last typed digit; `metadata` what stands in
    lines `# key: value`; `ignored` the names of columns that mean nothing here; `skipped` how
    many fields were blank or no reading.
    """

    columns: dict[str, list[float | None]]
    digits: dict[str, int]
    metadata: dict[str, str]
    ignored: tuple[str, ...]
    skipped: int


def parse(text: str) -> ForeignText:
    """Read the text of a file. Raises UsageError: `bad_csv`, `no_columns`, `bad_times`."""
    metadata: dict[str, str] = {}
    header: list[str] | None = None
    separator = ","
    rows: list[tuple[int, list[str]]] = []
    for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1):
        bare = line.strip()
        if not bare.strip(",;"):
            continue
        if bare.startswith("#"):
            found = _KEY.fullmatch(bare.rstrip(",;"))
            if found is not None:
                metadata[found[1].lower()] = _plain(found[2])
            continue
        if header is None:
            separator = next((mark for mark in ";\t" if mark in line), ",")
            header = [_bare(name).lower() for name in line.split(separator)]
            _check_header(header, number)
            continue
        fields = [_bare(field) for field in line.split(separator)]
        if len(fields) != len(header):
            raise _bad(
                number,
                f"has {len(fields)} fields where the header has {len(header)}",
                "part decimal numbers with points, or fields with semicolons",
            )
        rows.append((number, fields))
    if header is None:
        raise UsageError("no_columns", "the file has no line that names its columns", REMEDY)
    return _columns(header, rows, metadata, separator != ",")


def _columns(
    header: Sequence[str], rows: list[tuple[int, list[str]]], metadata: dict[str, str], comma: bool
) -> ForeignText:
    names = [name for name in COLUMNS if name in header]
    columns: dict[str, list[float | None]] = {name: [] for name in names}
    digits = dict.fromkeys(names, 0)
    where = {name: header.index(name) for name in names}
    skipped, last_s, last_number = 0, -math.inf, 0
    for number, fields in rows:
        for name in names:
            field = fields[where[name]]
            if field.lower() in _ABSENT:
                if name == "time_s":
                    raise _bad(number, "has no time", "give every row its time, or take it out")
                columns[name].append(None)
                skipped += 1
                continue
            value, digit = _number(field, number, name, comma)
            columns[name].append(value)
            digits[name] = min(digits[name], digit)
            if name != "time_s":
                continue
            if value <= last_s:
                what = "the same time as" if value == last_s else "an earlier time than"
                raise UsageError(
                    "bad_times",
                    f"line {number} has {what} line {last_number}: {field}",
                    "put the rows in order of time, each time once; more digits may tell them "
                    "apart",
                )
            last_s, last_number = value, number
    if not rows:
        raise UsageError("bad_csv", "the file has column names and no rows", REMEDY)
    ignored = tuple(name for name in header if name and name not in COLUMNS)
    return ForeignText(columns, digits, metadata, ignored, skipped)


def _check_header(header: Sequence[str], number: int) -> None:
    has = set(header)
    twice = [name for name in COLUMNS if header.count(name) > 1]
    if twice:
        raise _bad(number, f"names {twice[0]} twice", "leave one of the two columns")
    missing = [name for name in ("time_s", "sense_v") if name not in has]
    if not has & {"current_a", "force_v"}:
        missing.append("current_a or force_v")
    if missing:
        raise UsageError(
            "no_columns",
            f"line {number} names the columns {', '.join(header)}; what is missing is "
            f"{', '.join(missing)}",
            REMEDY,
        )


def _number(field: str, number: int, name: str, comma: bool) -> tuple[float, int]:
    """The value and the exponent of ten of its last digit."""
    found = _NUMBER.fullmatch(field)
    if found is None or ("," in field and not comma):
        raise _bad(
            number,
            f"has {field!r} in the column {name}, which is no number",
            "write numbers without units and thousands marks; leave blank what was not read",
        )
    mantissa = field.lower().split("e")[0].replace(",", ".")
    exponent = int(found[4] or 0)
    value = float(f"{mantissa}e{exponent}")
    if not math.isfinite(value):
        raise _bad(
            number,
            f"has {field!r} in the column {name}, which is too large",
            "leave blank what was not read",
        )
    return value, max(FINEST, exponent - len(mantissa.partition(".")[2]))


def _bare(field: str) -> str:
    field = field.strip()
    if len(field) > 1 and field[0] == field[-1] == '"':
        field = field[1:-1].strip()
    return field


def _plain(value: str) -> str:
    """A value of metadata: JSON strings are unpacked."""
    if value.startswith('"'):
        try:
            return str(json.loads(value))
        except ValueError:
            return value
    return value


def _bad(number: int, what: str, remedy: str) -> UsageError:
    return UsageError("bad_csv", f"line {number} {what}", remedy)
