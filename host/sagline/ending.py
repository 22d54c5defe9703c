# SPDX-License-Identifier: MIT
"""Being told to end: Ctrl-C, and the signals by which a system or a closed terminal says so."""

import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import FrameType

from sagline.errors import Cancelled

# SIGTERM asks a program to end; SIGHUP tells that its terminal has gone (not on Windows).
SIGNALS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


class Ended(KeyboardInterrupt):
    """A signal told the program to end: unwinds it as Ctrl-C does, through every `finally`."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number


def stopped(number: int = signal.SIGINT, *, closed: bool = True) -> Cancelled:
    """Return the error that says what stopped the program, with its exit status.

    `closed`: whether the rig was closed in time, and with it its load.
    """
    by = "" if number == signal.SIGINT else f" by {signal.Signals(number).name}"
    load = "the load is off" if closed else "the board, which did not answer, turns its load off"
    return Cancelled("stopped", f"Stopped{by}; {load}.", "Start again when you like.", int(number))


def _raise(number: int) -> None:
    raise Ended(number)


@contextmanager
def listening(
    tell: Callable[[int], None] = _raise, signals: Sequence[int] = SIGNALS
) -> Iterator[None]:
    """Within, the first of `signals` to come calls `tell` with its number; later ones do nothing.

    By default Ended is raised, in the main thread. A signal that was ignored before stays so
    (nohup). Elsewhere than in the main thread, which alone gets signals, nothing is changed.
    """
    before: dict[int, object] = {}

    def handle(number: int, _frame: FrameType | None) -> None:
        # Whoever asks twice shall not interrupt the turning off of the load.
        for each in before:
            signal.signal(each, signal.SIG_IGN)
        tell(number)

    if threading.current_thread() is threading.main_thread():
        for number in signals:
            if signal.getsignal(number) is not signal.SIG_IGN:
                before[number] = signal.signal(number, handle)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)  # pyright: ignore[reportArgumentType]
