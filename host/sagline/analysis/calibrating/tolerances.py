# SPDX-License-Identifier: MIT
"""What r and volts are known to without a calibration: what each found value is judged by."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from sagline.analysis.calibration import expected_readings, model
from sagline.analysis.influences import CHANNEL_NAMES, NULL_FRONT_END, influences_of, nominal
from sagline.analysis.profile import RigProfile

_CELL_SHARE_R = 0.1
"""Of the load: the internal resistance of the cell that tolerances are reckoned at. They scale
r, so that it hardly matters."""


@dataclass(frozen=True)
class Tolerance:
    """Of a factor near 1: the sum of all limits, and the standard uncertainty; both relative."""

    limit: float
    u: float


def of_r(
    profile: RigProfile, converter: int, load: int, range_high: bool, *, null: bool = False
) -> Tolerance:
    """What the tolerances that a scale K takes the place of leave of r."""
    names = ["load_ohm", "switch_ohm", "reference_v", "converter_gain", "range_match", *_dividers()]
    return _of(profile, converter, load, range_high, names, 0, null)


def of_r_without_load(
    profile: RigProfile, converter: int, load: int, range_high: bool, *, null: bool = False
) -> Tolerance:
    """The same where the load's own ohms are known: its switch, the dividers, the null range."""
    names = ["switch_ohm", "reference_v", "converter_gain", "range_match", *_dividers()]
    return _of(profile, converter, load, range_high, names, 0, null)


def of_volts(profile: RigProfile, converter: int, range_high: bool) -> Tolerance:
    """What the tolerances that a voltage scale takes the place of leave of the open voltage."""
    names = ["reference_v", "converter_gain", *_dividers(("sense",))]
    return _of(profile, converter, len(profile.loads) - 1, range_high, names, 1, False)


def _dividers(channels: tuple[str, ...] = tuple(CHANNEL_NAMES.values())) -> list[str]:
    parts = ("top", "foot", "lift", "range_foot")
    return [f"{channel}_{part}_ohm" for channel in channels for part in parts]


def _of(
    profile: RigProfile,
    converter: int,
    load: int,
    range_high: bool,
    names: list[str],
    output: int,
    null: bool,
) -> Tolerance:
    open_v = 0.6 * profile.range_mv[int(range_high)] / 1e3
    r_ohm = _CELL_SHARE_R * profile.loads[load].load_ohm
    readings = expected_readings(profile, converter, load, range_high, open_v, r_ohm)
    end = NULL_FRONT_END if null else None
    listed = influences_of(profile, converter, load, range_high, readings, {}, None, end)
    values = nominal(listed)
    middle = float(model(values)[output])
    shifts = []
    for item in listed:
        if item.name in names and item.spread:
            moved = float(model({**values, item.name: item.value + item.spread})[output])
            shifts.append(moved / middle - 1.0)
    return Tolerance(sum(map(abs, shifts)), sqrt(sum(shift**2 for shift in shifts) / 3.0))
