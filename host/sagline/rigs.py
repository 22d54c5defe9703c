# SPDX-License-Identifier: MIT
"""Which rig is meant: by port, serial number or URL, or the only one there is."""

from sagline.device.ports import PortInfo, is_same_port, is_serial_number, list_serial_ports
from sagline.errors import NoRig, UsageError


def resolve(wanted: str | None) -> str:
    """Return the address of the rig that `wanted` names, or of the only rig.

    Raises NoRig where none is found, UsageError where several could be meant.
    """
    if wanted is not None and "://" in wanted:
        return wanted
    ports = list_serial_ports()
    if wanted is not None:
        return _named(wanted, ports)
    likely = [port for port in ports if port.likely]
    if not likely:
        raise NoRig(
            "no_rig",
            "No rig is connected.",
            "Connect one, or see it all work on a simulated one: sagline demo",
        )
    if len(likely) > 1:
        names = ", ".join(port.port for port in likely)
        raise UsageError(
            "several_rigs",
            f"Several boards are connected: {names}.",
            "Choose one with --rig PORT or --rig SERIAL.",
        )
    return likely[0].port


def _named(wanted: str, ports: list[PortInfo]) -> str:
    for port in ports:
        if is_same_port(wanted, port) or is_serial_number(wanted, port):
            return port.port
    # A port the system does not list (a pseudo terminal, say) is tried as it is.
    return wanted


def find_again(address: str, serial_number: str | None) -> str:
    """Return where the board that was at `address` is now: ports change names when replugged.

    By its serial number where the system lists one; else the address it had.
    """
    if serial_number and "://" not in address:
        for port in list_serial_ports():
            if is_serial_number(serial_number, port):
                return port.port
    return address
