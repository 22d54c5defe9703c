# SPDX-License-Identifier: MIT
"""`sagline hands`: do at a served rig what a person would do at the bench."""

import argparse
import json
from typing import Any

from sagline.verbs.common import add_json


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "hands",
        help="handle the cell of a served simulated rig",
        description="Do at a rig served by `sagline virtual serve` what a person would do.",
        epilog="what: insert NAME, remove, next-cell, reverse, add-series OHM, move-tap cell|load, "
        "short-sense on|off, short-force on|off, connect-capacitor FARAD,VOLTS, read-meter, "
        "unplug, plug-in",
        allow_abbrev=False,
    )
    parser.add_argument("what", help="what to do")
    parser.add_argument("argument", nargs="?", help="with what")
    parser.add_argument(
        "--port", type=int, required=True, metavar="N", help="the hands' port that serve said"
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do one thing; print what was read or put in."""
    from sagline.virtual.bidding import bid

    found = bid(args.port, " ".join(part for part in (args.what, args.argument) if part))
    if args.json:
        print(json.dumps({"done": args.what, "answer": found or None}))
    elif found:
        print(found)
    return 0
