# SPDX-License-Identifier: MIT
"""A serial port, opened with the reason where it does not, and one error for its going away.

pyserial raises five kinds of exception when a plug is pulled, by call and
system: SerialException, OSError, termios.error (no OSError), and TypeError or
AttributeError where it works on with the descriptor it has lost. The last two
are an unplugging only where pyserial's own code raised them; anywhere else
they are a mistake of ours and stay what they are.
"""

from collections.abc import Callable
from contextlib import suppress
from typing import Any

import serial

from sagline.device.opening import check_socket, explain
from sagline.device.ports import serial_number_of
from sagline.errors import LinkLost, UsageError

READ_TIMEOUT_S = 0.1
WRITE_TIMEOUT_S = 1.0

for _package in ("sagline.virtual", "sagline.device"):
    if _package not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(_package)

try:
    from termios import error as _TermiosError
except ImportError:  # Windows has no termios.
    _TermiosError = OSError


def open_port(address: str) -> Any:
    """Return the open pyserial port at `address` (device name or URL).

    Raises LinkLost or WrongDevice with the reason where it does not open,
    UsageError for an address that means nothing.
    """
    if address.startswith("socket://"):
        check_socket(address)
    try:
        port = serial.serial_for_url(
            address,
            do_not_open=True,  # pyright: ignore[reportCallIssue] - not in the stub
            timeout=READ_TIMEOUT_S,
            write_timeout=WRITE_TIMEOUT_S,
        )
        if "://" not in address:
            port.exclusive = True
        port.open()
    except (OSError, _TermiosError) as error:  # serial.SerialException is an OSError
        raise explain(address, error) from error
    except ValueError as error:
        raise UsageError(
            "bad_address",
            f"The address {address} means nothing here: {error}.",
            "Give a port such as /dev/ttyACM0 or COM3, or 'virtual://lr6'.",
        ) from error
    return port


class SafePort:
    """pyserial's calls on an open port; whatever an unplugged one raises becomes LinkLost."""

    def __init__(self, port: Any, address: str) -> None:
        self._port = port
        self._address = address
        # Asked now: a port that has gone is no longer in the system's list.
        self._serial_number = serial_number_of(address)
        self._gone: LinkLost | None = None

    @property
    def in_waiting(self) -> int:
        """How many bytes can be read at once."""
        return self._call(lambda: self._port.in_waiting)

    def read(self, size: int) -> bytes:
        """Return up to `size` bytes, none where none came within the timeout."""
        return self._call(lambda: self._port.read(size))

    def write(self, data: bytes) -> None:
        """Send `data`. Raises LinkLost, also where the device has stopped taking bytes."""
        self._call(lambda: self._port.write(data))

    def wait(self, pause: Callable[[], None]) -> None:
        """Let `pause` pass time: that of a simulated rig passes through its port."""
        self._call(pause)

    def flush(self) -> None:
        """Wait until everything is sent."""
        self._call(lambda: self._port.flush())

    def reset_input_buffer(self) -> None:
        """Forget what came and was not read."""
        self._call(lambda: self._port.reset_input_buffer())

    def close(self) -> None:
        """Close the port. One that has gone is dropped without a word."""
        self._gone = None
        with suppress(LinkLost):
            self._call(self._port.close)

    def _call(self, call: Callable[[], Any]) -> Any:
        if self._gone is not None:
            # The first reason is the one to know.
            raise self._gone
        reason: Exception
        try:
            return call()
        except serial.SerialTimeoutException as error:
            raise LinkLost(
                "port_blocked",
                f"What is on the port {self._address} takes no more bytes.",
                "Unplug the board and plug it in again, then measure again.",
            ) from error
        except (OSError, _TermiosError) as error:
            reason = error
        except (TypeError, AttributeError) as error:
            if not _raised_by_pyserial(error):
                raise
            reason = error
        self._gone = self._lost(reason)
        raise self._gone from reason

    def _lost(self, reason: Exception) -> LinkLost:
        if self._serial_number is None:
            return LinkLost(
                "link_lost",
                f"The port {self._address} went away: {reason}.",
                "Plug the board in again and measure again; the load turns itself off.",
            )
        return LinkLost(
            "link_lost",
            f"The board {self._serial_number} on {self._address} went away: {reason}.",
            "Plug it in again and measure again; the load turns itself off. Under whatever "
            f"name the port comes back, --rig {self._serial_number} finds the board.",
        )


def _raised_by_pyserial(error: Exception) -> bool:
    """Tell whether the innermost frame of `error` is pyserial's own code."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    module = "" if trace is None else trace.tb_frame.f_globals.get("__name__", "")
    return module.partition(".")[0] == "serial"
