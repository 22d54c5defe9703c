# SPDX-License-Identifier: MIT
"""The thread that owns the rig. It is told by events and answers by messages.

It is no worker of Textual: those hold up the end of the program. This one is a
daemon, looks at its events at least every tenth of a second, and is joined with
a bound.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from time import monotonic
from typing import TYPE_CHECKING, Any

from textual.message import Message

from sagline.errors import BoardRefused, RigError, SaglineError
from sagline.tui.messages import (
    Advanced,
    DrawerEnded,
    Failed,
    LiveVoltage,
    NotKept,
    Opening,
    RigBack,
    RigLent,
    RigOpened,
    Started,
    StoppedByUser,
)

if TYPE_CHECKING:
    from sagline.device.rig import Rig
    from sagline.device.settings import Settings
    from sagline.drawer.beginning import Ask
    from sagline.drawer.news import Inbox

# The live voltage is read every five slices, a quarter of a second.
SLICE_S = 0.05
SLICES = 5


class Driver(threading.Thread):
    """Opens the rig, reads the live voltage, measures or serves a drawer when asked, closes it."""

    def __init__(
        self,
        address: str,
        settings: Settings | None,
        post: Callable[[Message], Any],
        *,
        start_at_once: bool,
    ) -> None:
        super().__init__(name="sagline-rig", daemon=True)
        self._address = address
        self._settings = settings
        self._post_message = post
        self._start_asked = threading.Event()
        self._stop_asked = threading.Event()
        self._quit_asked = threading.Event()
        # Set with each request but a stop, so that nobody sleeps through one.
        self._wake = threading.Event()
        self._drawer_asked: tuple[Ask, Inbox] | None = None
        self._trip_shown = False
        self._serial_number: str | None = None
        if start_at_once:
            self.measure()

    def measure(self) -> None:
        """Ask for a measurement; a rig that is not open is opened for it."""
        self._stop_asked.clear()
        self._start_asked.set()
        self._wake.set()

    def serve_drawer(self, ask: Ask, inbox: Inbox) -> None:
        """Ask for a drawer, begun or gone on with; a rig that is not open is opened for it."""
        self._drawer_asked = (ask, inbox)
        self._wake.set()

    def stop(self) -> None:
        """Ask for the end of the running measurement, with the load off."""
        self._stop_asked.set()

    def quit(self, within_s: float) -> bool:
        """Turn the load off, close the rig, end the thread; wait for it up to `within_s`.

        Return whether it has ended. Call it from any thread but this one.
        """
        self._quit_asked.set()
        self._wake.set()
        if self.is_alive():
            self.join(within_s)
        return not self.is_alive()

    def run(self) -> None:
        """Serve one session after another until asked to quit."""
        while not self._quit_asked.is_set():
            try:
                self._session()
            except SaglineError as error:
                self._give_up(Failed(error.message, error.remedy))
            except Exception as error:
                self._give_up(
                    Failed(
                        f"Something in sagline went wrong: {type(error).__name__}: {error}.",
                        "Press s to try again; leave with q and the details are saved in a file.",
                        error,
                    )
                )

    def _session(self) -> None:
        """Hold one rig, from opening it to its loss or the end of the program."""
        # Imported here, and not before the first screen is painted.
        from sagline.device.rig import open_rig
        from sagline.rigs import find_again

        self._address = find_again(self._address, self._serial_number)
        self._post(Opening(self._address))
        with open_rig(self._address) as rig:
            self._serial_number = rig.identity.serial
            starting = self._start_asked.is_set()
            self._post(RigOpened(rig.identity.serial, simulated=rig.is_virtual, starting=starting))
            while not self._quit_asked.is_set():
                self._wake.clear()
                if self._start_asked.is_set():
                    self._measure(rig)
                elif self._drawer_asked is not None:
                    self._serve(rig, *self._drawer_asked)
                else:
                    self._idle(rig)

    def _measure(self, rig: Rig) -> None:
        from sagline.device.procedure import run
        from sagline.device.progress import RepeatDone
        from sagline.device.settings import Settings
        from sagline.log.choice import log_for
        from sagline.log.keeper import Keeper

        settings = self._settings or Settings()
        if self._trip_shown:
            # Who presses s after reading that the guard tripped has seen to it.
            settings = replace(settings, clear_trip=True)
            self._trip_shown = False
        self._post(Started(settings.repeats, settings.times_s[0]))
        # Only now: a key pressed during the imports above asks for this same measurement.
        self._start_asked.clear()
        path = log_for(rig, None)
        keeper = None if path is None else Keeper(path)
        progress = run(rig, settings) if keeper is None else keeper.keep(run(rig, settings))
        try:
            for item in progress:
                if self._stop_asked.is_set() or self._quit_asked.is_set():
                    break
                if isinstance(item, RepeatDone):
                    # Here, not on the screen: it takes a moment, and may refuse.
                    _ = item.estimate
                self._post(Advanced(item))
            else:
                if keeper is not None and keeper.failure is not None:
                    self._post(NotKept(keeper.failure.message, keeper.failure.remedy))
                return
        except RigError:
            raise
        except SaglineError as error:
            # The rig itself is well: keep it, and let the live voltage be seen again.
            self._trip_shown = isinstance(error, BoardRefused) and error.is_trip
            self._post(Failed(error.message, error.remedy))
            return
        finally:
            # Closing the generator turns the load off.
            progress.close()
        self._stop_asked.clear()
        self._post(StoppedByUser())

    def _serve(self, rig: Rig, ask: Ask, inbox: Inbox) -> None:
        from sagline.tui.serving import serve

        self._post(RigLent())
        try:
            serve(rig, ask, inbox, self._post, self._quit_asked.is_set)
        except RigError:
            raise
        except SaglineError as error:
            ended = DrawerEnded(error.message, error.remedy)
        else:
            ended = DrawerEnded()
        self._drawer_asked = None
        self._post(ended)
        self._post(RigBack())

    def _idle(self, rig: Rig) -> None:
        self._post(LiveVoltage(rig.live().sense_v))
        for _ in range(SLICES):
            if self._wake.is_set():
                return
            # The rig's own clock must go on; where it does not take the wall's time, sleep.
            began_s = monotonic()
            rig.wait(SLICE_S)
            self._wake.wait(SLICE_S - (monotonic() - began_s))

    def _give_up(self, failed: Failed) -> None:
        """Tell why, and sleep until asked to try again or to quit."""
        # What was asked for has failed: it is not tried again by itself.
        self._start_asked.clear()
        if self._drawer_asked is not None:
            self._drawer_asked = None
            self._post(DrawerEnded(failed.text, failed.remedy))
        self._post(failed)
        while not (self._start_asked.is_set() or self._drawer_asked or self._quit_asked.is_set()):
            self._wake.wait()
            self._wake.clear()

    def _post(self, message: Message) -> None:
        # Raised where the program has ended its loop: nobody is left to be told.
        with suppress(RuntimeError):
            self._post_message(message)
