# SPDX-License-Identifier: MIT
"""`sagline drawer`: many cells one after the other, line by line. One module a verb."""

from typing import Any

from sagline.verbs.drawer import changing, listing, measuring, reference, report, showing

VERBS = (measuring, listing, showing, report, changing, reference)

DESCRIPTION = """Many cells one after the other: put one in and it is measured, take it out and put
the next one in. Labels run on by themselves. A drawer is kept in a file, each row before it is
told, and is gone on with after a crash; its runs are in the log.

The plan is a quick one: 3 repeats with short rests, under 10 s a cell, and a wider U.
"""


def add(commands: Any) -> None:
    """Declare the command and its verbs."""
    import argparse

    parser = commands.add_parser(
        "drawer",
        help="many cells one after the other: measure, sort, group, compare",
        description=DESCRIPTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")
    for verb in VERBS:
        verb.add(verbs)
