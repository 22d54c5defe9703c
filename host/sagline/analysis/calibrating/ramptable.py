# SPDX-License-Identifier: MIT
"""The on-board converter's linearity table from slow ramps, and how far it can be trusted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.optimize import root_scalar

from sagline.analysis.calibrating.ramp import Ramp, Windows, windows_of
from sagline.analysis.calibrating.rampfit import KNOT_CODES, Fit, fit
from sagline.analysis.calibration import tap_code, tap_volts
from sagline.analysis.nonlinearity import Process
from sagline.analysis.onboard_table import WIDE_CODES, OnboardTable
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import ADS1115, ONBOARD, SENSE, Notice
from sagline.analysis.widecodes import nominal_table

COVERAGE = 2.0
"""The bound of what is left, in standard deviations of it."""
LONGEST_SPAN_CODES = 4096.0
FAST_CODES = 4.0
"""A window over which the ramp moves more hides what the converter does within it."""
FEWEST_IN_GAP = 3
LOWEST_V = 0.35
"""A ramp in the low range that comes down to this at the tap has seen what cells are read at."""
TOP_SHARE = 0.95
DIFFER_LSB = 0.3
BEYOND_LIMIT = 1.5
"""Taking a straight line off can make an error larger at the ends; no more than by this."""


@dataclass(frozen=True)
class FoundTable:
    """The `table`, the codes that the ramps reached, and what must be said of it.

    `against_ads1115` tells what the ramps were held against: the ADS1115, else the discharge's
    own course in time.
    """

    table: OnboardTable
    reached: tuple[float, float]
    against_ads1115: bool
    notices: tuple[Notice, ...]


def table_of(ramps: Sequence[Ramp], profile: RigProfile) -> FoundTable:
    """Find the table of a rig's on-board converter from one ramp or several of its own.

    What offset and gain do is not in it: the corrections have no straight line. Two ramps in
    the low range, and one in the 16.5 V range for the lowest codes, tell the most. Raises
    AnalysisError as `ramp.windows_of`.
    """
    windows = windows_of(ramps, profile)
    unit = profile.converter(ONBOARD)
    nominal = nominal_table(unit.full_code, unit.wide_codes) if unit.wide_codes else None
    found = fit(windows, nominal, unit.inl_limit_codes - 0.5 * unit.wide_codes)
    fine_lsb = 0.0
    if found.exact:
        # The ADS1115's own non-linearity; blocks of it would show in what is left, a bow not.
        fine_lsb = profile.converter(ADS1115).inl_limit_codes * found.slope / sqrt(3.0)
    left = _rms(found.left_lsb, found.used.moved)
    unsure = sqrt(float(np.mean(np.diag(found.covariance))))
    sigma = sqrt(left**2 + unsure**2 + fine_lsb**2)
    code, correction = _whole_table(found, nominal)
    table = OnboardTable(
        code=tuple(code.tolist()),
        correction_lsb=tuple(np.round(correction, 3).tolist()),
        residual_lsb=round(COVERAGE * sigma, 3),
        span_codes=round(_span(found, left, COVERAGE * sigma), 1),
    )
    reached = float(windows.code.min()), float(windows.code.max())
    return FoundTable(
        table,
        reached,
        found.exact,
        (
            *_of_the_ramp(windows, found, len(ramps)),
            *_of_the_reach(windows, profile),
            *_of_the_size(found, unit.inl_limit_codes),
        ),
    )


def _whole_table(found: Fit, nominal: OnboardTable | None) -> tuple[np.ndarray, np.ndarray]:
    """Knots with the wide codes' own put back; within one, the middle."""
    if nominal is None:
        return found.code, found.error_lsb
    correction = found.error_lsb + np.interp(found.code, nominal.code, nominal.correction_lsb)
    inside = [w for w in WIDE_CODES if found.code[0] < w < found.code[-1]]
    code = np.array(sorted([*found.code.tolist(), *map(float, inside)]))
    return code, np.interp(code, found.code, correction)


def _rms(left_lsb: np.ndarray, moved: np.ndarray) -> float:
    """Root mean square, every code alike."""
    return sqrt(float(np.average(left_lsb**2, weights=np.maximum(moved, 1e-9))))


def _span(found: Fit, left: float, limit_lsb: float) -> float:
    """How far apart what is left counts as independent.

    The longest for which the assumed process allows two codes 16, 32, 64 and 128 apart the
    difference that they have: a slow bow that stays is no error of a small sag.
    """
    spans = []
    whole = [at for at, code in enumerate(found.code) if code % KNOT_CODES == 0.0]
    covariance = found.covariance[np.ix_(whole, whole)]
    for apart in (1, 2, 4, 8):
        own = np.diag(covariance)
        shared = np.diag(covariance, apart)
        between = float(np.mean(own[apart:] + own[:-apart] - 2.0 * shared)) + 2.0 * left**2
        spans.append(_span_for(limit_lsb, float(apart * KNOT_CODES), between))
    return float(min(spans))


