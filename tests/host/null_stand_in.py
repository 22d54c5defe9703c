# SPDX-License-Identifier: MIT
"""A null channel below the protocol: sense less a settled voltage, whose reference is 0.2 % off."""

from array import array

from sagline.virtual import port
from sagline.virtual.hardware import VirtualHardware
from sagline_board.hardware import ROW
from sagline_board.profile import CONVERTERS, NULL

SENSE, DIFFERENCE = 4, 7


class NullHardware(VirtualHardware):
    """The channel's own faults are the tests' to choose; any that is simulated gives way."""

    setting = 0
    # Of the channel's reference, relative.
    error = 0.002
    answers = True

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.null = 1

    def set_null(self, setting):
        self.setting = setting

    def capture(self, length_us, bin_us):
        rows = self._without_channel(super().capture(length_us, bin_us))
        null_v = self.setting * NULL["reference_uv"] * 1e-6 / NULL["settings"] * (1 + self.error)
        for source, start, length, n, total in list(rows):
            if source == SENSE and self.answers:
                pin_v = total / n * CONVERTERS[1]["lsb_nv"] * 1e-9
                code = round((pin_v - null_v) / (NULL["lsb_pv"] * 1e-12))
                code = max(-NULL["full_code"] - 1, min(NULL["full_code"], code))
                rows.append((DIFFERENCE, start, length, n, n * code))
        for index, row in enumerate(rows):
            self.rows[index * ROW : index * ROW + ROW] = array("i", row)
        return len(rows)

    def _without_channel(self, count):
        rows = [tuple(self.rows[at * ROW : at * ROW + ROW]) for at in range(count)]
        return [row for row in rows if row[0] != DIFFERENCE]


def fit(monkeypatch, kind=NullHardware):
    """Let every virtual rig that is opened from now on have the channel."""
    monkeypatch.setattr(port, "VirtualHardware", kind)
