# SPDX-License-Identifier: MIT
"""`sagline drawer show`: the rows, sorted and filtered, and groups of them."""

import argparse
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from sagline.verbs.drawer.common import add_drawer, add_verb, drawer_of, rows_in

if TYPE_CHECKING:
    from sagline.drawer.groups import Group, Tolerance
    from sagline.drawer.table import Row

SORTS = ("order", "label", "emf", "r", "u", "spread", "reference", "state")


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "show",
        "show the rows, sorted, filtered, grouped",
        "Show the rows of a drawer: E, r with U at 95 %, how r scatters between turns in the "
        "holder, and r beside that of the designation's own reference.",
    )
    add_drawer(parser)
    add_choice(parser)
    parser.set_defaults(run=run)


def add_choice(parser: argparse.ArgumentParser) -> None:
    """Add which rows are meant, in which order and groups."""
    parser.add_argument("--sort", choices=SORTS, default="order", metavar="|".join(SORTS))
    parser.add_argument("--falling", action="store_true", help="the largest first")
    parser.add_argument("--filter", default="", metavar="TEXT", help="rows with these words")
    parser.add_argument(
        "--group", type=float, metavar="SHARE", help="groups whose r lie within it: 0.05 is 5 %%"
    )
    parser.add_argument("--group-volts", type=float, metavar="V", help="and whose E lie within it")


def chosen_in(
    rows: "Sequence[Row]", args: argparse.Namespace
) -> "tuple[list[Row], list[Group], Tolerance | None]":
    """Return the rows that the options of `add_choice` mean, and their groups.

    Raises UsageError.
    """
    from sagline.drawer.groups import Tolerance
    from sagline.drawer.view import View
    from sagline.errors import UsageError

    if args.group is None and args.group_volts is not None:
        raise UsageError(
            "no_tolerance", "--group-volts was given without --group.", "Give both of them."
        )
    tolerance = None if args.group is None else Tolerance(args.group, args.group_volts)
    view = View(args.sort, args.falling, args.filter, tolerance)
    return view.chosen(rows), view.groups(rows), tolerance


def run(args: argparse.Namespace) -> int:
    """Print the rows. Returns the exit status."""
    from dataclasses import asdict

    from sagline.drawer import words

    found = drawer_of(args)
    rows, groups, tolerance = chosen_in(rows_in(found), args)
    if args.json:
        said: dict[str, Any] = {
            "drawer": found.name,
            "next_label": found.drawer.next_label,
            "rows": [words.row_document(row) for row in rows],
        }
        if tolerance is not None:
            said["groups"] = [asdict(group) for group in groups]
        print(json.dumps(said, indent=2))
        return 0
    simulated = ", simulated" if found.drawer.opened.simulated else ""
    print(f"Drawer {found.name}{simulated}; next label {found.drawer.next_label}")
    print(words.HEADING if rows else words.NO_ROWS)
    names = words.group_names(groups)
    for row in rows:
        print(words.row_line(row, names))
    details = [line for row in rows for line in words.row_details(row)]
    if details:
        print("\n" + "\n".join(details))
    if tolerance is not None:
        print("\n" + "\n".join(words.group_lines(groups, tolerance)))
    return 0
