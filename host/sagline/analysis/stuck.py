# SPDX-License-Identifier: MIT
"""Does the largest load let go? Its own current is too small to show in the return lead.

It is put on beside the load that will measure, then taken off: less current flows through the
blocking diode, so the force tap must rise, by the cell's resistance and at the very least by
the diode's own. A load that is stuck on makes no difference.
"""

from __future__ import annotations

import numpy as np

from sagline.analysis import presence
from sagline.analysis.calibration import tap_per_code_v
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import channel_points
from sagline.analysis.values import FORCE, AnalysisError, RawStep

THERMAL_V = 0.0257
"""kT/q at 25 degC. A diode's slope is at least that over its current (Shockley, n = 1)."""

WINDOW_US = 12_000
SETTLED_US = 1_000


def largest(profile: RigProfile) -> int:
    """Index of the largest load."""
    return max(range(len(profile.loads)), key=lambda index: profile.loads[index].load_ohm)


def least_rise_v(profile: RigProfile, load: int) -> float:
    """What the force tap rises at least when the largest load leaves `load` alone (V).

    The current falls by R/R_largest of itself; times the diode's slope, the current cancels.
    """
    return THERMAL_V * profile.loads[load].load_ohm / profile.loads[largest(profile)].load_ohm


def tellable(profile: RigProfile, converter: int, load: int, range_high: bool) -> bool:
    """Whether half of that is beyond linearity at both levels and a code of noise."""
    if load == largest(profile):
        return False
    codes = 2.0 * profile.converter(converter).inl_limit_codes + 1.0
    unsure_v = codes * tap_per_code_v(profile, converter, FORCE, range_high)
    return 0.5 * least_rise_v(profile, load) > unsure_v


def check_release(raw: RawStep, profile: RigProfile, converter: int) -> None:
    """Refuse a step of (none, both loads, `raw.load` alone, none) whose middle edge shows nothing.

    Raises AnalysisError `load_stuck`, or `few_points` for a record without that edge.
    """
    change_us = raw.edges_us[1] if len(raw.edges_us) > 2 else 0
    before = channel_points(raw, converter, FORCE, change_us - WINDOW_US, change_us)
    from_us = change_us + SETTLED_US
    after = channel_points(raw, converter, FORCE, from_us, from_us + WINDOW_US)
    if not change_us or not before.t_s.size or not after.t_s.size:
        raise AnalysisError(
            "few_points", "the record does not hold the change between two loads", "measure again"
        )
    rise = np.average(after.code, weights=after.n) - np.average(before.code, weights=before.n)
    rise_v = float(rise) * tap_per_code_v(profile, converter, FORCE, raw.range_high)
    if rise_v < 0.5 * least_rise_v(profile, raw.load):
        raise presence.refusal("load_stuck")
