# SPDX-License-Identifier: MIT
"""The door for programs in Python."""

from typing import TYPE_CHECKING

from sagline.device.rig import Rig
from sagline.device.rig import open_rig as open_address
from sagline.rigs import resolve

if TYPE_CHECKING:
    from sagline.calibrations import Calibration


def open_rig(
    rig: str | None = None,
    trace: str | None = None,
    calibration: "Calibration | None" = None,
) -> Rig:
    """Open a rig: a nickname, serial number, port or URL; None is the usual or the only one.

    `trace` names a file in which every byte is kept; "replay://FILE" plays it. With the
    calibration that the rig's board keeps, or with `calibration`
    (`sagline.calibrations.Calibration`) in its place, figures are computed with what that found
    instead of tolerances. Use the Rig as a context manager: leaving it turns every load off.
    Raises NoRig, UsageError (also for the calibration of another rig), LinkLost, WrongDevice.
    """
    return open_address(resolve(rig), trace, calibration)
