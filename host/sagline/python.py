# SPDX-License-Identifier: MIT
"""The door for programs in Python."""

from sagline.device.rig import Rig
from sagline.device.rig import open_rig as open_address
from sagline.rigs import resolve


def open_rig(rig: str | None = None, trace: str | None = None) -> Rig:
    """Open a rig: a nickname, serial number, port or URL; None is the usual or the only one.

    `trace` names a file in which every byte is kept; "replay://FILE" plays it. Use the Rig as a
    context manager: leaving it turns every load off. Raises NoRig, UsageError, LinkLost,
    WrongDevice.
    """
    return open_address(resolve(rig), trace)
