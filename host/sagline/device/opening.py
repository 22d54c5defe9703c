# SPDX-License-Identifier: MIT
"""Why a port could not be opened, and what to do about it on this system."""

import errno
import os
import sys
from pathlib import Path
from urllib.parse import urlsplit

from sagline.errors import LinkLost, RigError, UsageError, WrongDevice

UDEV_RULE = Path(__file__).parents[1] / "udev" / "70-sagline.rules"
_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)
_LIST = "`sagline rigs` lists the ports there are"


def explain(address: str, error: Exception, platform: str = sys.platform) -> RigError:
    """Return the error a person reads for what the system said about opening `address`."""
    number = getattr(error, "errno", None)
    said = str(error)
    # Windows lends a port to one program only, and calls that a lack of permission.
    if number in _BUSY or (platform == "win32" and "PermissionError" in said):
        return LinkLost(
            "port_in_use",
            f"Another program has the port {address}.",
            "Close it (a serial monitor, an editor's board console, mpremote, another sagline).",
        )
    if number in (errno.EACCES, errno.EPERM):
        return LinkLost(
            "port_not_allowed",
            f"You may not open the port {address}.",
            _permission(address, platform),
        )
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or "FileNotFoundError" in said:
        return LinkLost(
            "no_such_port",
            f"There is no port {address}.",
            f"{_LIST}; check the cable, and that it is one for data.",
        )
    if number in (errno.ENOTTY, errno.EISDIR) or "Could not configure port" in said:
        return WrongDevice(
            "not_a_port", f"The port {address} is there, but it is no serial port.", f"{_LIST}."
        )
    if address.startswith("socket://"):
        return LinkLost(
            "port_not_opened",
            f"Nothing can be reached at {address}: {said}.",
            "Check host and port; `sagline virtual serve NAME --port N` serves a simulated rig.",
        )
    return LinkLost(
        "port_not_opened",
        f"The port {address} cannot be opened: {said}.",
        f"{_LIST}; check the cable.",
    )


def check_socket(address: str) -> None:
    """Raise UsageError for a socket:// address without a host or without a port number."""
    parts = urlsplit(address)
    try:
        complete = parts.hostname and parts.port is not None
    except ValueError:  # no number, or one beyond 65535
        complete = False
    if not complete:
        raise UsageError(
            "bad_address",
            f"The address {address} lacks a host or the number of a port, 0 to 65535.",
            "Write it as socket://HOST:PORT, for example socket://127.0.0.1:5025.",
        )


def _permission(address: str, platform: str) -> str:
    if platform == "darwin":
        return (
            f"On macOS everybody may use a serial port; see who owns this one with: ls -l "
            f"{address}. Use the name that begins with /dev/cu."
        )
    if not platform.startswith("linux"):
        return f"See who owns the port with: ls -l {address}"
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
