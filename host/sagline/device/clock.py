# SPDX-License-Identifier: MIT
"""Where link and procedure get their time from: the port's clock, or the wall's."""

import time
from typing import Protocol


class Clock(Protocol):
    """Seconds that only ever grow, and a way to let some pass."""

    def now_s(self) -> float:
        """Return the seconds since some fixed instant."""
        ...

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass."""
        ...


class WallClock:
    """The clock of a rig that is really there."""

    def now_s(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)
