# SPDX-License-Identifier: MIT
"""One request, one reply, under a deadline: the only place that opens a port.

Every request goes in an envelope (protocol.md). A reply that does not come, or
comes damaged, is asked for again with the same sequence number; the board
answers a repeated request from its store, so nothing is executed twice.
"""

import secrets
from contextlib import suppress
from typing import Any

import serial

from sagline.device.clock import Clock, WallClock
from sagline.device.opening import explain
from sagline.device.strangers import recognise
from sagline.device.trace import REPLAY, ReplayPort, TracedPort, open_trace
from sagline.errors import BoardRefused, LinkLost, RigError, UsageError, WrongDevice
from sagline_board import commands, wire

# How often a request is sent before the link counts as lost.
TRIES = 8
_READ_TIMEOUT_S = 0.1
_WRITE_TIMEOUT_S = 1.0
# How long whatever is on the port may take to say who it is.
_STRANGER_S = 0.5

if "sagline.virtual" not in serial.protocol_handler_packages:
    serial.protocol_handler_packages.append("sagline.virtual")

try:  # pyserial raises termios.error from flush() on an unplugged port.
    from termios import error as _TermiosError
except ImportError:  # Windows has no termios.
    _TermiosError = OSError
_PORT_ERRORS = (serial.SerialException, OSError)
# What pyserial was seen to raise when a device is pulled out, by platform and call.
_UNPLUGGED = (*_PORT_ERRORS, _TermiosError, TypeError, AttributeError)


# What came and was no reply is kept up to this, to tell what else is on the port.
_MOST_SEEN = 2000


