# SPDX-License-Identifier: MIT
"""A null channel below the protocol: sense less a settled voltage, whose reference is 0.2 % off."""

from array import array

from sagline.virtual import port
from sagline.virtual.hardware import VirtualHardware
from sagline_board.hardware import ROW
from sagline_board.profile import CONVERTERS, NULL

SENSE, DIFFERENCE = 4, 7


class NullHardware(VirtualHardware):
    null = 1
    setting = 0
    # Of the channel's reference, relative.
    error = 0.002

    def set_null(self, setting):
        self.setting = setting

    def capture(self, length_us, bin_us):
        count = super().capture(length_us, bin_us)
        null_v = self.setting * NULL["reference_uv"] * 1e-6 / NULL["settings"] * (1 + self.error)
        for index in range(count):
            source, start, length, n, total = self.rows[index * ROW : index * ROW + ROW]
            if source == SENSE:
                pin_v = total / n * CONVERTERS[1]["lsb_nv"] * 1e-9
                code = round((pin_v - null_v) / (NULL["lsb_pv"] * 1e-12))
                code = max(-NULL["full_code"] - 1, min(NULL["full_code"], code))
                row = array("i", (DIFFERENCE, start, length, n, n * code))
                self.rows[count * ROW : count * ROW + ROW] = row
                count += 1
        return count


def fit(monkeypatch, kind=NullHardware):
    """Let every virtual rig that is opened from now on have the channel."""
    monkeypatch.setattr(port, "VirtualHardware", kind)
