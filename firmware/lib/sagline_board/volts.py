# SPDX-License-Identifier: MIT
"""Codes to whole millivolts with nominal values, for the guard and for a person.

Integers only, within 0.5 %. The result a user reads is computed by the host
from the codes, never from these.
"""

from . import profile


def transfer(channel, high):
    """Return (gain in 1/1000, lift in uV) of a channel's node.

    node = (V_tap/top + V_ref/lift) / (1/top + 1/foot + 1/lift [+ 1/range_foot]),
    here with conductances in nS.
    """
    top = 1000000000 // channel["top_ohm"]
    lift = 1000000000 // channel["lift_ohm"]
    total = top + lift
    if channel["foot_ohm"]:
        total += 1000000000 // channel["foot_ohm"]
    if high and channel["range_foot_ohm"]:
        total += 1000000000 // channel["range_foot_ohm"]
    reference_mv = profile.REFERENCE["reference_uv"] // 1000
    return top * 1000 // total, reference_mv * lift // total * 1000


class Meter:
    """Tap voltages in mV from sums of codes, for both ranges."""

    def __init__(self):
        self._transfers = [
            [transfer(channel, high) for channel in profile.CHANNELS] for high in (0, 1)
        ]

    def tap_mv(self, source, n, total, high):
        """Return the tap's voltage in mV for `total` over `n` conversions of `source`."""
        converter = profile.CONVERTERS[source >> 2]
        gain, lift_uv = self._transfers[high][source & 3]
        code_x8 = total * 8 // n if total < 100000000 else total // n * 8
        # nV/64 times code*8, over 125, is uV; each product stays below 2**30.
        pin_uv = code_x8 * (converter["lsb_nv"] // 64) // 125
        return (pin_uv - lift_uv) // gain
