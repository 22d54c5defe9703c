# SPDX-License-Identifier: MIT
"""`sagline selftest`: is the rig itself in order?"""

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from sagline.verbs.common import add_json, add_rig

if TYPE_CHECKING:
    from sagline.device.rig import Rig
    from sagline.selftest.card import Check


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "selftest",
        help="see whether the rig itself is in order",
        description="See whether the rig itself is in order: first with nothing between the clips "
        "(supplies, dividers, ranges, every load's switch, noise), then with --cell and a fresh "
        "LR6 (leads, both converters, null channel, every load's resistance). Exit status 4 where "
        "something is wrong.",
        allow_abbrev=False,
    )
    add_rig(parser)
    parser.add_argument("--cell", action="store_true", help="a cell is between the clips")
    parser.add_argument("--clear-trip", action="store_true", help="clear a trip of the guard first")
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make every check, telling each as it is made."""
    from datetime import UTC, datetime

    from sagline.errors import Refused
    from sagline.python import open_rig
    from sagline.selftest.card import SELFTEST_SCHEMA, Card, line_of, summary_of

    with open_rig(args.rig) as rig:
        if args.clear_trip:
            rig.clear_trip()
        checks = []
        for check in _checks(rig, args.cell):
            checks.append(check)
            if not args.json:
                print(line_of(check), flush=True)
        identity = rig.identity
        card = Card(
            schema=SELFTEST_SCHEMA,
            made_at=datetime.now(UTC),
            rig=rig.address,
            model=identity.model,
            serial=identity.serial,
            firmware=identity.firmware,
            with_cell=args.cell,
            checks=checks,
        )
    print(card.model_dump_json(indent=2, by_alias=True) if args.json else summary_of(card))
    return 0 if card.passed else Refused.exit_status


def _checks(rig: "Rig", cell: bool) -> "Iterator[Check]":
    from sagline.selftest import checks

    yield from checks.of_board(rig)
    yield from (checks.with_cell(rig) if cell else checks.with_empty(rig))
