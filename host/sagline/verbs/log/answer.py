# SPDX-License-Identifier: MIT
"""`sagline log answer`: a student's own figures beside those of a run."""

import argparse
import json
from typing import Any

from sagline.verbs.log.common import add_verb, meant, no_result, open_log


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "answer",
        "hold the r that you worked out against a run's",
        "Hold the r that you worked out from a run's readings (`sagline measure --teach`) against "
        "the run's own: whether it lies within U, and if not, what it looks like.",
    )
    parser.add_argument("id", metavar="ID", help="the run's or a result's id, or the end of it")
    parser.add_argument("--r", required=True, metavar="OHM", help="your r in Ω: 0.161 or 0,161")
    parser.add_argument("--line-emf", metavar="V", help="your E of the V-I line in V")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the comparison. Returns the exit status."""
    from sagline.analysis.hand.typed import typed
    from sagline.computing import with_terminal
    from sagline.teaching import compare

    r_ohm = typed("--r", args.r)
    line_emf_v = None if args.line_emf is None else typed("--line-emf", args.line_emf)
    with open_log(args) as log:
        record = log.any_record(log.find(args.id))
        result = meant(record, log.results(record.id), args.id)
    if result is None:
        raise no_result(record, args)
    found = compare(with_terminal(record, result), r_ohm, line_emf_v)
    if args.json:
        print(json.dumps([one.to_dict() for one in found], indent=2))
    else:
        print("\n".join(line for one in found for line in one.lines()))
    return 0
