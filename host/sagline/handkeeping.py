# SPDX-License-Identifier: MIT
"""From what was typed to its record, and into the log."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from uuid6 import uuid7

from sagline.analysis.hand.fields import WAYS, option
from sagline.analysis.hand.typed import positive, typed
from sagline.config import load_config
from sagline.errors import NotStored, UsageError
from sagline.handfile import SWITCHES, HandFile
from sagline.handrecord import HAND_SCHEMA, Entry, HandOptions, HandRecord
from sagline.log.opening import LogError
from sagline.log.store import Log
from sagline.plaintext import plain_text
from sagline_board import __version__

if TYPE_CHECKING:
    from sagline.results import Result


def record_of(file: HandFile) -> HandRecord:
    """Return the record of what was typed or stood in a file. Raises UsageError."""
    way: Any = file.about["way"]
    if way not in WAYS:
        raise UsageError("unknown_way", f"{way!r} is no way of reading.", f"Use {', '.join(WAYS)}.")

    def about(name: str) -> str | None:
        return plain_text(option(name), file.about.get(name))

    closed_s, temperature_c, operator = (
        about(name) for name in ("closed_s", "temperature_c", "operator")
    )
    entries: list[Any] = [Entry(name=name, text=_line(text)) for name, text in file.entries]  # pyright: ignore[reportArgumentType]
    return HandRecord(
        schema=HAND_SCHEMA,
        id=str(uuid7()),
        kind="hand",
        started_at=datetime.now(UTC),
        label=about("label"),
        designation=about("designation"),
        operator=plain_text("operator", load_config().operator) if operator is None else operator,
        temperature_c=None
        if temperature_c is None
        else typed("--temperature", temperature_c).value,
        sagline=__version__,
        way=way,
        closed_s=None if closed_s is None else positive("--closed-s", closed_s).value,
        entries=entries,
        options=HandOptions(**{name: _line(text) for name, text in file.options.items()}),
        **{name: name in file.switches for name in SWITCHES},
    )


def keep(path: Path, record: HandRecord, result: Result) -> NotStored | None:
    """Put both in the log; return why that failed, None where it did not."""
    try:
        with Log(path, write=True) as log:
            log.complete(record, result)
    except NotStored as error:
        return error
    except LogError as error:
        return NotStored(error.code, error.message, error.remedy)
    return None


def _line(text: str) -> str:
    """Return a number as it was typed. Raises UsageError for what is no line of text."""
    return plain_text("number", text) or ""
