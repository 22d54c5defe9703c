# SPDX-License-Identifier: MIT
"""`sagline calibrate --clear`: the board keeps no calibration any more; this computer does."""

import argparse
import json
from typing import Any

from sagline.ids import short_id
from sagline.verbs.calibrate.common import named


def declare(group: Any) -> None:
    """Add --clear."""
    group.add_argument(
        "--clear",
        action="store_true",
        help="take the calibration off the board, as after a change of its parts; it stays in the "
        "history",
    )


def wanted(args: argparse.Namespace) -> bool:
    """Whether it is asked for."""
    return args.clear


def run(args: argparse.Namespace) -> int:
    """Clear it; print which it was. Returns the exit status."""
    from sagline.device.rig import open_rig
    from sagline.rigs import resolve

    with open_rig(resolve(args.rig)) as rig:
        kept = rig.kept_calibration
        rig.clear_calibration()
    if args.json:
        print(json.dumps({"cleared": None if kept is None else kept.id}, indent=2))
    elif kept is None:
        print("The board keeps no calibration.")
    else:
        print(
            f"The board keeps no calibration any more; it was {named(kept)}.\n"
            f"Undo with: sagline calibrate --restore {short_id(kept.id)}"
        )
    return 0
