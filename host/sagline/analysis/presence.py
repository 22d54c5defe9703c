# SPDX-License-Identifier: MIT
"""What is between the clips, told by where the lifted channels rest, and by what a load moves.

Every channel is lifted a little by the reference, so a tap that touches nothing reads the
lift, a flat cell reads zero and a reversed one below it. All levels follow from the rig's
resistors; what may be read instead of the true level, from its limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from sagline.analysis.calibration import (
    BLOCKING_DIODE_V,
    code_width_v,
    tap_per_code_v,
    tap_volts,
)
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.step import StepReading
from sagline.analysis.values import FORCE, RETURN, SENSE, AnalysisError

LEAST_V = 0.2
"""Below this there is nothing to measure: the blocking diode takes it all."""

NOISES = 5.0
LEAST_FALL_V = BLOCKING_DIODE_V / 6.0
"""The force tap falls at least this far when current flows. Between the dividers' microamperes
and the milliamperes of the largest load lie two decades, and a diode's drop grows by 60 mV for
each (Shockley, n = 1, 25 degC); this is less than half of that."""

JUMP_SHARE = 0.1
"""Of the open voltage: more than sense or force can move between two neighbouring points of the
load, once the first milliseconds are over."""

JUMPS_FROM_S = 0.005
JUMP_NOISES = 12.0

RETURN_LIMIT_OHM = 0.3
"""More than leads and clips have: then the current is not the one that V/R of the load says."""


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, in words, and what to do."""

    code: str
    text: str
    remedy: str


_FINDINGS = {
    finding.code: finding
    for finding in (
        Finding(
            "no_cell",
            "no cell is between the clips",
            "put the cell in; if it is in, see to the fuses of the leads",
        ),
        Finding(
            "cell_reversed",
            "the cell is the wrong way round",
            "turn it, positive to the positive clips",
        ),
        Finding(
            "no_voltage",
            f"no cell voltage: there is a cell, or a short, of less than {LEAST_V:g} V",
            "measure another cell, or take away what shorts this one",
        ),
        Finding(
            "sense_pos_open",
            "the positive sense lead touches nothing, while the positive force lead sees the cell",
            "clip the positive sense lead to the cell; if it is on, see to the lead",
        ),
        Finding(
            "force_pos_open",
            "the positive force lead touches nothing, while the positive sense lead sees the cell",
            "clip the positive force lead to the cell; if it is on, see to its fuse",
        ),
        Finding(
            "sense_neg_open",
            "the negative sense lead touches nothing: the rig's ground hangs on the force lead",
            "clip the negative sense lead to the cell; if it is on, see to its fuse",
        ),
        Finding(
            "force_neg_open",
            "the negative force lead touches nothing",
            "clip the negative force lead to the cell; if it is on, see to both negative leads",
        ),
        Finding(
            "contact_lost",
            "the cell or a lead came off while the load was on",
            "see to the clips, hold the cell still and measure again; a pack whose electronics "
            "trip looks the same, and bears no such load",
        ),
        Finding(
            "no_current",
            "no current flowed",
            "check the force leads, the fuse, the cell's polarity and the load's switch",
        ),
        Finding(
            "stray_current",
            "the return lead carries more current than the load that was switched on",
            "take the cell out now: a load may be stuck on and getting hot. Clean the negative "
            "force clip; if it comes again, see to the loads' switches on the board",
        ),
        Finding(
            "load_stuck",
            "a load conducts that was not switched on",
            "take the cell out now, before the load gets hot, and see to the board: "
            "a load's switch is stuck on",
        ),
    )
}
CODES = tuple(_FINDINGS)


class Taps(NamedTuple):
    """Volts at sense, force and return, with nominal values."""

    sense_v: float
    force_v: float
    return_v: float


def floating_v(profile: RigProfile, channel: int, range_high: bool) -> float:
    """What a tap reads that touches nothing (V): the lift pulls it up to the node itself."""
    gain, lift_v = transfer(profile.channels[channel], profile.reference.reference_v, range_high)
    return lift_v / (1.0 - gain) if gain < 1.0 else float("inf")


def limit_v(profile: RigProfile, converter: int, channel: int, range_high: bool) -> float:
    """How far from its true value, near zero, a tap may read at worst (V).

    Follower, converter offset, linearity and noise, and the lift's own tolerance: two
    resistors and the reference.
    """
    parts, unit = profile.channels[channel], profile.converter(converter)
    gain, lift_v = transfer(parts, profile.reference.reference_v, range_high)
    codes = unit.offset_limit_codes + unit.inl_limit_codes + NOISES * unit.noise_millilsb / 1e3
    lift = 2.0 * parts.tolerance + profile.reference.tolerance + unit.gain_limit
    pin_v = parts.follower_limit_v + codes * code_width_v(profile, converter) + lift_v * lift
    return pin_v / gain


