# SPDX-License-Identifier: MIT
"""The small contract between the portable core and a board.

`boards/pico.py`, `boards/unix.py` and the virtual rig each implement it. The
core calls nothing else of the hardware, and `capture` is the only call that
takes time.
"""

from array import array

from .keep import MemoryFiles

# Rows that one capture may return: 20 bins of three channels, and the slower
# converter's few conversions beside them.
MAX_ROWS = 96
ROW = 5

# The channels of the ADS1115 in turn: sense and force alternate, return is read every eighth
# time. With the null channel half of sense's turns go to its difference, channel 3. The order
# begins anew at each edge, so that it is the same before and after. Its second half holds
# every channel.
ADS_ORDER = (0, 1, 0, 1, 0, 1, 0, 2)
ADS_NULL_ORDER = (3, 1, 0, 1, 3, 1, 0, 2)


class Hardware:
    """What a board offers to the core.

    rows: array('i') of MAX_ROWS * ROW integers, filled by `capture`: source
        (converter * 4 + channel), start tick, length in us, conversions
        summed, sum of codes.
    onboard, ads1115: 1 where that converter is fitted.
    null: 1 where the null channel is fitted; then every round of the ADS1115 also reads sense
        less null, source 7, and `set_null` sets it.
    wide_codes: 1 where the on-board converter has the RP2040's wide codes.
    thermistor: 1 where one is fitted; `read_thermistor` then reads it.
    build: `profile.FULL`, or `profile.BASE`, which has no ARM.
    one_shot: 1 where the hardware itself ends each gate pulse.
    hung: 1 where the board starts because the firmware hung with a load on.
    cold: 1 where the loads are known to be cold at start.
    model, serial: fields two and three of *IDN?.
    files: where a document is kept through a reset (keep.py says what it offers); here memory.
    """

    onboard = 1
    ads1115 = 0
    null = 0
    thermistor = 0
    wide_codes = 0
    build = 0
    one_shot = 0
    hung = 0
    cold = 0
    model = "rig"
    serial = "0"

    def __init__(self):
        self.rows = array("i", [0] * (MAX_ROWS * ROW))
        self.files = MemoryFiles()

    def ticks_us(self):
        """Return the microsecond counter, 0 to 2**30 - 1."""
        raise NotImplementedError

    def switch(self, mask, longest_us):
        """Turn on the loads of `mask` and no others; mask 0 turns all off.

        `commands.ARM_ALONE` closes the ARM switch that every load shares, and no gate.

        Where `one_shot` is 1 the hardware turns them off by itself after
        `longest_us`, whatever the interpreter does.
        """
        raise NotImplementedError

    def set_range(self, high):
        """Choose the 16.5 V range (1) or the low range (0)."""
        raise NotImplementedError

    def set_null(self, setting):
        """Set the null channel's voltage, 0 to `profile.NULL["settings"]` - 1."""
        raise NotImplementedError

    def read_thermistor(self):
        """Return the codes of the thermistor and of the voltage over it and its resistor.

        Raises OSError. Called at rest only.
        """
        raise NotImplementedError

    def capture(self, length_us, bin_us):
        """Sample for `length_us`, return how many rows were written.

        The on-board converter gives one row per channel for each `bin_us`, or
        more where it samples in shorter pieces; the ADS1115 one row for each
        conversion that ended meanwhile.
        """
        raise NotImplementedError
