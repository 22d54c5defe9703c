# SPDX-License-Identifier: MIT
"""`sagline log show`: one run, its record and its results."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from sagline.verbs.log.common import add_verb, log_option, meant, open_log

if TYPE_CHECKING:
    from sagline.anyrecord import AnyRecord


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "show",
        "show one run: its result, and what was done",
        "Show one run: how it was made, its result at the times that were asked for (or the one "
        "whose id is given) in words, and which results it has.",
    )
    parser.add_argument("id", metavar="ID", help="the run's or a result's id, or the end of it")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the run. Returns the exit status."""
    from sagline.computing import with_terminal
    from sagline.log.runwords import about_lines
    from sagline.wording import instant, report_lines

    with open_log(args) as log:
        record_id = log.find(args.id)
        record = log.any_record(record_id)
        results = log.results(record_id)
        deleted, note = log.is_deleted(record_id), log.note(record_id)
    if args.json:
        about = record.to_dict()
        # No record of a run any more without its steps: what remains says so.
        if about.pop("steps", None) is not None:
            del about["schema"]
            about["repeats_measured"] = record.repeats_measured
        said = {
            "record": about,
            "state": record.state,
            "deleted": deleted,
            "note": note,
            "results": [result.to_dict() for result in results],
        }
        print(json.dumps(said, indent=2))
        return 0
    print("\n".join(about_lines(record, note, deleted=deleted)))
    result = meant(record, results, args.id)
    if result is None:
        print(_why_none(record, args))
        return 0
    print()
    print("\n".join(report_lines(with_terminal(record, result))))
    if len(results) > 1:
        print(f"\n{len(results)} results; shown is {result.id}:")
        for one in results:
            times = ", ".join(instant(at.t_s) for at in one.r_at if at.t_s is not None)
            print(f"  {one.id}  method {one.method}, at {times}")
    return 0


def _why_none(record: "AnyRecord", args: argparse.Namespace) -> str:
    if record.nothing_measured:
        return "\nIt ended before its first repeat: there is no result."
    return (
        "\nIt is still going on, or ended before its result was made. What there is can be "
        "computed:\n"
        f"  sagline log recompute{log_option(args)} {record.id[-8:]}"
    )
