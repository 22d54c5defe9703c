# SPDX-License-Identifier: MIT
"""machine.PWM as MicroPython reckons it: whole steps of a period, rounded."""

from __future__ import annotations

import math

from board.rp2_standin import Chip

# The null channel's filter, two time constants of about 10.5 ms.
FILTER_US = 10_500
CLOCK_HZ = {"RP2040": 125_000_000, "RP2350": 150_000_000}


class PwmPin:
    """`top` + 1 steps a period, `level` of them high, and the filter behind the pin."""

    def __init__(self, chip: Chip, clock_hz: int) -> None:
        self.clock_hz = clock_hz
        self.number = -1
        self.top = 0
        self.level = 0
        self._chip = chip
        self._from_v = 0.0
        self._since_us = 0

    def volts(self) -> float:
        """What the filter makes of it now, from a gate supplied with 2.5 V."""
        to_v = 2.5 * self.level / (self.top + 1)
        t = (self._chip.now_us - self._since_us) / FILTER_US
        return to_v + (self._from_v - to_v) * (1 + t) * math.exp(-t)

    def set(self, duty_u16: int) -> None:
        self._from_v = self.volts()
        self._since_us = self._chip.now_us
        self.level = (duty_u16 * (self.top + 1) + 65535 // 2) // 65535


def pwm_class(chip: Chip, pin: PwmPin) -> type:
    """Return machine.PWM, whose one pin is `pin`."""

    class PWM:
        def __init__(self, on: object) -> None:
            pin.number = on.number  # type: ignore[attr-defined]

        def freq(self, hertz: int) -> None:
            steps = (pin.clock_hz + hertz // 2) // hertz
            assert steps < 65534, "a divided clock is not modelled"
            pin.top = steps - 1

        def duty_u16(self, duty_u16: int) -> None:
            chip.access(lambda: pin.set(duty_u16))

    return PWM
