# SPDX-License-Identifier: MIT
"""A virtual rig behind a TCP port of this computer, at the pace of a real one.

One client at a time has the rig's serial line; what comes from it goes to the
board, what the board says goes back. A client that goes leaves a running step
to the firmware's own rules. Bytes only: nothing is composed here but the
refusal of a second client. The next port up takes what the hands beside the
rig are bidden to do (`bidding.py`).
"""

import select
import socket
from contextlib import suppress
from urllib.parse import quote, urlencode, urlsplit

from sagline.errors import UsageError
from sagline.virtual.address import query_values
from sagline.virtual.bidding import obey
from sagline.virtual.hands import Hands
from sagline.virtual.port import VirtualPort

HOST = "127.0.0.1"
# What a second client is told; the host knows these words (`device/strangers.py`).
BUSY = b"busy: another program has this rig\n"
# A refused client keeps its connection until it goes, so that it can read why.
_MOST_REFUSED = 8
# How long the board runs between two looks at the sockets.
TICK_US = 5_000
_CHUNK = 4096


def real_pace_url(name: str) -> str:
    """Return the address of the rig `name` (a name or a virtual:// URL) at pace=real."""
    parts = urlsplit(name if "://" in name else f"virtual://{name}")
    query = query_values(parts.query)
    query.setdefault("pace", "real")
    return parts._replace(query=urlencode(query, quote_via=quote)).geturl()


def listen(port: int) -> socket.socket:
    """Return a listening socket on `port` of this computer, 0 for any free one.

    Raises UsageError where the port is taken or not allowed.
    """
    listener = socket.socket()
    # Another server may have had the port a moment ago.
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise UsageError(
            "port_taken",
            f"Port {port} of this computer cannot be used: {error.strerror}",
            "Choose another --port, or 0 for a free one.",
        ) from error
    return listener


def _listen_pair(port: int) -> tuple[socket.socket, socket.socket]:
    """Return listening sockets on `port` and the next one up; any free pair for 0."""
    for _ in range(100):
        first = listen(port)
        number = first.getsockname()[1]
        try:
            return first, listen(number + 1)
        except (UsageError, OverflowError):
            first.close()
            if port:
                raise UsageError(
                    "port_taken",
                    f"Port {number + 1} of this computer, for the hands, cannot be used.",
                    "Choose another --port, or 0 for a free pair.",
                ) from None
    raise UsageError("port_taken", "No free pair of ports was found.", "Give --port a number.")


class RigServer:
    """One rig and its client. Use as a context manager: leaving it turns the load off."""

    def __init__(self, name: str, port: int) -> None:
        self.rig = VirtualPort(real_pace_url(name), timeout=0)
        self._listener, self._hands_listener = _listen_pair(port)
        self._hands = Hands(self.rig)
        self._client: socket.socket | None = None
        self._refused: list[socket.socket] = []
        self._taken = False
        self.port: int = self._listener.getsockname()[1]
        self.hands_port: int = self._hands_listener.getsockname()[1]

    def __enter__(self) -> "RigServer":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def run(self) -> None:
        """Serve until interrupted."""
        while True:
            self.turn()

    def turn(self) -> None:
        """Look at the sockets once; let the board answer at once, or else run for a tick."""
        # The client first: it may be going, which makes room for the next.
        watched = [self._listener, self._hands_listener]
        if self._client is not None:
            watched.insert(0, self._client)
        watched += self._refused
        for ready in select.select(watched, [], [], 0)[0]:
            if ready is self._listener:
                self._accept()
            elif ready is self._hands_listener:
                self._bidding()
            elif ready is self._client:
                self._take()
            else:
                self._overhear(ready)
        # An answer takes no time of the board's. A tick, at real pace, takes what it says,
        # and those left out for answers are made up for.
        self.rig.run_for(0 if self._taken else TICK_US)
        self._taken = False
        self._give()

    def close(self) -> None:
        """Turn the load off and close the sockets."""
        self.rig.board.engine.abort()
        self.rig.close()
        self._drop()
        for client in self._refused:
            client.close()
        self._listener.close()
        self._hands_listener.close()

    def _accept(self) -> None:
        client, _ = self._listener.accept()
        if self._client is not None:
            client.setblocking(False)
            with suppress(OSError):
                client.sendall(BUSY)
            self._refused.append(client)
            for oldest in self._refused[:-_MOST_REFUSED]:
                self._dismiss(oldest)
            return
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # A client that does not read may hold the rig up for a second, not for ever.
        client.settimeout(1.0)
        self._client = client

    def _bidding(self) -> None:
        """Take one line from whoever came to the hands' port, and answer it."""
        visitor, _ = self._hands_listener.accept()
        with visitor:
            visitor.settimeout(0.5)
            with suppress(OSError), visitor.makefile("rwb") as lines:
                line = lines.readline(200).decode("ascii", "replace")
                lines.write(obey(self._hands, line).encode() + b"\n")

    def _take(self) -> None:
        assert self._client is not None
        try:
            data = self._client.recv(_CHUNK)
        except OSError:
            data = b""
        if data:
            self.rig.write(data)
            self._taken = True
        else:
            self._drop()

    def _overhear(self, refused: socket.socket) -> None:
        """Drop what a refused client says, and itself once it has gone."""
        try:
            said = refused.recv(_CHUNK)
        except OSError:
            said = b""
        if not said:
            self._dismiss(refused)

    def _dismiss(self, refused: socket.socket) -> None:
        if refused in self._refused:
            self._refused.remove(refused)
            refused.close()

    def _give(self) -> None:
        data = self.rig.read(self.rig.in_waiting)
        if data and self._client is not None:
            try:
                self._client.sendall(data)
            except OSError:
                self._drop()

    def _drop(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
