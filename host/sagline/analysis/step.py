# SPDX-License-Identifier: MIT
"""One step to levels: what the codes were at rest and at stated times after load on.

Levels stay in mean codes; volts are the business of `calibration`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from sagline.analysis.influences import CHANNEL_NAMES, Readings
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import (
    FORCE,
    RETURN,
    SENSE,
    AnalysisError,
    FloatArray,
    RawStep,
)
from sagline.errors import NEW_FIRMWARE

REST_WINDOW_S = 1.0
"""Rest read before the edge. Longer is worse: after the first repeat the rest still relaxes
like 1/sqrt(t), and a line through 5 s of it overshoots at the edge by 0.2 % of the sag. One
second holds whole periods of any mains."""

END_WINDOW_S = 0.15
"""What is read at the end of the recovery, to see that the cell is still there."""

WINDOW_RATIO = 1.4
"""A level at t is read from t/1.4 to 1.4 t: even in ln t, so that its slope cancels."""
FEWEST_FOR_SLOPE = 4
FEWEST_SINGLE = 8
"""Single conversions needed before the noise is taken from them alone."""


class Points(NamedTuple):
    """Points of one channel: middle of the window (s from load on), mean code, conversions."""

    t_s: FloatArray
    code: FloatArray
    n: FloatArray


class Line(NamedTuple):
    """A weighted straight line: value and slope at x = 0, their s.d., and the noise of one
    conversion, all in codes (slope: codes per unit of x)."""

    level: float
    level_u: float
    slope: float
    slope_u: float
    noise: float


@dataclass(frozen=True)
class StepReading:
    """The levels of one step. One item of `readings` per requested time.

    `drift_per_s` is the slope of sense in the rest window (codes/s), `drift_u` its s.d.,
    `sense_open_u` the s.d. of the open level carried to the edge; `noise_codes` the noise
    of one conversion by channel; `rest_points` those of sense in the rest window.
    `rest_codes` and `end_codes` are mean codes of sense, force, return in the rest window
    and at the end of the recovery (None where that is too short). `loaded_points` are those
    of each channel while the load was on.
    """

    times_s: tuple[float, ...]
    readings: tuple[Readings, ...]
    sense_open_u: float
    drift_per_s: float
    drift_u: float
    noise_codes: Mapping[int, float]
    rest_points: Points
    rest_codes: tuple[float, float, float]
    end_codes: tuple[float, float, float] | None
    loaded_points: Mapping[int, Points]
    point_count: int
    rest_s: float
    on_s: float
    load: int
    range_high: bool


def fit_line(x: FloatArray, y: FloatArray, n: FloatArray) -> Line:
    """Least squares with weights n, for at least three points of two or more x.

    The s.d. come from the scatter about the line (Draper and Smith, ch. 1), not from an
    assumed noise.
    """
    total = n.sum()
    x0 = (n * x).sum() / total
    y0 = (n * y).sum() / total
    sxx = (n * (x - x0) ** 2).sum()
    slope = (n * (x - x0) * y).sum() / sxx
    residual = y - y0 - slope * (x - x0)
    variance = max(0.0, float((n * residual**2).sum()) / max(1, x.size - 2))
    level_u = np.sqrt(variance * (1.0 / total + x0 * x0 / sxx))
    return Line(
        float(y0 - slope * x0),
        float(level_u),
        float(slope),
        float(np.sqrt(variance / sxx)),
        float(np.sqrt(variance)),
    )


def edges_us(raw: RawStep) -> tuple[float, float, float]:
    """Load on, load off, and the end of the record (us); off is the end where it never came.

    Raises AnalysisError `no_edge`.
    """
    last_us = float((raw.start_us + raw.length_us).max())
    match raw.edges_us:
        case ():
            raise AnalysisError(
                "no_edge", "the record holds no switching of a load", "measure again with a load"
            )
        case (on_us,):
            return float(on_us), last_us, last_us
        case _:
            return float(raw.edges_us[0]), float(raw.edges_us[1]), last_us


def channel_points(
    raw: RawStep, converter: int, channel: int, from_us: float, to_us: float
) -> Points:
    """The points of a channel that lie wholly in a window; times are from load on."""
    end_us = raw.start_us + raw.length_us
    chosen = (
        (raw.source == converter * 4 + channel)
        & (raw.start_us >= from_us)
        & (end_us <= to_us)
        & (raw.n > 0)
    )
    n = raw.n[chosen].astype(np.float64)
    t_s = (raw.start_us[chosen] + raw.length_us[chosen] / 2.0 - raw.edges_us[0]) * 1e-6
    return Points(t_s, raw.total[chosen] / n, n)


def read_step(
    raw: RawStep, profile: RigProfile, converter: int, times_s: Sequence[float] = (0.1,)
) -> StepReading:
    """The levels of one step at rest and at `times_s` (s after load on).

    Raises AnalysisError: `no_converter`, `no_edge`, `time_outside_step`, `few_points`,
    `clipped`.
    """
    full_code = profile.converter(converter).full_code
    if not np.any(raw.source // 4 == converter):
        raise AnalysisError(
            "no_converter",
            f"the record holds no points of converter {converter}",
            f"measure again; if it stays so, {NEW_FIRMWARE}",
        )
    on_us, off_us, last_us = edges_us(raw)
    on_s = (off_us - on_us) * 1e-6
    for t_s in times_s:
        if not 0.0 < t_s <= on_s:
            raise AnalysisError(
                "time_outside_step",
                f"{t_s:g} s is not within the {on_s:g} s for which the load was on",
                "ask for a time within the step, or measure with a longer one",
            )

    rest_from_us = max(0.0, on_us - REST_WINDOW_S * 1e6)
    rest = {
        channel: channel_points(raw, converter, channel, rest_from_us, on_us)
        for channel in CHANNEL_NAMES
    }
    loaded = {
        channel: channel_points(raw, converter, channel, on_us, off_us) for channel in CHANNEL_NAMES
    }
    _require(rest[SENSE], 3, "sense", "before the load")
    _require(rest[FORCE], 1, "force", "before the load")
    _require(rest[RETURN], 1, "return", "before the load")
    _refuse_clipped(rest[SENSE], full_code, "sense")
    _refuse_clipped(rest[RETURN], full_code, "return")
    open_line = fit_line(*rest[SENSE])
    rest_codes = _means(rest)
    return_open = rest_codes[RETURN]
    end_from_us = max(off_us, last_us - END_WINDOW_S * 1e6)
    end = {
        channel: channel_points(raw, converter, channel, end_from_us, last_us)
        for channel in CHANNEL_NAMES
    }

    count = rest[SENSE].t_s.size
    readings = []
    for t_s in times_s:
        level = {}
        for channel, name in CHANNEL_NAMES.items():
            window = _around(loaded[channel], t_s)
            _require(window, 1, name, f"about {t_s:g} s after load on")
            _refuse_clipped(window, full_code, name)
            level[channel] = _level_at(window, t_s)
            count += window.t_s.size
        readings.append(
            Readings(open_line.level, level[SENSE], level[FORCE], return_open, level[RETURN])
        )
    return StepReading(
        times_s=tuple(times_s),
        readings=tuple(readings),
        sense_open_u=open_line.level_u,
        drift_per_s=open_line.slope,
        drift_u=open_line.slope_u,
        noise_codes={channel: _noise(points) for channel, points in rest.items()},
        rest_points=rest[SENSE],
        rest_codes=rest_codes,
        end_codes=_means(end) if all(points.t_s.size for points in end.values()) else None,
        loaded_points=loaded,
        point_count=int(count),
        rest_s=on_us * 1e-6,
        on_s=on_s,
        load=raw.load,
        range_high=raw.range_high,
    )


def open_and_loaded(raw: RawStep, converter: int, channel: int, t_s: float) -> tuple[float, float]:
    """Mean codes of a channel as the load goes on, from the rest before it, and t_s (s) later.

    Raises AnalysisError `no_edge`, `few_points`.
    """
    on_us, off_us, _ = edges_us(raw)
    rest = channel_points(raw, converter, channel, on_us - REST_WINDOW_S * 1e6, on_us)
    about = _around(channel_points(raw, converter, channel, on_us, off_us), t_s)
    _require(rest, 3, f"channel {channel}", "before the load")
    _require(about, 1, f"channel {channel}", f"about {t_s:g} s after load on")
    return fit_line(*rest).level, _level_at(about, t_s)


def _means(points: Mapping[int, Points]) -> tuple[float, float, float]:
    sense, force, back = (
        float(np.average(points[channel].code, weights=points[channel].n))
        for channel in (SENSE, FORCE, RETURN)
    )
    return sense, force, back


def _around(points: Points, t_s: float) -> Points:
    chosen = (points.t_s >= t_s / WINDOW_RATIO) & (points.t_s <= t_s * WINDOW_RATIO)
    return Points(points.t_s[chosen], points.code[chosen], points.n[chosen])


def _level_at(points: Points, t_s: float) -> float:
    if points.t_s.size < FEWEST_FOR_SLOPE:
        return float(np.average(points.code, weights=points.n))
    return fit_line(np.log(points.t_s / t_s), points.code, points.n).level


def _noise(points: Points) -> float:
    """Noise of one conversion (codes); 0 where it cannot be told."""
    single = points.n == 1
    # Sums over tens of ms hold drift and mains as well, which would flatter the dither.
    if np.count_nonzero(single) >= FEWEST_SINGLE:
        points = Points(points.t_s[single], points.code[single], points.n[single])
    return fit_line(*points).noise if points.t_s.size >= 3 else 0.0


def _require(points: Points, fewest: int, name: str, where: str) -> None:
    if points.t_s.size < fewest:
        raise AnalysisError(
            "few_points",
            f"only {points.t_s.size} points of {name} {where}; {fewest} are needed",
            "ask for a later time, or measure again with a longer rest",
        )


def _refuse_clipped(points: Points, full_code: int, name: str) -> None:
    # Every channel is lifted well above 0, so a code of 0 is a lost or reversed lead for
    # either converter.
    if np.any(points.code >= full_code) or np.any(points.code <= 0):
        raise AnalysisError(
            "clipped",
            f"{name} reached the end of the converter's range",
            "check the polarity and the contacts, then measure again",
        )
