# SPDX-License-Identifier: MIT
"""The null channel set to the resting cell's voltage, so that a step's sag is read by itself.

The balance is held over a step. A load may be switched 3 s after the cell was put in and 1 s
after the last trim, when the channel's filters have settled for good; the rest before every
step is longer than either, so nothing is waited for here but the reading.
"""

import numpy as np

from sagline.analysis.profile import NullProfile, RigProfile, transfer
from sagline.analysis.step import REST_WINDOW_S
from sagline.analysis.values import ADS1115, NULL_DIFFERENCE, SENSE, Notice, RawStep
from sagline.device.rig import Rig

# Beyond this at the pin the channel is out of balance.
BALANCED_V = 0.02
# After this a full swing of the channel's filters is within a step of the setting.
SETTLE_S = 0.25
# How often the nominal setting is corrected by what is read. Once is enough for tolerances;
# twice where the cell was still recovering.
TRIMS = 2

UNBALANCED = Notice(
    "null_unbalanced",
    "the null channel could not be balanced against the cell, so the sag is read from the whole "
    "voltage, with more uncertainty",
    "let the cell rest and measure again; if it stays so, the null channel needs a repair",
)


def nominal_setting(profile: RigProfile, open_v: float, range_high: bool) -> int | None:
    """Return the setting nearest to sense at a cell of `open_v`, with nominal values.

    None without a null channel, or where that voltage is outside its scale.
    """
    null = profile.null
    if null is None:
        return None
    gain, lift_v = transfer(profile.channels[SENSE], profile.reference.reference_v, range_high)
    return _on_scale(null, round((gain * open_v + lift_v) / null.step_v))


def keep_balanced(rig: Rig, last: RawStep | None) -> None:
    """Balance the null channel, where it is fitted and not in balance; `last` is the last step.

    The setting stays from step to step unless the rest of the last one had left it.
    """
    null = rig.profile.null
    if null is None:
        return
    if last is None or last.null_setting is None or has_left(last, null):
        balance(rig, rig.live().sense_v)


def balance(rig: Rig, open_v: float) -> int | None:
    """Balance the null channel against a resting cell of `open_v`; return its setting.

    None where there is no null channel or it cannot be brought within 20 mV at the pin; it is
    not in use then. Raises LinkLost.
    """
    null = rig.profile.null
    setting = nominal_setting(rig.profile, open_v, rig.high_range) if rig.has_null else None
    reached: int | None = None
    for _ in range(1 + TRIMS):
        if null is None or setting is None:
            break
        rig.set_null(setting)
        rig.wait(SETTLE_S)
        difference_v = rig.null_difference_v()
        if difference_v is None:
            reached = None
            break
        reached = setting if abs(difference_v) <= BALANCED_V else None
        trim = round(difference_v / null.step_v)
        if not trim:
            break
        setting = _on_scale(null, setting + trim)
    rig.set_null(reached)
    return reached


def has_left(step: RawStep, null: NullProfile) -> bool:
    """Whether the rest of a step, in its last second, was out of balance by more than 20 mV.

    False where nothing was read of it, and where the channel was not in use.
    """
    if step.null_setting is None or not step.edges_us:
        return False
    end_us = step.start_us + step.length_us
    on_us = step.edges_us[0]
    at_rest = (
        (step.source == ADS1115 * 4 + NULL_DIFFERENCE)
        & (step.n > 0)
        & (end_us <= on_us)
        & (step.start_us >= on_us - REST_WINDOW_S * 1e6)
    )
    if not at_rest.any():
        return False
    codes = np.sum(step.total[at_rest]) / np.sum(step.n[at_rest])
    return bool(abs(codes) * null.lsb_v > BALANCED_V)


def _on_scale(null: NullProfile, setting: int) -> int | None:
    return setting if 0 <= setting < null.settings else None
