# SPDX-License-Identifier: MIT
"""The terminal UI as a program: it owns the rig's thread and the screens."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from functools import partial
from typing import TYPE_CHECKING

from textual import on
from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.message import Message
from textual.screen import Screen

from sagline.ending import SIGNALS, listening
from sagline.errors import Cancelled
from sagline.tui.bench import Bench
from sagline.tui.clerk import Clerk
from sagline.tui.drawer import DrawerRoom
from sagline.tui.driver import Driver
from sagline.tui.logbook import Logbook
from sagline.tui.messages import Failed, ForDrawer
from sagline.tui.room import ROOMS, Room

if TYPE_CHECKING:
    from sagline.device.settings import Settings

# How long the end of the program waits for the rig to be closed. A board that
# does not answer turns its load off by itself.
CLOSE_WITHIN_S = 5.0


class SaglineApp(App[None]):
    """The rooms of the rig at `address`, e.g. "virtual://lr6?seed=1&pace=real".

    With `autostart` the first measurement begins as soon as the rig is open. With `teach` r is
    kept back until a student has given theirs.
    `fault` is the last exception that is a fault of ours, None if there was none;
    the return code is then 1. `ended_by` is the signal that ended it, SIGINT for Ctrl-C
    or for leaving in mid-measurement, None otherwise; the return code is then 128 more.
    `closed` says whether the rig was closed in time.
    """

    CSS_PATH = "sagline.tcss"
    TITLE = "sagline"
    DEFAULT_MODE = ROOMS[0][1]
    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        # No priority: where somebody writes, a letter is a letter.
        Binding("q", "quit", "quit"),
        *(Binding(key, f"room('{name}')", name) for key, name in ROOMS),
        Binding("ctrl+q", "quit", "quit", priority=True),
        Binding("ctrl+c", "interrupt", "stop and quit", priority=True),
    ]

    def __init__(
        self,
        address: str,
        settings: Settings | None = None,
        *,
        autostart: bool = False,
        teach: bool = False,
    ) -> None:
        # The terminal's own colours, light or dark as its owner likes them. Said here already:
        # with NO_COLOR Textual chooses its filter by it before there is a theme.
        super().__init__(ansi_color=True)
        self.theme = "ansi-dark"
        self.fault: Exception | None = None
        self.ended_by: int | None = None
        self.closed = True
        self._signals = ExitStack()
        self.bench = Bench(teach=teach)
        self.driver = Driver(address, settings, self._hear, start_at_once=autostart)
        self.bench.driver = self.driver
        self.clerk = Clerk(self._hand_over, self._clerk_failed)
        simulated = address.startswith("virtual://")
        self.drawer = DrawerRoom(self.driver, self.clerk, self._refusal)
        self.logbook = Logbook(self.clerk, demo=simulated)
        self._rooms: dict[str, Room] = {
            room.NAME: room for room in (self.bench, self.drawer, self.logbook)
        }
        for name, room in self._rooms.items():
            self.add_mode(name, partial(_the, room))

    def on_mount(self) -> None:
        """Hear signals: one that ended the program here would leave the terminal as it is."""
        loop = asyncio.get_running_loop()

        def tell(number: int) -> None:
            loop.call_soon_threadsafe(self._end, number)

        self._signals.enter_context(listening(tell, (*SIGNALS, signal.SIGINT)))

    def on_ready(self) -> None:
        """Open the rig only now: the first screen waits for nothing."""
        self.driver.start()
        self.clerk.start()

    def get_system_commands(self, screen: Screen) -> Iterable[SystemCommand]:
        """Return what can be chosen by name: the rooms, and what the one that is shown can do."""
        for key, name in ROOMS:
            if name != self.current_mode:
                yield SystemCommand(f"Go to {name}", f"Key {key}", partial(self.action_room, name))
        if isinstance(screen, Room):
            for action, key, word in screen.shown_keys:
                act = partial(screen.run_action, action)
                yield SystemCommand(f"{word[0].upper()}{word[1:]}", f"Key {key}", act)

    def action_room(self, name: str) -> None:
        """Go to a room; what goes on at the rig goes on."""
        if name == self.logbook.NAME and self.bench.owes_answer:
            self.bench.show_words("The Logbook tells r: give yours first, with a.")
            name = self.bench.NAME
        self.switch_mode(name)

    async def action_quit(self) -> None:
        """Leave; the rig is closed on the way out."""
        if self.bench.is_measuring or self.drawer.is_measuring:
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
        self.clerk.quit(CLOSE_WITHIN_S)
        self._signals.close()

    @on(Room.StateChanged)
    def _state_changed(self) -> None:
        """Say in the other rooms what goes on at the rig."""
        self.drawer.show_elsewhere(self.bench.busy_words)
        # Bench has words of its own for a rig that the Drawer has.
        self.logbook.show_elsewhere(self.bench.busy_words or self.drawer.busy_words)

    def _handle_exception(self, error: Exception) -> None:
        self.fault = self.fault or error
        super()._handle_exception(error)

    def _fatal_error(self) -> None:
        # No traceback over the terminal: whoever runs this keeps `fault` in a file.
        self._close_messages_no_wait()

    def _hear(self, message: Message) -> None:
        """Pass on what the rig's thread tells; called in that thread."""
        room = self.drawer if isinstance(message, ForDrawer) else self.bench
        room.post_message(message)

    def _refusal(self) -> str:
        """Why the Drawer cannot have the rig now; "" where it can."""
        return self.bench.busy_words

    def _hand_over(self, act: Callable[[], object]) -> None:
        """Call `act` in the screen's thread; from any other."""
        self.call_later(act)

    def _clerk_failed(self, fault: Exception) -> None:
        self.fault = fault
        for room in (self.drawer, self.logbook):
            room.show_fault(fault)

    @on(Failed)
    def _failed(self, message: Failed) -> None:
        if message.fault is not None:
            self.fault = message.fault


def _the(room: Room) -> Room:
    """Return the one room of its kind: a mode asks for a maker of screens."""
    return room
