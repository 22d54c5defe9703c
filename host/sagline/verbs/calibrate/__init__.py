# SPDX-License-Identifier: MIT
"""`sagline calibrate`: a rig's calibration, kept, listed, put back. One module an action."""

import argparse
from typing import Any

from sagline.verbs.calibrate import clear, listing, restore
from sagline.verbs.common import add_json, add_rig

ACTIONS = (restore, listing, clear)
"""Each has `declare(group)`, which adds its option; `wanted(args)`; `run(args)`, the status."""

DESCRIPTION = """A rig's calibration: what corrects its parts' nominal values, and how well
that is known.

The board keeps it, and what the board keeps is what counts; every result names it by its id. This
computer has a history of the calibrations that it has put on boards, for the day when a board
loses its own (with new MicroPython, say).
"""

EPILOG = """examples:
  sagline calibrate --list                    the history, by rig
  sagline calibrate --list --rig bench        that of one rig, and which one its board keeps
  sagline calibrate --restore                 the newest, back on a board that has lost it
  sagline calibrate --restore 6dfcee22        a certain one; the end of its id will do

A calibration belongs to the parts that it was made with: after a load, a resistor, a converter or
the board was changed, calibrate anew instead of putting an old one back.
"""


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "calibrate",
        help="a rig's calibration: list, put back on the board, take off it",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    add_rig(parser)
    group = parser.add_mutually_exclusive_group()
    for action in ACTIONS:
        action.declare(group)
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do what is asked. Returns the exit status."""
    for action in ACTIONS:
        if action.wanted(args):
            return action.run(args)
    from sagline.errors import UsageError

    raise UsageError(
        "nothing_asked",
        "`sagline calibrate` was not told what to do.",
        "Say --list, --restore or --clear; see `sagline calibrate --help`.",
    )
