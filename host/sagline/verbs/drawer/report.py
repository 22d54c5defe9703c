# SPDX-License-Identifier: MIT
"""`sagline drawer report`: a drawer as a page to print."""

import argparse
import json
from pathlib import Path
from typing import Any

from sagline.verbs.drawer.common import add_drawer, add_verb, drawer_of, rows_in
from sagline.verbs.drawer.showing import add_choice, chosen_in


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "report",
        "write the rows as a page to print",
        "Write a drawer as an HTML page that needs nothing else and prints well: every cell's "
        "interval under one axis, the rows with E and r, groups, and what to cite.",
    )
    add_drawer(parser)
    add_choice(parser)
    parser.add_argument(
        "--out", type=Path, required=True, metavar="FILE.html", help="where it is written"
    )
    parser.add_argument("--force", action="store_true", help="overwrite what is there")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the page. Returns the exit status."""
    from sagline.outfile import write_files
    from sagline.report.ofdrawer import Chosen, drawer_page

    found = drawer_of(args)
    rows, groups, tolerance = chosen_in(rows_in(found), args)
    text = drawer_page(Chosen(found.name, found.drawer.opened, rows, tolerance, groups))
    write_files({args.out: text}, force=args.force)
    print(json.dumps({"written": [str(args.out)]}) if args.json else f"Written to {args.out}.")
    return 0
