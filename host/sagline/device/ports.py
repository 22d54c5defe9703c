# SPDX-License-Identifier: MIT
"""Lists the serial ports of this computer without opening any."""

import os
from dataclasses import dataclass

from serial.tools import list_ports

# Stock MicroPython on an RP2 board (USB vendor and product id); the udev rule has it too.
RP2_USB_ID = (0x2E8A, 0x0005)


@dataclass(frozen=True)
class PortInfo:
    """One serial port as the system describes it."""

    port: str
    description: str
    serial_number: str | None
    likely: bool


def list_serial_ports() -> list[PortInfo]:
    """Return every serial port, those with the id of a Pico board marked `likely`."""
    return [
        PortInfo(
            info.device,
            info.description,
            info.serial_number,
            (info.vid, info.pid) == RP2_USB_ID,
        )
        for info in sorted(list_ports.comports(), key=lambda info: info.device)
    ]


def is_same_port(address: str, port: PortInfo) -> bool:
    """Tell whether `address` is this port, by its name or by a link to it (by-id, say)."""
    return address == port.port or os.path.realpath(address) == os.path.realpath(port.port)


def is_serial_number(text: str, port: PortInfo) -> bool:
    """Tell whether `text` is this port's serial number; systems differ in the case of hex."""
    return port.serial_number is not None and port.serial_number.lower() == text.lower()


def serial_number_of(address: str) -> str | None:
    """Return the serial number of the device at `address`, None where the system has none."""
    if "://" in address:
        return None
    for port in list_serial_ports():
        if is_same_port(address, port):
            return port.serial_number
    return None
