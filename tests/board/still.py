# SPDX-License-Identifier: MIT
"""A board whose converter always reads the same codes: for exchanges, on either interpreter.

Runs on MicroPython too. Not a stand-in for physics: only the protocol, the
engine's states and the gate are looked at here.
"""

from sagline_board.hardware import ROW, Hardware
from sagline_board.ticks import PERIOD

# Codes of a quiet 1.6 V cell in the 16.5 V range, on-board converter.
CODES = (300, 300, 372)


class StillHardware(Hardware):
    """Counts its own microseconds, remembers every gate change."""

    one_shot = 1
    cold = 1
    model = "still"
    serial = "1"

    def __init__(self):
        Hardware.__init__(self)
        self.now_us = 0
        self.codes = [int(code) for code in CODES]
        self.mask = 0
        self.off_at_us = None
        self.switchings = []
        # What the next capture raises.
        self.fail = None  # type: BaseException | None

    def ticks_us(self):
        return self.now_us % PERIOD

    def switch(self, mask, longest_us):
        self.settle()
        self.mask = mask
        self.off_at_us = self.now_us + longest_us if mask else None
        self.switchings.append((self.now_us, mask))

    def settle(self):
        """End the one-shot's pulse when its time has come."""
        if self.off_at_us is not None and self.now_us >= self.off_at_us:
            self.switchings.append((self.off_at_us, 0))
            self.mask = 0
            self.off_at_us = None

    def set_range(self, high):
        self.high = high

    def capture(self, length_us, bin_us):
        if self.fail is not None:
            raise self.fail
        rows = 0
        start_us = self.now_us
        left_us = length_us
        while left_us > 0:
            width_us = min(bin_us, left_us)
            for channel in range(3):
                row = (channel, start_us % PERIOD, width_us, 8, 8 * self.codes[channel])
                for offset, value in enumerate(row):
                    self.rows[rows * ROW + offset] = value
                rows += 1
            start_us += width_us
            left_us -= width_us
        self.now_us += length_us
        self.settle()
        return rows


# Where the null of StillNull balances its cell: at the pin, 2.5 V / 4096 a setting.
BALANCE = 1264
# Codes of 7.8125 uV in one setting.
SETTING_CODES = 78


class StillNull(StillHardware):
    """The same with an ADS1115 and a null channel: one round of four conversions a capture."""

    ads1115 = 1
    null = 1

    def __init__(self):
        StillHardware.__init__(self)
        self.setting = 0
        self.settings = []

    def set_null(self, setting):
        self.setting = setting
        self.settings.append(setting)

    def capture(self, length_us, bin_us):
        at_us = self.now_us
        rows = StillHardware.capture(self, length_us, bin_us)
        difference = max(-32768, min(32767, SETTING_CODES * (BALANCE - self.setting)))
        for channel, code in enumerate((3500, 3500, 4346, difference)):
            row = (4 + channel, at_us % PERIOD, length_us, 1, code)
            for offset, value in enumerate(row):
                self.rows[rows * ROW + offset] = value
            rows += 1
        return rows


def let_pass(board, hw, duration_us):
    """Poll the board for `duration_us`, as its main loop would."""
    until_us = hw.now_us + duration_us
    while hw.now_us < until_us:
        idle_us = board.poll()
        if idle_us:
            hw.now_us += min(idle_us, until_us - hw.now_us)
        hw.settle()