def _span_for(limit_lsb: float, distance_codes: float, variance: float) -> float:
    """The longest span of a process that differs by `variance` at a distance."""
    distance = np.array([0.0, distance_codes])

    def excess(span: float) -> float:
        near, far = Process(limit_lsb, span, between="cosine").correlation(distance)
        return float(near - far) * 2.0 * limit_lsb**2 / 3.0 - variance

    low, high = float(KNOT_CODES), LONGEST_SPAN_CODES
    if excess(low) <= 0.0:
        return low
    return high if excess(high) >= 0.0 else float(root_scalar(excess, bracket=(low, high)).root)


def _of_the_ramp(windows: Windows, found: Fit, count: int) -> list[Notice]:
    said = []
    fastest = float(windows.moved.max())
    if fastest > FAST_CODES:
        said.append(
            Notice(
                "ramp_fast",
                f"the ramp moves up to {fastest:.0f} codes within one window, which blurs what the "
                "converter does there",
                "a larger capacitor makes it slower",
            )
        )
    if count == 1 and not found.exact:
        said.append(
            Notice(
                "ramp_single",
                "the table rests on one discharge, whose own faults would be taken for the "
                "converter's",
                "charge the capacitor again and record a second ramp",
            )
        )
    if (differ := _differ(found)) > DIFFER_LSB:
        said.append(
            Notice(
                "ramps_differ",
                f"the ramps differ by {differ:.1f} LSB at the same codes",
                "let the capacitor stand at its voltage for some minutes before each ramp, keep "
                "it at one temperature, and use one that leaks little",
            )
        )
    return said


def _differ(found: Fit) -> float:
    """Root mean square difference of what ramps leave at the same codes; 0 for one ramp."""
    at = np.floor(found.used.code / KNOT_CODES).astype(np.int64)
    numbers = np.unique(found.used.ramp)
    means = np.full((numbers.size, int(at.max()) + 1), np.nan)
    for row, number in zip(means, numbers, strict=True):
        own = found.used.ramp == number
        count = np.bincount(at[own], minlength=row.size)
        total = np.bincount(at[own], weights=found.left_lsb[own], minlength=row.size)
        row[count > 0] = total[count > 0] / count[count > 0]
    apart = [first - second for at, first in enumerate(means) for second in means[:at]]
    shared = np.concatenate([pair[np.isfinite(pair)] for pair in apart]) if apart else np.zeros(0)
    return sqrt(float(np.mean(shared**2))) if shared.size else 0.0


def _of_the_reach(windows: Windows, profile: RigProfile) -> list[Notice]:
    lowest, highest = float(windows.code.min()), float(windows.code.max())
    said = []
    least = tap_code(profile, ONBOARD, SENSE, LOWEST_V, False)
    top_v = profile.range_mv[0] * 1e-3
    most = TOP_SHARE * tap_code(profile, ONBOARD, SENSE, top_v, False)
    if lowest > least or highest < most:
        from_v, to_v = (
            tap_volts(profile, ONBOARD, SENSE, code, False) for code in (lowest, highest)
        )
        said.append(
            Notice(
                "codes_not_reached",
                f"the ramps reach from {to_v:.2f} V down to {from_v:.2f} V in the range of "
                f"{top_v:g} V; beyond, the correction of the end is taken",
                f"charge the capacitor to {top_v:g} V and record down to {LOWEST_V:g} V",
            )
        )
    count, _ = np.histogram(windows.code, np.arange(lowest, highest, KNOT_CODES))
    if count.size and count.min() < FEWEST_IN_GAP:
        at = lowest + KNOT_CODES * (int(np.argmin(count)) + 0.5)
        said.append(
            Notice(
                "codes_thin",
                f"near code {at:.0f} the ramps have fewer than {FEWEST_IN_GAP} windows, so that "
                "the table is drawn from its neighbours there",
                "record another ramp; a larger capacitor makes it slower",
            )
        )
    return said


def _of_the_size(found: Fit, limit_codes: float) -> list[Notice]:
    largest = float(np.abs(found.error_lsb).max())
    if largest <= BEYOND_LIMIT * limit_codes:
        return []
    return [
        Notice(
            "linearity_beyond_limit",
            f"the converter is off by up to {largest:.1f} LSB, and {limit_codes:g} LSB are said of "
            "it",
            "record the ramps again, with the capacitor on the sense clips alone and nothing else "
            "connected; if it stays so, measure with the ADS1115",
        )
    ]
