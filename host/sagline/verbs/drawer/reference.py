# SPDX-License-Identifier: MIT
"""`sagline drawer reference`: one's own reference of a designation, that others are put beside."""

import argparse
import json
from typing import Any

from sagline.ids import short_id
from sagline.verbs.drawer.common import add_drawer, add_verb, drawer_of

DESCRIPTION = """Make a cell the reference of its designation: a run of the log, by its id, or a
row's newest run with --row. Cells of that designation are put beside it from now on, in every
drawer: the difference as a share, and E_n, which is beyond 1 where the difference is more than the
U of both. Without either the references are listed."""


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(verbs, "reference", "choose your own reference cells", DESCRIPTION)
    parser.add_argument("--row", metavar="LABEL", help="the drawer's row of this label")
    parser.add_argument("--run", dest="run_id", metavar="ID", help="a run of the drawer's log")
    parser.add_argument("--clear", metavar="DESIGNATION", help="have none for it any more")
    add_drawer(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Choose, clear or list. Returns the exit status."""
    from sagline.drawer import references
    from sagline.drawer.choosing import choose_row, choose_run
    from sagline.errors import UsageError

    if sum(one is not None for one in (args.row, args.run_id, args.clear)) > 1:
        raise UsageError("two_wishes", "More than one wish was given.", "Give one of them.")
    found = drawer_of(args)
    simulated = found.drawer.opened.simulated
    if args.row is not None:
        choose_row(found, args.row)
    elif args.run_id is not None:
        choose_run(found, args.run_id)
    elif args.clear is not None:
        references.put(args.clear, None, simulated=simulated)
    known = references.read(simulated=simulated)
    if args.json:
        print(json.dumps({"references": known}, indent=2))
    elif not known:
        print("No designation has a reference.")
    else:
        for designation, record_id in known.items():
            print(f"{designation:<10} {short_id(record_id)}")
    return 0
