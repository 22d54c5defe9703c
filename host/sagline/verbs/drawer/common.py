# SPDX-License-Identifier: MIT
"""What the verbs of `sagline drawer` share: which drawer, and its rows."""

import argparse
from typing import TYPE_CHECKING, Any

from sagline.verbs.common import add_json

if TYPE_CHECKING:
    from sagline.drawer.journal import Journal
    from sagline.drawer.table import Row


def add_verb(verbs: Any, name: str, help_text: str, description: str = "") -> Any:
    """Declare a verb; return its parser."""
    parser = verbs.add_parser(
        name,
        help=help_text,
        description=description or f"{help_text[0].upper()}{help_text[1:]}.",
        allow_abbrev=False,
    )
    add_json(parser)
    return parser


def add_drawer(parser: argparse.ArgumentParser) -> None:
    """Add --drawer."""
    parser.add_argument(
        "--drawer", metavar="NAME", help="the drawer's name (default: the one used last)"
    )


def drawer_of(args: argparse.Namespace) -> "Journal":
    """Return the drawer that is named, or the one used last. Raises UsageError."""
    from sagline.drawer import journal
    from sagline.errors import UsageError

    if args.drawer is not None:
        return journal.read(args.drawer)
    known = journal.names()
    if not known:
        raise UsageError(
            "no_drawer", "There is no drawer yet.", "Begin one with `sagline drawer measure`."
        )
    return journal.read(known[-1])


def rows_in(found: "Journal") -> "list[Row]":
    """Return the rows with their figures and beside their references. Raises LogError."""
    from sagline.drawer.beginning import figures_in, references_for
    from sagline.drawer.table import rows_of

    return rows_of(found.drawer, figures_in(found), references_for(found))
