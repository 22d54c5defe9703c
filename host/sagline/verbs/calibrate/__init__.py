# SPDX-License-Identifier: MIT
"""`sagline calibrate`: a rig's calibration, made, checked, listed, put back; one module each."""

import argparse
from typing import Any

from sagline.verbs.calibrate import checking, clear, guided, listing, restore
from sagline.verbs.common import add_json, add_rig

ACTIONS = (restore, listing, clear, guided)
"""Each has `declare(group)`, which adds its option; `wanted(args)`; `run(args)`, the status."""

DESCRIPTION = """A rig's calibration: what corrects its parts' nominal values, and how well
that is known.

Without --list, --restore or --clear it guides you through it: what to do with which clip, step
after step, and a report card at the end. It takes fresh cells (LR6 and 6LR61), resistors of 1 to
100 ohms and 0.1 %, and a voltmeter; --step list says which for which step. At a simulated rig its
hands do it. Each step adds to what is known: one step a day will do.

The board keeps it, and what the board keeps is what counts; every result names it by its id. This
computer has a history of the calibrations that it has put on boards, for the day when a board
loses its own (with new MicroPython, say).
"""

EPILOG = """examples:
  sagline calibrate                           the whole, guided
  sagline calibrate --step list               what the steps are and take
  sagline calibrate --step scale-3.3-low --resistor 2.0004 --u-ohm 0.0002
  sagline calibrate --rig 'virtual://lr6?seed=7' --step all
  sagline calibrate --check                   is it still right? adds to the control chart
  sagline calibrate --list                    the history, by rig
  sagline calibrate --list --rig bench        that of one rig, and which one its board keeps
  sagline calibrate --restore                 the newest, back on a board that has lost it
  sagline calibrate --restore 6dfcee22        a certain one; the end of its id will do

A calibration belongs to the parts that it was made with: after a load, a resistor, a converter or
the board was changed, calibrate anew instead of putting an old one back.

beware: a positive clip on both terminals shorts the cell; no rings or watches, no rechargeable
cell here; loads and added resistors get warm. Data sheets of cells come before what is said here.
"""


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "calibrate",
        help="calibrate a rig, guided; check, list and put back its calibration",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    add_rig(parser)
    group = parser.add_mutually_exclusive_group()
    for action in ACTIONS:
        action.declare(group)
    checking.declare(parser)
    guided.declare_more(parser)
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do what is asked. Returns the exit status."""
    from sagline.errors import UsageError

    if args.check:
        if args.list or args.clear or args.restore is not None:
            raise UsageError(
                "usage", "--check goes with --step alone.", "See `sagline calibrate --help`."
            )
        return checking.run(args)
    for action in ACTIONS:
        if action.wanted(args):
            return action.run(args)

    raise UsageError(
        "nothing_asked",
        "`sagline calibrate` was not told what to do.",
        "On a terminal it guides you. Without one say --step NAME (--step list says which there "
        "are; all for all), --check, --list, --restore or --clear.",
    )
