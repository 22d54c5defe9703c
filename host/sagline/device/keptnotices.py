# SPDX-License-Identifier: MIT
"""What to say of a calibration that the board has lost, or has only in part."""

from typing import TYPE_CHECKING

from sagline.analysis.values import Notice

if TYPE_CHECKING:
    from sagline.calibrations import Calibration

_AGAIN = "put this computer's copy back with `sagline calibrate --restore`, or calibrate anew"


def lost(newest_id: str, address: str) -> Notice:
    """Return the notice for a board without the calibration that this computer knows."""
    if address.startswith("virtual://"):
        return Notice(
            "calibration_lost",
            "this simulated rig has no calibration, for it keeps one only while it is open; this "
            f"computer has one, {newest_id[-8:]}",
            "`measure --calibration` takes it; a rig of `sagline virtual serve` keeps its own",
        )
    return Notice(
        "calibration_lost",
        f"the board has no calibration, and this computer has one of this rig, {newest_id[-8:]}",
        f"if nothing was changed on the rig since then, {_AGAIN}",
    )


def unreadable(kept_id: str, why: str) -> Notice:
    """Return the notice for a document on the board that is no calibration of this rig."""
    return Notice(
        "calibration_unreadable",
        f"the board keeps a calibration, {kept_id[-8:]}, that cannot be used: {why}",
        _AGAIN,
    )


def damaged(used: "Calibration | None") -> Notice:
    """Return the notice for damage among the board's two copies; `used` is the good one."""
    if used is None:
        return Notice(
            "calibration_damaged",
            "what the board keeps of its calibration is damaged; it counts as uncalibrated",
            _AGAIN,
        )
    return Notice(
        "calibration_damaged",
        f"one of the board's two copies is damaged; the one in use is {used.id[-8:]}, "
        f"of {used.made_at:%Y-%m-%d}",
        f"if `sagline calibrate --list` shows a newer one, {_AGAIN}",
    )