class Link:
    """An open session with a board."""

    def __init__(self, port: Any, address: str) -> None:
        self._port = port
        self._address = address
        self.clock: Clock = getattr(port, "clock", None) or WallClock()
        # A port that is no device does not go away: its errors are our own.
        self._unplugged = _PORT_ERRORS if hasattr(port, "clock") else _UNPLUGGED
        self._reader = wire.LineReader(wire.MAX_REPLY)
        self._session = getattr(port, "session", None) or secrets.token_hex(4).upper()
        self._seq = 0
        self._seen = b""
        # Whether a sagline board has ever answered here.
        self._answered = False

    @classmethod
    def open(cls, address: str, trace: str | None = None) -> "Link":
        """Open the port at `address` (device name or URL) and a session on it.

        `trace` names a file in which every byte is kept. Raises LinkLost where
        the port cannot be opened or does not answer, WrongDevice where what
        answers is no sagline board or speaks another protocol version,
        UsageError for an address that means nothing or a trace that cannot be
        written.
        """
        port = _open_port(address)
        try:
            if trace is not None:
                clock: Clock = getattr(port, "clock", None) or WallClock()
                port = TracedPort(port, clock.now_s, open_trace(trace))
            link = cls(port, address)
            link._open_session()
        except BaseException:
            port.close()
            raise
        return link

    def _open_session(self) -> None:
        self._send(b"\n")
        major, minor = self.integers("open_session", commands.PROTOCOL_MAJOR)
        if major != commands.PROTOCOL_MAJOR:
            raise WrongDevice(
                "protocol_version",
                f"The board speaks protocol {major}.{minor}, this program "
                f"{commands.PROTOCOL_MAJOR}.{commands.PROTOCOL_MINOR}.",
                "Install the firmware that belongs to this program, or the other way round.",
            )

    def request(self, name: str, *values: int) -> str:
        """Send the command `name` with `values`; return the reply's text ("OK" for none).

        Raises BoardRefused where the board answers an error, LinkLost or
        WrongDevice where no whole reply comes within the command's deadline,
        tried TRIES times.
        """
        self._seq = self._seq % 999_999 + 1
        message = commands.request(name, *values)
        sealed = wire.seal(self._session, self._seq, message) + b"\n"
        deadline_s = commands.by_name(name).deadline_ms * 1e-3
        self._seen = b""
        for attempt in range(TRIES):
            # The line end ends whatever half line a lost byte has left on the board's side.
            self._send(b"\n" + sealed if attempt else sealed)
            reply = self._await_reply(self.clock.now_s() + deadline_s, sealed)
            if reply is not None:
                self._answered = True
                error = wire.parse_error(reply)
                if error is not None:
                    raise BoardRefused(*error)
                return reply
        raise self._no_answer(message, sealed)

    def integers(self, name: str, *values: int) -> list[int]:
        """Send the command `name`; return its reply as integers. Raises as `request`."""
        reply = self.request(name, *values)
        try:
            return [int(text) for text in reply.split(",")]
        except ValueError as error:
            raise WrongDevice(
                "bad_reply",
                f"The board answers {commands.request(name, *values)} with {reply[:60]!r}.",
                "Install the firmware that belongs to this program.",
            ) from error

    def fields(self, name: str, *values: int) -> dict[str, int]:
        """Send the command `name`; return its reply under the table's field names."""
        names = commands.by_name(name).reply
        numbers = self.integers(name, *values)
        if len(names) != len(numbers):
            raise WrongDevice(
                "bad_reply",
                f"The board answers {name} with {len(numbers)} fields instead of {len(names)}.",
                "Install the firmware that belongs to this program.",
            )
        return dict(zip(names, numbers, strict=True))

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass on the port's own clock."""
        self.clock.wait(seconds)

    def close(self) -> None:
        """End the session and close the port; an absent board is no error here."""
        try:
            self.request("close_session")
        except (RigError, BoardRefused):
            pass
        finally:
            with suppress(*self._unplugged):
                self._port.close()

    def _no_answer(self, message: str, sealed: bytes) -> RigError:
        """Return the error for a request without a reply: who is on the port, if it shows."""
        if not self._answered:
            # Any instrument answers this; it changes nothing, and no control
            # character is sent to a stranger.
            self._send(b"*IDN?\n")
            self._await_reply(self.clock.now_s() + _STRANGER_S, sealed)
        stranger = recognise(self._seen, sealed, self._address, was_a_board=self._answered)
        if stranger is not None:
            return stranger
        return LinkLost(
            "no_answer",
            f"The board on {self._address} does not answer {message}.",
            "Check the cable and that the sagline firmware runs on the board; reset it.",
        )

    def _await_reply(self, until_s: float, sealed: bytes) -> str | None:
        request = sealed.rstrip()
        while True:
            data = self._receive()
            self._seen = (self._seen + data)[-_MOST_SEEN:]
            for line in self._reader.feed(data):
                # A port that sends back what it gets would answer with our own words.
                if line is wire.OVERRUN or line == request:
                    continue
                opened = wire.unseal(line)
                if opened is None and wire.is_sealed(line):
                    # A reply, damaged on the way: asked for again at once.
                    return None
                if opened is not None and opened[:2] == (self._session, self._seq):
                    return opened[2]
            if self.clock.now_s() >= until_s:
                return None

    def _send(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except self._unplugged as error:
            raise self._lost(error) from error

    def _receive(self) -> bytes:
        try:
            return self._port.read(max(1, self._port.in_waiting))
        except self._unplugged as error:
            raise self._lost(error) from error

    def _lost(self, error: BaseException) -> LinkLost:
        return LinkLost(
            "link_lost",
            f"The port {self._address} went away: {error}.",
            "Plug the board in again and measure again; the load turns itself off.",
        )


def _open_port(address: str) -> Any:
    if address.startswith(REPLAY):
        return ReplayPort(address.removeprefix(REPLAY))
    try:
        port = serial.serial_for_url(
            address,
            do_not_open=True,  # pyright: ignore[reportCallIssue] - not in the stub
            timeout=_READ_TIMEOUT_S,
            write_timeout=_WRITE_TIMEOUT_S,
        )
        if "://" not in address:
            port.exclusive = True
        port.open()
    except OSError as error:  # serial.SerialException is one
        raise explain(address, error) from error
    except ValueError as error:
        raise UsageError(
            "bad_address",
            f"The address {address} means nothing here: {error}.",
            "Give a port such as /dev/ttyACM0 or COM3, or 'virtual://lr6'.",
        ) from error
    return port
