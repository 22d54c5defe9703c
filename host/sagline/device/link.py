# SPDX-License-Identifier: MIT
"""One request, one reply, under a deadline.

Every request goes in an envelope (protocol.md). A reply that does not come, or
comes damaged, is asked for again with the same sequence number; the board
answers a repeated request from its store, so nothing is executed twice.
"""

import secrets
from typing import Any

from sagline.analysis.values import Notice
from sagline.device import commandset
from sagline.device.clock import Clock, WallClock
from sagline.device.replay import SCHEME as REPLAY
from sagline.device.serialport import SafePort, open_port
from sagline.device.strangers import recognise
from sagline.device.trace import Tracer
from sagline.errors import (
    NEW_FIRMWARE,
    BoardRefused,
    LinkLost,
    RigError,
    SaglineError,
    WrongDevice,
)
from sagline_board import commands, faults, wire

# How often a request is sent before the link counts as lost. After complete silence
# twice is enough to hear whether the board is back.
TRIES = 8
TRIES_WHEN_SILENT = 2
_MOST_SEQ = 999_999
# How long whatever is on the port may take to say who it is.
_STRANGER_S = 0.5
# After this long without a reply the board may have ended the session.
_SESSION_S = 0.9e-3 * commands.SESSION_MS
# What came and was no reply is kept up to this, to tell what else is on the port.
_MOST_SEEN = 2000


