# SPDX-License-Identifier: MIT
"""`sagline calibrate --restore`: a calibration of this computer's history, back on its board."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.streams import tell
from sagline.verbs.calibrate.common import age, contents, fleeting, named, summary

if TYPE_CHECKING:
    from sagline.calibrations import Calibration
    from sagline.device.rig import Rig

_NEWEST = ""


def declare(group: Any) -> None:
    """Add --restore."""
    group.add_argument(
        "--restore",
        nargs="?",
        const=_NEWEST,
        metavar="ID",
        help="put the newest calibration of this rig that this computer has, or the one with this "
        "id, back on the board",
    )


def wanted(args: argparse.Namespace) -> bool:
    """Whether it is asked for."""
    return args.restore is not None


def run(args: argparse.Namespace) -> int:
    """Restore it; print which. Returns the exit status."""
    from sagline.device.rig import open_rig
    from sagline.rigs import resolve

    with open_rig(resolve(args.rig)) as rig:
        chosen = _chosen(rig, args.restore)
        # Written again where a copy is damaged: that mends it.
        there_already = rig.kept_calibration == chosen and not _damaged(rig)
        if not there_already:
            rig.keep_calibration(chosen)
        gone_soon = fleeting(rig)
    if args.json:
        print(json.dumps({"restored": not there_already, "calibration": summary(chosen)}, indent=2))
    elif there_already:
        print(f"The board keeps {named(chosen)} already.")
    else:
        print(f"The board keeps {named(chosen)} again: {contents(chosen)}.")
        print(f"Its age is in every figure's U: {age(chosen)}.")
    if gone_soon:
        tell("sagline: this simulated rig is closed now, and has forgotten it again.")
    return 0


def _chosen(rig: "Rig", given: str) -> "Calibration":
    """Return the one to restore. Raises UsageError, and Refused where the board's own counts."""
    from sagline import calibrationstore
    from sagline.errors import Refused, UsageError

    serial = rig.identity.serial
    if given != _NEWEST:
        return calibrationstore.find(serial, given)
    newest = calibrationstore.newest(serial)
    if newest is None:
        raise UsageError(
            "no_calibration",
            f"This computer has no calibration of rig {serial}.",
            "Calibrate the rig, or restore it from the computer that it was calibrated with.",
        )
    kept = rig.kept_calibration
    if kept is not None and kept.id != newest.id and not _damaged(rig):
        raise Refused(
            "board_keeps_another",
            f"The board keeps {named(kept)}, and what the board keeps is what counts; the newest "
            f"of this computer is {named(newest)}.",
            f"To put that on the board instead: sagline calibrate --restore {short_id(newest.id)}",
        )
    return newest


def _damaged(rig: "Rig") -> bool:
    return any(notice.code == "calibration_damaged" for notice in rig.notices)
