# SPDX-License-Identifier: MIT
"""The null channel's voltage: a PWM whose pulses a filter makes steady.

One step of the PWM is one setting, at the highest rate that allows: 30.5 kHz
from a Pico's 125 MHz, 36.6 kHz from a Pico 2's 150 MHz, both divided by whole
numbers, so that no pulse differs from the next.
"""

import time

from sagline_board.profile import ADS1115, CONVERTERS, NULL, NULL_DIFFERENCE

# Settings at which it is looked for, and how near it must come: its two tolerances and
# the converter's are below a hundredth, a follower does not come down to ground.
_TRIED = (0, NULL["settings"] // 4)
_WITHIN_UV = 60000
# Its filter takes 0.22 s for 3 V to the last microvolts (simulated circuit).
_SETTLED_MS = 300


class NullPwm:
    """Sets the voltage on the PWM object `pwm`, whose clock runs at `clock_hz`."""

    def __init__(self, pwm, clock_hz):
        self._settings = NULL["settings"]
        self._pwm = pwm
        # MicroPython takes clock over rate, rounded, for the steps of a period.
        pwm.freq(clock_hz // self._settings)
        self.set(0)

    def set(self, setting):
        """Set the voltage to `setting` steps of the reference over all settings.

        The product stays below 2**28; rounded there and here, it comes out as the setting.
        """
        self._pwm.duty_u16((setting * 65535 + self._settings // 2) // self._settings)


def find_null(null, converter):
    """Return whether the ADS1115 `converter` reads on its fourth input what `null` sets.

    Takes 0.6 s and leaves the setting at 0.
    """
    lsb_nv = CONVERTERS[ADS1115]["lsb_nv"]
    found = True
    for setting in reversed(_TRIED):
        null.set(setting)
        time.sleep_ms(_SETTLED_MS)
        wanted_uv = NULL["reference_uv"] // NULL["settings"] * setting
        try:
            read_uv = converter.read_pin(NULL_DIFFERENCE) * (lsb_nv // 100) // 10
        except OSError:
            return False
        if abs(read_uv - wanted_uv) > _WITHIN_UV:
            found = False
    return found
