# SPDX-License-Identifier: MIT
"""A slow ramp as windows: the on-board converter's mean codes, beside what they are held against.

A charged capacitor on the sense clips is discharged by the divider of sense. Each window of the
record is one mean code, over which the ramp moves a fraction of a code or a few. The ADS1115
reads the same pin, so that its codes are a straight line's worth of volts at the same times;
where it is not fitted there is the time alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter

from sagline.analysis.profile import RigProfile
from sagline.analysis.values import (
    ADS1115,
    ONBOARD,
    SENSE,
    AnalysisError,
    BoolArray,
    FloatArray,
    IntArray,
    RawStep,
)

RISE_CODES = 2.0
"""A discharge never rises; noise of a window is a hundredth of a code."""

JUMP = 6.0
"""A window to the next one moves no more than this many times what its neighbours do, and
RISE_CODES."""

NEIGHBOURS = 10

FEWEST_WINDOWS = 100

MERGED_CODES = 2.0


@dataclass(frozen=True, eq=False)
class Piece:
    """One step of rest within a ramp; `start_s` on a clock that all pieces of a ramp share."""

    start_s: float
    raw: RawStep


Ramp = Sequence[Piece]
"""The pieces of one discharge, in the order of time, all in one range."""


@dataclass(frozen=True, eq=False)
class Windows:
    """Windows of all ramps, in arrays of one length.

    `t_s` middle, from the beginning of its ramp; `code` the on-board converter's mean; `fine`
    the ADS1115's at that time, NaN without one; `moved` how far the code moved within a window;
    `ramp` which discharge it is of; `high` whether in the 16.5 V range.
    """

    t_s: FloatArray
    code: FloatArray
    fine: FloatArray
    moved: FloatArray
    ramp: IntArray
    high: BoolArray

    def of(self, chosen: BoolArray) -> Windows:
        """Some of the windows."""
        return Windows(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def merged(self) -> Windows:
        """Neighbours put together until they hold two codes or so, which costs nothing."""
        passed = np.floor(np.cumsum(self.moved) / MERGED_CODES)
        # What was left out between two windows stays out.
        gap = np.abs(np.diff(self.code)) > MERGED_CODES
        begins = gap | (np.diff(passed) != 0.0) | (np.diff(self.ramp) != 0)
        group = np.concatenate([[0], np.cumsum(begins)])
        count = np.bincount(group)

        def mean(values: FloatArray) -> FloatArray:
            return np.bincount(group, weights=values).astype(np.float64) / count

        first = np.flatnonzero(np.diff(group, prepend=-1))
        return Windows(
            mean(self.t_s),
            mean(self.code),
            mean(self.fine),
            count * mean(self.moved),
            self.ramp[first],
            self.high[first],
        )


def windows_of(ramps: Sequence[Ramp], profile: RigProfile) -> Windows:
    """The windows of `ramps`.

    Raises AnalysisError `no_ramp` where they are too few, `ramp_disturbed` where the code
    rises or jumps, and for a rig without an on-board converter.
    """
    full_code = profile.converter(ONBOARD).full_code
    parts = [_one(number, ramp, full_code, ADS1115 in profile.converters)
             for number, ramp in enumerate(ramps)]  # fmt: skip
    if not parts or min(part.code.size for part in parts) < FEWEST_WINDOWS:
        raise AnalysisError(
            "no_ramp",
            f"a ramp has fewer than {FEWEST_WINDOWS} windows of the on-board converter",
            "charge the capacitor to the voltage asked for and record the ramp again; a larger "
            "capacitor makes it slower",
        )
    return Windows(
        *(
            np.concatenate([getattr(part, name) for part in parts])
            for name in Windows.__dataclass_fields__
        )
    )


def _one(number: int, ramp: Ramp, full_code: int, fine: bool) -> Windows:
    t_s: list[FloatArray] = []
    code: list[FloatArray] = []
    beside: list[FloatArray] = []
    for piece in ramp:
        at_s, codes = _points(piece, ONBOARD)
        inside = (codes > 0.0) & (codes < full_code)
        against = np.full(at_s.size, np.nan)
        if fine:
            fine_s, fine_codes = _points(piece, ADS1115)
            if fine_s.size > 1:
                against = np.interp(at_s, fine_s, fine_codes)
                # Beyond the first and the last reading there is nothing to go by.
                inside &= (at_s >= fine_s[0]) & (at_s <= fine_s[-1])
            else:
                inside &= False
        t_s.append(at_s[inside])
        code.append(codes[inside])
        beside.append(against[inside])
    all_s, all_codes = np.concatenate([[], *t_s]), np.concatenate([[], *code])
    moved = _moved(all_s, all_codes)
    count = all_s.size
    return Windows(
        t_s=all_s - (all_s[0] if count else 0.0),
        code=all_codes,
        fine=np.concatenate([[], *beside]),
        moved=moved,
        ramp=np.full(count, number),
        high=np.full(count, bool(ramp) and ramp[0].raw.range_high),
    )


def _points(piece: Piece, converter: int) -> tuple[FloatArray, FloatArray]:
    """Middles (s) and mean codes of sense by one converter."""
    raw = piece.raw
    chosen = (raw.source == converter * 4 + SENSE) & (raw.n > 0)
    middle_us = raw.start_us[chosen] + 0.5 * raw.length_us[chosen]
    codes: FloatArray = raw.total[chosen] / raw.n[chosen]
    return piece.start_s + middle_us * 1e-6, codes


def _moved(t_s: FloatArray, code: FloatArray) -> FloatArray:
    """How far the code moves within each window, from its neighbours on either side."""
    if code.size < FEWEST_WINDOWS:
        return np.zeros(code.size)
    fall = -np.diff(code)
    wait_s = np.diff(t_s)
    window_s = float(np.median(wait_s))
    # Where a piece ended there is a gap, in which more may fall.
    rate = fall / wait_s * window_s
    usual = median_filter(rate, 2 * NEIGHBOURS + 1, mode="nearest")
    odd = (fall < -RISE_CODES) | (rate > np.maximum(JUMP * usual, RISE_CODES))
    if odd.any():
        at = int(np.argmax(odd))
        raise AnalysisError(
            "ramp_disturbed",
            f"the ramp {'rises' if fall[at] < 0.0 else 'jumps'} near code {code[at]:.0f}, "
            f"{t_s[at] - t_s[0]:.0f} s after its beginning",
            "leave capacitor and clips alone while the ramp is recorded, see that they hold, and "
            "record it again",
        )
    padded = np.concatenate([[usual[0]], usual, [usual[-1]]])
    return np.maximum(0.5 * (padded[1:] + padded[:-1]), 0.0)
