# SPDX-License-Identifier: MIT
"""What was read at the cell's terminals, for whoever works r out with a calculator.

Means of readings, without any fit: they stand beside the answer of the analysis, not in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum
from typing import NamedTuple

from sagline.analysis.calibration import tap_volts
from sagline.analysis.profile import RigProfile
from sagline.analysis.rows import has_null, null_code_v
from sagline.analysis.step import open_and_loaded, read_step
from sagline.analysis.values import ADS1115, NULL_DIFFERENCE, SENSE, RawStep


class Terminal(NamedTuple):
    """Terminal voltage with nothing connected and at one time after load on (V), means over
    `repeats` repeats."""

    open_v: float
    loaded_v: float
    repeats: int


def terminal(
    steps: Sequence[RawStep], kept: Sequence[bool], profile: RigProfile, converter: int, t_s: float
) -> Terminal | None:
    """The means over the steps that were `kept`; None where there is none.

    Where all of them were taken in balance, the loaded voltage lies below the open one by what
    the null difference read: far closer than two readings of the whole voltage tell it.

    Raises those of `step.read_step`.
    """
    used = [raw for raw, keep in zip(steps, kept, strict=True) if keep]
    if not used:
        return None
    null = converter == ADS1115 and all(has_null(raw, profile) for raw in used)
    open_v, loaded_v = [], []
    for raw in used:
        reading = read_step(raw, profile, converter, (t_s,))
        before_v, after_v = (
            tap_volts(profile, converter, SENSE, code, reading.range_high)
            for code in (reading.readings[0].sense_open, reading.readings[0].sense)
        )
        if null:
            before, after = open_and_loaded(raw, ADS1115, NULL_DIFFERENCE, t_s)
            after_v = before_v + (after - before) * null_code_v(profile, reading.range_high)
        open_v.append(before_v)
        loaded_v.append(after_v)
    return Terminal(fsum(open_v) / len(used), fsum(loaded_v) / len(used), len(used))
