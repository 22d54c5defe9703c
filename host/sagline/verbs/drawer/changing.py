# SPDX-License-Identifier: MIT
"""`sagline drawer undo` and `rename`: the last thing taken back; a row under another label."""

import argparse
import json
from typing import Any

from sagline.verbs.drawer.common import add_drawer, add_verb, drawer_of


def add(verbs: Any) -> None:
    """Declare both verbs."""
    undo = add_verb(verbs, "undo", "take the last thing back; its run is marked deleted in the log")
    add_drawer(undo)
    undo.set_defaults(run=run_undo)
    rename = add_verb(verbs, "rename", "give a row another label, in the log too")
    rename.add_argument("label", metavar="LABEL", help="the row's label")
    rename.add_argument("new", metavar="NEW", help="its new one")
    add_drawer(rename)
    rename.set_defaults(run=run_rename)


def run_undo(args: argparse.Namespace) -> int:
    """Take it back and say what it was. Returns the exit status."""
    from sagline.drawer.acts import undo

    found = drawer_of(args)
    _tell(args, undo(found), found)
    return 0


def run_rename(args: argparse.Namespace) -> int:
    """Rename the row. Returns the exit status."""
    from sagline.drawer.acts import relabel

    found = drawer_of(args)
    relabel(found, args.label, args.new)
    _tell(args, f"{args.label} is {args.new.strip()} now.", found)
    return 0


def _tell(args: argparse.Namespace, text: str, found: Any) -> None:
    next_label = found.drawer.next_label
    if args.json:
        print(json.dumps({"done": text, "drawer": found.name, "next_label": next_label}))
    else:
        print(f"{text} Next label: {next_label}.")