def find(
    profile: RigProfile, converter: int, range_high: bool, taps: Taps, least_v: float = LEAST_V
) -> Finding | None:
    """What is wrong with a cell at rest, None where all is well.

    `least_v` is the least voltage of a cell (V). The low range tells a cell of no volts from
    none; with the on-board converter the high one may not.
    """
    limits = [limit_v(profile, converter, channel, range_high) for channel in range(3)]
    sense_floats = abs(taps.sense_v - floating_v(profile, SENSE, range_high)) <= limits[SENSE]
    force_v = floating_v(profile, FORCE, range_high)
    if sense_floats and abs(taps.force_v - force_v) <= limits[FORCE]:
        return _FINDINGS["no_cell"]
    if sense_floats:
        return _FINDINGS["sense_pos_open"]
    if taps.sense_v < -limits[SENSE]:
        return _FINDINGS["cell_reversed"]
    if taps.sense_v < least_v:
        return _FINDINGS["no_voltage"]
    beyond_v = limits[SENSE] + limits[FORCE]
    if taps.force_v <= force_v + limits[FORCE] and taps.sense_v - taps.force_v > beyond_v:
        return _FINDINGS["force_pos_open"]
    if taps.return_v < -limits[RETURN]:
        return _FINDINGS["sense_neg_open"]
    if taps.return_v > limits[RETURN]:
        return _FINDINGS["force_neg_open"]
    return None


def refuse(
    profile: RigProfile,
    converter: int,
    readings: Sequence[tuple[bool, Taps]],
    least_v: float = LEAST_V,
) -> None:
    """Refuse a cell at rest by what its readings show, pairs of (high range or not, taps).

    The first finding counts, but a lost negative sense lead in any: the ground tie's current
    that betrays it is zero at one cell voltage, another one in each range, and below that the
    same as with a lost negative force lead. Raises AnalysisError with one of CODES.
    """
    found = [find(profile, converter, high, taps, least_v) for high, taps in readings]
    codes = [finding.code for finding in found if finding is not None]
    if not codes:
        return
    code = codes[0]
    if code == "force_neg_open" and "sense_neg_open" in codes:
        code = "sense_neg_open"
    raise refusal(code)


def check_step(reading: StepReading, profile: RigProfile, converter: int) -> None:
    """Refuse a step whose cell was not there throughout, or whose current was another.

    The cell is looked at before the load and at the end of the recovery. Raises AnalysisError
    with one of CODES.
    """
    range_high = reading.range_high

    def volts(codes: tuple[float, float, float]) -> Taps:
        return Taps(
            *(tap_volts(profile, converter, k, code, range_high) for k, code in enumerate(codes))
        )

    rest = volts(reading.rest_codes)
    at_rest = find(profile, converter, range_high, rest)
    at_end = at_rest
    if reading.end_codes is not None:
        at_end = find(profile, converter, range_high, volts(reading.end_codes))
    if at_end is not None and at_end is not at_rest:
        raise _error(at_end, "something came off in mid-measurement: ")
    if at_rest is not None:
        raise _error(at_rest)
    if _jumped(reading, profile, converter, rest.sense_v):
        raise refusal("contact_lost")
    bank = profile.loads[reading.load]
    for levels in reading.readings:
        loaded = volts((levels.sense, levels.force, levels.return_loaded))
        if rest.force_v - loaded.force_v < LEAST_FALL_V:
            raise refusal("no_current")
        rise_v = loaded.return_v - rest.return_v
        current_a = (loaded.force_v - rise_v) / (bank.load_ohm + bank.switch_ohm)
        unsure_v = _step_limit_v(profile, converter, range_high)
        if current_a > 0.0 and rise_v > RETURN_LIMIT_OHM * current_a + unsure_v:
            # A return tap that follows the force tap has lost its lead.
            lost = rise_v > loaded.force_v / 2.0
            raise refusal("no_current" if lost else "stray_current")


def _jumped(reading: StepReading, profile: RigProfile, converter: int, open_v: float) -> bool:
    """Whether a tap leapt while the load was on; return leaps where a negative lead comes off."""
    share_v = JUMP_SHARE * open_v
    return_v = 2.0 * limit_v(profile, converter, RETURN, reading.range_high)
    for channel, most_v in ((SENSE, share_v), (FORCE, share_v), (RETURN, return_v)):
        points = reading.loaded_points[channel]
        code = points.code[points.t_s >= JUMPS_FROM_S]
        code_v = tap_per_code_v(profile, converter, channel, reading.range_high)
        noise_v = JUMP_NOISES * reading.noise_codes[channel] * code_v
        if np.any(np.abs(np.diff(code)) * code_v > most_v + noise_v):
            return True
    return False


def refusal(code: str) -> AnalysisError:
    """The refusal with one of CODES."""
    return _error(_FINDINGS[code])


def _step_limit_v(profile: RigProfile, converter: int, range_high: bool) -> float:
    """How wrong a change of the return tap may be (V): linearity at both ends."""
    gain, _ = transfer(profile.channels[RETURN], profile.reference.reference_v, range_high)
    codes = 2.0 * profile.converter(converter).inl_limit_codes + 1.0
    return codes * code_width_v(profile, converter) / gain


def _error(finding: Finding, before: str = "") -> AnalysisError:
    return AnalysisError(finding.code, before + finding.text, finding.remedy)
