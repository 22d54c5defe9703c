# SPDX-License-Identifier: MIT
"""`sagline log history`: one cell over time."""

import argparse
import json
from typing import Any

from sagline.verbs.log.common import add_verb, open_log


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "history",
        "show one cell over time: every run of its label",
        "Show every run that has the label of this one, the first one first: E, and r with its "
        "interval on one scale.",
    )
    parser.add_argument("id", metavar="ID", help="a run of the cell: its id, or the end of it")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the runs. Returns the exit status."""
    from sagline.log.overtime import documents, over_time
    from sagline.wording import wrapped

    with open_log(args) as log:
        found = over_time(log, log.find(args.id))
    if args.json:
        print(json.dumps({"label": found.label, "runs": documents(found)}, indent=2))
    else:
        print("\n".join(wrapped(found.lines(), 79)))
    return 0
