# SPDX-License-Identifier: MIT
"""Runs written to one file whose suffix says in which form: .csv a table, .json results."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from sagline.config import load_config
from sagline.errors import UsageError
from sagline.log.csvtext import Style
from sagline.log.runtable import runs_csv
from sagline.log.store import Log
from sagline.outfile import write_files
from sagline.results import Result
from sagline.wording import counted


def results_json(found: Sequence[Result], *, alone: bool) -> str:
    """Return results as JSON: one as `measure --json` prints it where `alone`, else a list."""
    documents = [result.to_dict() for result in found]
    return json.dumps(documents[0] if alone else documents, indent=2) + "\n"


def export(log_path: Path, record_ids: Sequence[str], name: str) -> str:
    """Write the runs with their main results; return in words what was written.

    No file that is there is overwritten. Raises UsageError, LogError, NotStored.
    """
    out = Path(name.strip()).expanduser()
    if out.suffix.lower() not in (".csv", ".json"):
        raise UsageError(
            "no_form",
            f"{name!r} does not say in which form.",
            "Let its name end in .csv for a table, or in .json for results.",
        )
    with Log(log_path) as log:
        runs = [
            (record, record.main_of(log.results(record.id)))
            for record in map(log.any_record, record_ids)
        ]
    if out.suffix.lower() == ".csv":
        text = runs_csv(runs, Style(load_config().decimal_comma))
    else:
        found = [result for _, result in runs if result is not None]
        if not found:
            raise UsageError("no_result", "There is no result to write.", "Compute one first (c).")
        text = results_json(found, alone=len(runs) == 1)
    write_files({out: text})
    return f"{counted(len(runs), 'run')} written to {out.absolute()}"
