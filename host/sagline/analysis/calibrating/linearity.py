# SPDX-License-Identifier: MIT
"""What a converter's non-linearity leaves of one level, and the on-board codes put straight."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np

from sagline.analysis.nonlinearity import Process
from sagline.analysis.onboard_table import OnboardTable, corrected
from sagline.analysis.profile import RigProfile
from sagline.analysis.rows import Front
from sagline.analysis.sagerrors import processes_of
from sagline.analysis.values import ONBOARD, RawStep
from sagline.analysis.widecodes import nominal_table


def level_u_codes(profile: RigProfile, converter: int, table: OnboardTable | None) -> float:
    """Standard uncertainty of one level by itself (codes)."""
    return u_codes(processes_of(profile, Front.LEVEL, converter, table))


def u_codes(processes: Sequence[Process]) -> float:
    """The same for a sum of independent processes."""
    alone = np.zeros(1)
    return sqrt(
        sum(float(one.correlation(alone)[0]) * one.limit_codes**2 / 3.0 for one in processes)
    )


def straightened(raw: RawStep, profile: RigProfile, table: OnboardTable | None) -> RawStep:
    """A step whose levels lie at single codes, its on-board codes corrected by the `table` or by
    what is known of the chip; `widecodes.straighten` is for steps that cross codes."""
    if ONBOARD not in profile.converters:
        return raw
    unit = profile.converter(ONBOARD)
    if table is None and unit.wide_codes:
        table = nominal_table(unit.full_code, unit.wide_codes)
    return raw if table is None else corrected(raw, table, unit.full_code)
