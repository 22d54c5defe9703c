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
from sagline.analysis.step import read_step
from sagline.analysis.values import SENSE, RawStep


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

    Raises those of `step.read_step`.
    """
    levels = [
        (reading.readings[0], reading.range_high)
        for raw, used in zip(steps, kept, strict=True)
        if used
        for reading in (read_step(raw, profile, converter, (t_s,)),)
    ]
    if not levels:
        return None

    def mean_v(name: str) -> float:
        volts = [
            tap_volts(profile, converter, SENSE, getattr(level, name), high)
            for level, high in levels
        ]
        return fsum(volts) / len(volts)

    return Terminal(mean_v("sense_open"), mean_v("sense"), len(levels))
