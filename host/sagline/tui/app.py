# SPDX-License-Identifier: MIT
"""The terminal UI as a program: it owns the rig's thread and the screens."""

from __future__ import annotations

import asyncio
import signal
from contextlib import ExitStack
from typing import TYPE_CHECKING

from textual import on
from textual.app import App
from textual.binding import Binding
from textual.screen import Screen

from sagline.ending import SIGNALS, listening
from sagline.errors import Cancelled
from sagline.tui.bench import Bench
from sagline.tui.driver import Driver
from sagline.tui.messages import Failed

if TYPE_CHECKING:
    from sagline.device.settings import Settings

# How long the end of the program waits for the rig to be closed. A board that
# does not answer turns its load off by itself.
CLOSE_WITHIN_S = 5.0


class BenchApp(App[None]):
    """Bench on the rig at `address`, e.g. "virtual://lr6?seed=1&pace=real".

    With `autostart` the first measurement begins as soon as the rig is open.
    `fault` is the last exception that is a fault of ours, None if there was none;
    the return code is then 1. `ended_by` is the signal that ended it, SIGINT for Ctrl-C
    or for leaving in mid-measurement, None otherwise; the return code is then 128 more.
    `closed` says whether the rig was closed in time.
    """

    CSS_PATH = "sagline.tcss"
    TITLE = "sagline"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        Binding("q,ctrl+q", "quit", "quit", priority=True),
        Binding("ctrl+c", "interrupt", "stop and quit", priority=True),
    ]

    def __init__(
        self, address: str, settings: Settings | None = None, *, autostart: bool = False
    ) -> None:
        # The terminal's own colours, light or dark as its owner likes them. Said here already:
        # with NO_COLOR Textual chooses its filter by it before there is a theme.
        super().__init__(ansi_color=True)
        self.theme = "ansi-dark"
        self.fault: Exception | None = None
        self.ended_by: int | None = None
        self.closed = True
        self._signals = ExitStack()
        self.bench = Bench()
        self.driver = Driver(address, settings, self.bench.post_message, start_at_once=autostart)
        self.bench.driver = self.driver

    def get_default_screen(self) -> Screen:
        """Begin with Bench."""
        return self.bench

    def on_mount(self) -> None:
        """Hear signals: one that ended the program here would leave the terminal as it is."""
        loop = asyncio.get_running_loop()

        def tell(number: int) -> None:
            loop.call_soon_threadsafe(self._end, number)

        self._signals.enter_context(listening(tell, (*SIGNALS, signal.SIGINT)))

    def on_ready(self) -> None:
        """Open the rig only now: the first screen waits for nothing."""
        self.driver.start()

    async def action_quit(self) -> None:
        """Leave; the rig is closed on the way out."""
        if self.bench.is_measuring:
            self._end(signal.SIGINT)
        else:
            self.exit(return_code=0 if self.fault is None else 1)

    def action_interrupt(self) -> None:
        """Leave as Ctrl-C ends any program."""
        self._end(signal.SIGINT)

    def _end(self, number: int) -> None:
        self.ended_by = number
        self.exit(return_code=Cancelled.status_for(number) if self.fault is None else 1)

    def on_unmount(self) -> None:
        """Turn the load off and close the rig, however the program ends."""
        self.closed = self.driver.quit(CLOSE_WITHIN_S)
        self._signals.close()

    @on(Failed)
    def _failed(self, message: Failed) -> None:
        if message.fault is not None:
            self.fault = message.fault
