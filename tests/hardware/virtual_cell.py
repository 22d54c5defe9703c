# SPDX-License-Identifier: MIT
"""A resistive cell in the virtual rig with parts as marked: volts at its pins, and its current."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from spice import Bench

from sagline.virtual.converter import FOLLOWER_LOW_V
from sagline.virtual.network import whole
from sagline.virtual.parts import nominal_parts

FORCE_LEAD_OHM, RETURN_LEAD_OHM, SENSE_NEG_OHM = 0.055, 0.06, 1.55
"""Those of the bench: lead and fuse of positive force, negative force, and negative sense."""


def virtual(bench: Bench) -> tuple[list[float], list[float]]:
    """(sense, force, return pins in V, cell's current in A), at rest and loaded."""
    parts = replace(
        nominal_parts(),
        force_path_ohm=FORCE_LEAD_OHM,
        return_path_ohm=RETURN_LEAD_OHM,
        sense_path_ohm=SENSE_NEG_OHM,
    )
    found = []
    for mask in (0, 1 << (bench.load or 0)):
        network = whole(parts, bench.r_ohm, mask, bench.high, bench.emf_v)
        taps_v = (network.tap_slope * bench.emf_v + network.tap_zero_v)[:, 0]
        pins = []
        for channel, tap_v in zip(parts.channels, taps_v, strict=True):
            gain, lift_v = channel.transfer(parts.reference_v, bench.high)
            pins.append(float(np.maximum(gain * tap_v + lift_v, FOLLOWER_LOW_V)))
        found.append([*pins, network.alpha * bench.emf_v + network.beta])
    return found[0], found[1]
