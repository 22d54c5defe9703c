# SPDX-License-Identifier: MIT
"""The virtual rig's clock: whole microseconds that pass only when told to."""

import time


class VirtualClock:
    """Counts microseconds; at pace "real" it holds virtual time to the wall's."""

    def __init__(self, real_pace: bool) -> None:
        self.now_us = 0
        self._real_pace = real_pace
        self._wall_origin_s = time.monotonic()

    def advance(self, delta_us: int) -> None:
        """Let `delta_us` pass. Raises ValueError if it is negative."""
        if delta_us < 0:
            raise ValueError(f"time does not run back: {delta_us} us")
        self.now_us += delta_us
        if self._real_pace:
            ahead_s = self.now_us * 1e-6 - (time.monotonic() - self._wall_origin_s)
            if ahead_s > 0.002:
                time.sleep(ahead_s)
            elif ahead_s < -1.0:
                # A stopped or slow process does not have to catch up.
                self._wall_origin_s = time.monotonic() - self.now_us * 1e-6
