# SPDX-License-Identifier: MIT
"""`sagline calibrate --list`: the calibrations that this computer has, and the board's own."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.streams import tell
from sagline.verbs.calibrate.common import age, contents, summary

if TYPE_CHECKING:
    from sagline.calibrations import Calibration


def declare(group: Any) -> None:
    """Add --list."""
    group.add_argument(
        "--list",
        action="store_true",
        help="list the history, the newest last; with --rig that of this rig, beside what its "
        "board keeps",
    )


def wanted(args: argparse.Namespace) -> bool:
    """Whether it is asked for."""
    return args.list


def run(args: argparse.Namespace) -> int:
    """Print the calibrations. Returns the exit status."""
    known, remarks, kept_id = _all() if args.rig is None else _of_rig(args.rig)
    for remark in remarks:
        tell(f"sagline: {remark}")
    if args.json:
        rows = [_row(one, kept_id) for one in known]
        print(json.dumps({"calibrations": rows, "kept": kept_id or None}, indent=2))
        return 0
    if not known:
        print("This computer has no calibration" + ("." if args.rig is None else " of this rig."))
        return 0
    for one in known:
        print(_line(one, kept_id))
    return 0


def _all() -> "tuple[list[Calibration], list[str], str | None]":
    from sagline import calibrationstore

    known: list[Calibration] = []
    remarks: list[str] = []
    for serial in calibrationstore.serials():
        found, unreadable = calibrationstore.readable(serial)
        known += found
        remarks += unreadable
    return known, remarks, None


def _of_rig(wanted_rig: str) -> "tuple[list[Calibration], list[str], str | None]":
    """Return the rig's calibrations, remarks, and the id of the one its board keeps ("": none)."""
    from sagline import calibrationstore
    from sagline.device.rig import open_rig
    from sagline.rigs import resolve

    with open_rig(resolve(wanted_rig)) as rig:
        serial, kept = rig.identity.serial, rig.kept_calibration
        remarks = [f"{notice.text} {notice.remedy}" for notice in rig.notices]
    known, unreadable = calibrationstore.readable(serial)
    if kept is not None and all(one.id != kept.id for one in known):
        known = sorted([*known, kept], key=lambda one: one.id)
    return known, remarks + unreadable, "" if kept is None else kept.id


def _row(one: "Calibration", kept_id: str | None) -> dict[str, Any]:
    return {**summary(one), "on_board": None if kept_id is None else one.id == kept_id}


def _line(one: "Calibration", kept_id: str | None) -> str:
    from sagline.wording import shown

    made = f"{one.made_at.astimezone():%Y-%m-%d %H:%M}"
    mark = "  (the board keeps this one)" if one.id == kept_id else ""
    serial = shown(one.rig_serial)
    return f"{short_id(one.id)}  {serial:<16}  {made}  {age(one):<9}  {contents(one)}{mark}"
