# SPDX-License-Identifier: MIT
"""`sagline log`: what was measured, found again and set in order. One module a verb."""

from typing import Any

from sagline.verbs.log import (
    answer,
    classpage,
    compare,
    delete,
    export,
    label,
    listing,
    merge,
    overtime,
    recompute,
    report,
    show,
)

VERBS = (
    listing,
    show,
    answer,
    compare,
    report,
    classpage,
    export,
    label,
    delete,
    recompute,
    overtime,
    merge,
)

DESCRIPTION = """What was measured, found again and set in order.

Nothing is ever erased: a deleted run can be restored, a label changed back, and a run computed
again beside the results it has. An ID is that of a run or of a result; its last letters
will do.
"""


def add(commands: Any) -> None:
    """Declare the command and its verbs."""
    import argparse

    parser = commands.add_parser(
        "log",
        help="what was measured: list, show, export, merge, compute again",
        description=DESCRIPTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")
    for verb in VERBS:
        verb.add(verbs)
