# SPDX-License-Identifier: MIT
"""Why a port could not be opened, and what to do about it on this system."""

import errno
import os
import sys
from pathlib import Path

from sagline.errors import LinkLost

UDEV_RULE = Path(__file__).parents[1] / "udev" / "70-sagline.rules"
_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)


def explain(address: str, error: OSError) -> LinkLost:
    """Return the error a person reads for what the system said about opening `address`."""
    number = error.errno
    if number is None and "exclusively lock" in str(error):
        number = errno.EBUSY
    if number in _BUSY or (sys.platform == "win32" and "PermissionError" in str(error)):
        return LinkLost(
            "port_in_use",
            f"Another program has the port {address}.",
            "Close it (a serial monitor, an editor's board console, mpremote, another sagline).",
        )
    if number == errno.EACCES:
        return LinkLost(
            "port_not_allowed", f"You may not open the port {address}.", _permission(address)
        )
    if number == errno.ENOENT:
        return LinkLost(
            "no_such_port",
            f"There is no port {address}.",
            "See `sagline rigs` for the ports there are; check the cable.",
        )
    return LinkLost(
        "port_not_opened",
        f"The port {address} cannot be opened: {error}.",
        "Check the name with `sagline rigs`, and the cable.",
    )


def _permission(address: str) -> str:
    if not sys.platform.startswith("linux"):
        return "Ask whoever looks after this computer for the right to use serial ports."
    return (
        f"Run: sudo usermod -aG {_group(address)} $USER, then log in again. Or for this board "
        f"alone: sudo cp {UDEV_RULE} /etc/udev/rules.d/ && sudo udevadm control --reload && "
        "sudo udevadm trigger, then plug it in again."
    )


def _group(address: str) -> str:
    """Return the group that owns the device file, the usual one where that says nothing."""
    try:
        import grp

        name = grp.getgrgid(os.stat(address).st_gid).gr_name
    except (ImportError, KeyError, OSError):
        return "dialout"
    return "dialout" if name == "root" else name
