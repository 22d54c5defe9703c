# SPDX-License-Identifier: MIT
"""How the actions of `sagline calibrate` speak of a calibration."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id

if TYPE_CHECKING:
    from sagline.calibrations import Calibration
    from sagline.device.rig import Rig

_DAY_S = 86400.0


def summary(calibration: "Calibration") -> dict[str, Any]:
    """Return what a list says of a calibration; `age_days` is its age now."""
    age = datetime.now(UTC) - calibration.made_at
    return {
        "id": calibration.id,
        "rig_serial": calibration.rig_serial,
        "made_at": calibration.made_at.isoformat(),
        "age_days": round(age.total_seconds() / _DAY_S, 2),
        "scales": len(calibration.scales),
        "offsets": len(calibration.offsets),
        "onboard_table": calibration.onboard_table is not None,
        "voltage_scales": len(calibration.voltage_scales),
    }


def named(calibration: "Calibration") -> str:
    """Return a calibration as a sentence speaks of it: "6dfcee22 of 2026-11-25 14:30"."""
    return f"{short_id(calibration.id)} of {calibration.made_at.astimezone():%Y-%m-%d %H:%M}"


def contents(calibration: "Calibration") -> str:
    """Return what it holds, in words."""
    from sagline.wording import count

    parts = [
        count(items, noun)
        for items, noun in (
            (calibration.scales, "scale"),
            (calibration.offsets, "offset"),
            (calibration.voltage_scales, "voltage scale"),
        )
        if items
    ]
    if calibration.onboard_table is not None:
        parts.append("on-board table")
    return ", ".join(parts) or "nothing"


def age(calibration: "Calibration") -> str:
    """Return its age in words."""
    from sagline.wording import counted

    days = int((datetime.now(UTC) - calibration.made_at).total_seconds() // _DAY_S)
    if days < 1:
        return "today" if days == 0 else "in the future"
    return counted(days, "day") if days < 730 else f"{days / 365.25:.1f} years"


def fleeting(rig: "Rig") -> bool:
    """Whether what this rig keeps is gone when it is closed: simulated, in this program."""
    return rig.address.startswith("virtual://")