class Link:
    """An open session with a board."""

    def __init__(self, port: Any, address: str, tracer: Tracer | None = None) -> None:
        self._port = port
        self._calls = SafePort(port, address)
        self._address = address
        self._tracer = tracer
        self.clock: Clock = getattr(port, "clock", None) or WallClock()
        self._reader = wire.LineReader(wire.MAX_REPLY)
        self._session = getattr(port, "session", None) or secrets.token_hex(4).upper()
        self._seq = 0
        self._seen = b""
        # When a sagline board has last answered here, on the port's clock.
        self._answered_s: float | None = None
        self._tries = TRIES
        # How many sessions were opened: one more means that the board has ended one meanwhile.
        self.sessions = 0

    @classmethod
    def open(cls, address: str, trace: str | None = None) -> "Link":
        """Open the port at `address` (device name or URL) and a session on it.

        `trace` names a file in which every byte is kept. Raises LinkLost where
        the port cannot be opened or does not answer, WrongDevice where what
        answers is no sagline board or speaks another protocol version,
        UsageError for an address that means nothing or a trace that cannot be
        written.
        """
        port = open_port(address)
        tracer = None
        try:
            if trace is not None:
                clock: Clock = getattr(port, "clock", None) or WallClock()
                tracer = Tracer(trace, address, clock.now_s)
            link = cls(port, address, tracer)
            link._open_session()
        except BaseException:
            SafePort(port, address).close()
            if tracer is not None:
                tracer.close()
            raise
        return link

    @property
    def port(self) -> Any:
        """The port, for hands beside a simulated one; what passes over it is the link's."""
        return self._port

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What must be said with figures that came over this link."""
        found = []
        if self._address.startswith(REPLAY):
            found.append(
                Notice(
                    "replayed",
                    f"played from the recording {self._address.removeprefix(REPLAY)}",
                    "the time of this result is that of the replay; nothing was measured then",
                )
            )
        if self._tracer is not None and self._tracer.failure is not None:
            found.append(
                Notice(
                    "trace_cut",
                    f"the trace {self._tracer.path} ends early: {self._tracer.failure}",
                    "the figures are whole; make room and measure again if you need the trace",
                )
            )
        return tuple(found)

    def request(self, name: str, *values: int | str) -> str:
        """Send the command `name` with `values`; return the reply's text ("OK" for none).

        Raises BoardRefused where the board answers an error, LinkLost or
        WrongDevice where no whole reply comes within the command's deadline,
        tried TRIES times, LinkLost where the board knows this session no more.
        """
        if name not in ("open_session", "close_session") and self._is_stale():
            self._open_session()
        self._seq = self._seq % _MOST_SEQ + 1
        message = commandset.request(name, *values)
        sealed = wire.seal(self._session, self._seq, message) + b"\n"
        deadline_s = commandset.by_name(name).deadline_ms * 1e-3
        self._seen = b""
        for attempt in range(self._tries):
            # The line end ends whatever half line a lost byte has left on the board's side.
            self._send(b"\n" + sealed if attempt else sealed)
            reply = self._await_reply(self.clock.now_s() + deadline_s, sealed)
            if reply is not None:
                self._answered_s = self.clock.now_s()
                self._tries = TRIES
                return self._checked(reply)
        if not self._seen:
            self._tries = TRIES_WHEN_SILENT
        raise self._no_answer(message, sealed)

    def integers(self, name: str, *values: int, least: int = 1) -> list[int]:
        """Send the command `name`; return its reply as integers, `least` or more of them.

        Raises as `request`, and WrongDevice for another reply.
        """
        reply = self.request(name, *values)
        try:
            numbers = [int(text) for text in reply.split(",")]
        except ValueError:
            numbers = []
        if len(numbers) < least:
            raise WrongDevice(
                "bad_reply",
                f"The board answers {commandset.request(name, *values)} with {reply[:60]!r}.",
                NEW_FIRMWARE,
            )
        return numbers

    def fields(self, name: str, *values: int) -> dict[str, int]:
        """Send the command `name`; return its reply under the table's field names.

        Further fields, which a newer board may add at the end, are left out.
        Raises as `integers`.
        """
        names = commandset.by_name(name).reply
        numbers = self.integers(name, *values, least=len(names))
        return dict(zip(names, numbers, strict=False))

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass on the port's own clock."""
        self._calls.wait(lambda: self.clock.wait(seconds))

    def close(self) -> None:
        """End the session and close the port; an absent board is no error here."""
        try:
            self.request("close_session")
        except SaglineError:
            pass
        finally:
            self._calls.close()
            if self._tracer is not None:
                self._tracer.close()

    def _open_session(self) -> None:
        self._send(b"\n")
        self.sessions += 1
        versions = self.integers("open_session", commands.PROTOCOL_MAJOR, least=2)
        if versions[0] != commands.PROTOCOL_MAJOR:
            raise WrongDevice(
                "protocol_version",
                f"The board speaks protocol {versions[0]}.{versions[1]}, this program "
                f"{commands.PROTOCOL_MAJOR}.{commands.PROTOCOL_MINOR}.",
                NEW_FIRMWARE,
            )

    def _is_stale(self) -> bool:
        """Whether so long was nothing heard that the board may have ended the session."""
        return self._answered_s is not None and self.clock.now_s() - self._answered_s > _SESSION_S

    def _checked(self, reply: str) -> str:
        error = wire.parse_error(reply)
        if error is None:
            return reply
        refused = BoardRefused(*error)
        if refused.number == faults.REFUSED_SESSION:
            raise LinkLost(
                "session_lost",
                f"The board on {self._address} knows this session no more.",
                refused.remedy,
            ) from refused
        raise refused

    def _no_answer(self, message: str, sealed: bytes) -> RigError:
        """Return the error for a request without a reply: who is on the port, if it shows."""
        was_a_board = self._answered_s is not None
        if not was_a_board:
            # Any instrument answers this; it changes nothing, and no control
            # character is sent to a stranger.
            self._send(b"*IDN?\n")
            self._await_reply(self.clock.now_s() + _STRANGER_S, sealed)
        stranger = recognise(self._seen, sealed, self._address, was_a_board=was_a_board)
        if stranger is not None:
            return stranger
        if not was_a_board and not self._seen.strip():
            return LinkLost(
                "no_answer",
                f"Nothing answers on {self._address}.",
                "If it is a sagline board, unplug it and plug it in again, with the jumper open. "
                "`sagline rigs` lists the other ports.",
            )
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
        if self._tracer is not None:
            self._tracer.note(">", data)
        self._calls.write(data)

    def _receive(self) -> bytes:
        data = self._calls.read(max(1, self._calls.in_waiting))
        # What waited for a first byte takes the rest of the line with it.
        if data and (more := self._calls.in_waiting):
            data += self._calls.read(more)
        if data and self._tracer is not None:
            self._tracer.note("<", data)
        return data
