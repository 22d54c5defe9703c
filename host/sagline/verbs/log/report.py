# SPDX-License-Identifier: MIT
"""`sagline log report`: one run as a page to print."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sagline.verbs.log.common import add_verb, meant, no_result, open_log

if TYPE_CHECKING:
    from sagline.anyrecord import AnyRecord
    from sagline.report.ofrun import Shown
    from sagline.results import Result


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "report",
        "write one run as a page to print",
        "Write one run as an HTML page that needs nothing else and prints well: question, circuit, "
        "method, readings, drawings, the working, what the uncertainty is made of, result, "
        "cautions, room for conclusions, and what to cite.",
    )
    parser.add_argument("id", metavar="ID", help="the run's or a result's id, or the end of it")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="FILE.html", help="where it is written"
    )
    parser.add_argument("--force", action="store_true", help="overwrite what is there")
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--student", action="store_true", help="what was read, and room to work r out; no r"
    )
    which.add_argument("--answers", action="store_true", help="the student's sheet with answers")
    which.add_argument("--blank", action="store_true", help="a sheet without readings")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the page. Returns the exit status."""
    from sagline.outfile import write_files
    from sagline.report.ofrun import report

    with open_log(args) as log:
        record_id = log.find(args.id)
        record = log.any_record(record_id)
        result = meant(record, log.results(record_id), args.id)
    if result is None:
        raise no_result(record, args)
    kind = "student" if args.student else "teacher" if args.answers else "whole"
    text = report(_shown(record, result), "blank" if args.blank else kind)
    write_files({args.out: text}, force=args.force)
    print(json.dumps({"written": [str(args.out)]}) if args.json else f"Written to {args.out}.")
    return 0


def _shown(record: "AnyRecord", result: "Result") -> "Shown":
    """The run with the first repeat that was kept, where a rig recorded it."""
    from sagline.analysis.calibration import waveform
    from sagline.analysis.values import AnalysisError
    from sagline.computing import with_terminal
    from sagline.records import Record
    from sagline.report.ofrun import Shown

    result = with_terminal(record, result)
    if not isinstance(record, Record):
        return Shown(record, result)
    for row, step in zip(result.repeats, record.repeats, strict=False):
        raw = step.raw()
        if row.kept and len(raw.edges_us) > 1:
            try:
                drawn = waveform(raw, record.profile, record.converter)
            except AnalysisError:
                break
            return Shown(record, result, drawn, (raw.edges_us[1] - raw.edges_us[0]) * 1e-6)
    return Shown(record, result)
