# SPDX-License-Identifier: MIT
"""Lists the serial ports of this computer without opening any."""

from dataclasses import dataclass

from serial.tools import list_ports

# Stock MicroPython on an RP2 board (USB vendor and product id).
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
