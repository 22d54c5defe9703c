# SPDX-License-Identifier: MIT
"""One step as rows for the fit: every point of sense that any front end gave, in volts.

Volts are those of the tap by nominal values; each front end's zero is left in them, for the
fit gives it an offset of its own in every step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import IntEnum
from math import sqrt

import numpy as np

from sagline.analysis.calibration import tap_per_code_v, tap_volts
from sagline.analysis.current import SETTLED_S, Current
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import REST_WINDOW_S, Points, channel_points, edges_us
from sagline.analysis.values import (
    ADS1115,
    NULL_DIFFERENCE,
    ONBOARD,
    SENSE,
    BoolArray,
    FloatArray,
    IntArray,
    RawStep,
)

FIRST_S = {ONBOARD: 1e-4, ADS1115: 4e-3}
"""t_f, the first time at which r is given, by the fastest converter that saw the step. The
ADS1115 reads its channels in turn: in 4 ms it has seen sense and force twice."""

ROUGHNESS_CODES = 0.2
"""Noise added to each on-board point beside another converter, which knows the level: without
it the many conversions would bend the curve by the on-board converter's linearity."""

ROUNDING_CODES = 0.29
"""Noise of rounding alone, one code's width over the square root of 12."""

NULL_NOISE_CODES = 0.6
"""Of one conversion of the null difference, where too few points tell."""


class Front(IntEnum):
    """Where a row comes from: the converter that gives the level, the null difference, or the
    on-board converter beside the ADS1115."""

    LEVEL = 0
    NULL = 1
    BESIDE = 2


@dataclass(frozen=True, eq=False)
class Rows:
    """The rows of one step, in arrays of one length.

    `start_s` after load on and `length_s` of the window; `v` mean volts, `u_v` their noise;
    `code` what the converter said; `front` a Front; `current_a` the load's, 0 at rest.
    """

    start_s: FloatArray
    length_s: FloatArray
    v: FloatArray
    u_v: FloatArray
    code: FloatArray
    front: IntArray
    current_a: FloatArray

    @property
    def middle_s(self) -> FloatArray:
        return self.start_s + 0.5 * self.length_s

    @property
    def loaded(self) -> BoolArray:
        return self.start_s >= 0.0

    def of(self, chosen: BoolArray) -> Rows:
        """Some of the rows."""
        return Rows(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def is_from(self, front: Front) -> BoolArray:
        """Which rows are of a front end."""
        return self.front == int(front)


def has_null(raw: RawStep, profile: RigProfile) -> bool:
    """Whether a step was taken in balance, and its null difference stayed within its range."""
    if profile.null is None or ADS1115 not in profile.converters or raw.null_setting is None:
        return False
    on_us, off_us, _ = edges_us(raw)
    used = [
        channel_points(raw, ADS1115, NULL_DIFFERENCE, from_us, to_us)
        for from_us, to_us in ((on_us - REST_WINDOW_S * 1e6, on_us), (on_us, off_us))
    ]
    full = profile.null.full_code
    return all(part.t_s.size > 2 and bool(np.all(np.abs(part.code) < full)) for part in used)


def rows_of(
    raw: RawStep,
    profile: RigProfile,
    converter: int,
    current: Current,
    noise_codes: Mapping[int, float],
    null: bool,
) -> Rows:
    """The rows of a step; `null` takes the null difference in, `noise_codes` is that of one
    conversion of the level's converter by channel."""
    code_v = tap_per_code_v(profile, converter, SENSE, raw.range_high)
    zero_v = tap_volts(profile, converter, SENSE, 0.0, raw.range_high)
    noise = max(noise_codes[SENSE], ROUNDING_CODES)
    parts = [_front(raw, converter, SENSE, Front.LEVEL, noise, 0.0, code_v, zero_v)]
    if null and profile.null is not None:
        code_v = null_code_v(profile, raw.range_high)
        noise = _noise(raw, ADS1115, NULL_DIFFERENCE, NULL_NOISE_CODES)
        parts.append(_front(raw, ADS1115, NULL_DIFFERENCE, Front.NULL, noise, 0.0, code_v))
    if converter != ONBOARD and ONBOARD in profile.converters:
        code_v = tap_per_code_v(profile, ONBOARD, SENSE, raw.range_high)
        noise = profile.converter(ONBOARD).noise_codes
        parts.append(_front(raw, ONBOARD, SENSE, Front.BESIDE, noise, ROUGHNESS_CODES, code_v))
    rows = Rows(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in Rows.__dataclass_fields__
        }
    )
    current_a = np.where(rows.loaded, current.at(np.maximum(rows.middle_s, 0.0)), 0.0)
    return replace(rows, current_a=current_a)


def null_code_v(profile: RigProfile, range_high: bool) -> float:
    """Volts at the sense tap per code of the null difference."""
    if profile.null is None:
        raise ValueError("the rig has no null channel")
    per_pin = tap_per_code_v(profile, ADS1115, SENSE, range_high) / profile.converter(ADS1115).lsb_v
    return profile.null.lsb_v * per_pin


def first_time_s(raw: RawStep) -> float:
    """t_f of a step: its fastest converter's first time, or its first point if that is later."""
    on_us, off_us, _ = edges_us(raw)
    for converter in (ONBOARD, ADS1115):
        points = channel_points(raw, converter, SENSE, on_us + SETTLED_S * 1e6, off_us)
        if points.t_s.size:
            return max(FIRST_S[converter], float(points.t_s.min()))
    raise ValueError("the step has no loaded points of sense")


def _front(
    raw: RawStep,
    converter: int,
    channel: int,
    front: Front,
    noise_codes: float,
    rough_codes: float,
    code_v: float,
    zero_v: float = 0.0,
) -> Rows:
    on_us, off_us, _ = edges_us(raw)
    # The on-board converter's first bin after the edge still holds the dividers' settling.
    settled_us = SETTLED_S * 1e6 if converter == ONBOARD else 0.0
    chosen = (raw.source == converter * 4 + channel) & (raw.n > 0)
    end_us = raw.start_us + raw.length_us
    rest = (raw.start_us >= on_us - REST_WINDOW_S * 1e6) & (end_us <= on_us)
    loaded = (raw.start_us >= on_us + settled_us) & (end_us <= off_us)
    chosen &= rest | loaded
    n = raw.n[chosen].astype(np.float64)
    code: FloatArray = raw.total[chosen] / n
    start_us = raw.start_us[chosen].astype(np.float64)
    return Rows(
        start_s=(start_us - on_us) * 1e-6,
        length_s=np.maximum(raw.length_us[chosen], 1).astype(np.float64) * 1e-6,
        v=code * code_v + zero_v,
        u_v=np.sqrt(noise_codes**2 / n + rough_codes**2) * code_v,
        code=code,
        front=np.full(n.size, int(front)),
        current_a=np.zeros(n.size),
    )


def _noise(raw: RawStep, converter: int, channel: int, least: float) -> float:
    """Noise of one conversion at rest: from neighbours, which drift and mains move little."""
    on_us, _, _ = edges_us(raw)
    points: Points = channel_points(raw, converter, channel, on_us - REST_WINDOW_S * 1e6, on_us)
    single = points.code[points.n == 1]
    if single.size < 12:
        return least
    return max(least, float(np.std(np.diff(single))) / sqrt(2.0))
