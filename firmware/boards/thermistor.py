# SPDX-License-Identifier: MIT
"""The thermistor at the cell, where one is fitted: an ADS1115 of its own, beside the other.

Bead and resistor stand in series across the analogue supply; both the bead's voltage and that
supply are read in one range, so that only their ratio counts. Read at rest alone: it takes the
bus for some milliseconds. Registers are those of the data sheet (SBAS444).
"""

import time

from boards.ads1115 import AGAINST_GROUND, CONFIG, CONVERSION, START

# With its address pin at the supply.
ADDRESS = 0x49
BEAD, SUPPLY = 0, 1
# 4.096 V, 128 conversions a second, no comparator: 8 ms in which the mains' ripple is less.
_RANGE = 1 << 9
_MODE = 0x0183
_DONE = 0x8000
_WAIT_MS = 10
# Below this the supply is none, in codes of 125 uV: 2.5 V.
_LEAST_SUPPLY = 20000

_ETIMEDOUT = 110


class Thermistor:
    """The converter on `i2c`."""

    def __init__(self, i2c):
        self._i2c = i2c
        self._word = bytearray(2)

    def read(self):
        """Return the codes of the bead and of the supply over it. Raises OSError."""
        return self._convert(BEAD), self._convert(SUPPLY)

    def _convert(self, number):
        word = START | (AGAINST_GROUND + number) << 12 | _RANGE | _MODE
        self._i2c.writeto(ADDRESS, bytes([CONFIG, word >> 8, word & 0xFF]))
        time.sleep_ms(_WAIT_MS)
        # Said to be done, and of the same word: whatever else answers here holds no such thing.
        if self._register(CONFIG) != word & ~START | _DONE:
            raise OSError(_ETIMEDOUT)
        code = self._register(CONVERSION)
        return code - 0x10000 if code & 0x8000 else code

    def _register(self, register):
        self._i2c.writeto(ADDRESS, bytes([register]))
        self._i2c.readfrom_into(ADDRESS, self._word)
        return self._word[0] << 8 | self._word[1]


def find_thermistor(i2c):
    """Return the thermistor's converter, None where none answers or none has its supply."""
    found = Thermistor(i2c)
    try:
        return found if found.read()[1] >= _LEAST_SUPPLY else None
    except OSError:
        return None
