# SPDX-License-Identifier: MIT
"""Does a load conduct without being asked?

The ARM switch, which all loads share, is closed for a moment with every gate low. Nothing may
flow then. What flows through a load whose own switch is stuck on goes through the blocking
diode, and shows as a fall of the force tap by the diode's drop, whichever load it is and
whatever the cell.
"""

from __future__ import annotations

import numpy as np

from sagline.analysis import presence
from sagline.analysis.calibration import tap_per_code_v
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import channel_points
from sagline.analysis.values import FORCE, AnalysisError, RawStep

WINDOW_US = 15_000
SETTLED_US = 5_000
# Half of the least fall that any load's current makes: below it noise, above it a load.
FALL_V = 0.5 * presence.LEAST_FALL_V


AT_REST_V = 0.2
"""More than the blocking diode drops at the dividers' microamperes, and less than at the current of
the base build's load: 0.3 to 0.5 V (simulated, hardware/assembly.md)."""


def check_at_rest(
    profile: RigProfile, converter: int, range_high: bool, taps: presence.Taps
) -> None:
    """Refuse a cell at rest whose force tap lies as far below it as under load.

    Where nothing but a load's own switch holds it off. A current lifts the return tap too, as a
    lost lead does; one that is lost lets none flow. Raises AnalysisError `load_stuck`.
    """
    found = presence.find(profile, converter, range_high, taps)
    connected = found is None or found.code == "force_neg_open"
    if connected and taps.sense_v - taps.force_v > AT_REST_V:
        raise presence.refusal("load_stuck")


def check_armed(raw: RawStep, profile: RigProfile, converter: int) -> None:
    """Refuse a step of (nothing, ARM alone, nothing) in which current flowed.

    Raises AnalysisError `load_stuck`, or `few_points` for a record that does not show both.
    """
    if len(raw.edges_us) < 2:
        raise _unseen()
    armed_us, end_us = raw.edges_us[:2]
    before = channel_points(raw, converter, FORCE, armed_us - WINDOW_US, armed_us)
    armed = channel_points(raw, converter, FORCE, armed_us + SETTLED_US, end_us)
    if not before.t_s.size or not armed.t_s.size:
        raise _unseen()
    fall = np.average(before.code, weights=before.n) - np.average(armed.code, weights=armed.n)
    if fall * tap_per_code_v(profile, converter, FORCE, raw.range_high) > FALL_V:
        raise presence.refusal("load_stuck")


def _unseen() -> AnalysisError:
    return AnalysisError(
        "few_points", "the record of the look for stuck loads is not whole", "measure again"
    )
