# SPDX-License-Identifier: MIT
"""`sagline log list`: the runs there are, the newest last, where a terminal shows it."""

import argparse
import json
import sys
from dataclasses import asdict
from typing import Any

from sagline.verbs.log.common import add_filters, add_verb, filters_of, open_log

LIMIT = 50


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "list",
        "list runs, the newest last",
        "List runs, the newest last, each with its result at the times that were asked for, and U "
        "of r at 95 %.",
    )
    add_filters(parser)
    parser.add_argument(
        "--limit", type=_count, default=LIMIT, metavar="N",
        help=f"the newest N of them (default {LIMIT}; 0 is all)",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the runs. Returns the exit status."""
    from sagline.log.listing import count_runs, list_runs
    from sagline.log.runwords import HEADING, run_line

    filters = filters_of(args)
    with open_log(args) as log:
        rows = list_runs(log, filters, args.limit or -1)
        there_are = count_runs(log, filters)
    if args.json:
        runs = [{**asdict(row), "started_at": row.started_at.isoformat()} for row in rows]
        print(json.dumps({"runs": runs, "count": there_are}, indent=2))
        return 0
    if not rows:
        print("No run is as you ask.")
        return 0
    print(HEADING)
    for row in reversed(rows):
        print(run_line(row))
    if there_are > len(rows):
        print(f"{len(rows)} of {there_are} runs; --limit 0 lists all", file=sys.stderr)
    return 0


def _count(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r} is no number of runs")
    # What SQLite counts up to.
    return min(int(text), 2**63 - 1)
