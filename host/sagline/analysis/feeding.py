# SPDX-License-Identifier: MIT
"""Does something else feed the cell? Told by its voltage at rest, while no load is on.

A cell by itself stands still, or relaxes after a load. A charger, a power bank's converter or
an appliance makes it rise steadily, or ripple. What one of these would explain is not the r of
a cell, so the series is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import e, sqrt

import numpy as np

from sagline.analysis.calibration import tap_per_code_v, tap_volts
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import REST_WINDOW_S, Points, StepReading
from sagline.analysis.values import SENSE, AnalysisError, IntArray

HUM_V = 2.2e-3
"""What the mains may put into the sense leads, r.m.s. (V): leads that enclose 0.1 m² in 100 µT
at 50 Hz, 2π·50·0.1·1e-4/√2. That field is the most the public is exposed to (ICNIRP 1998, table
7, 5/f with f in kHz; at 60 Hz the product is the same)."""

HUM_A = 3.5e-3
"""What the mains may drive through the cell (A): the most touch current of earthed equipment
(IEC 60950-1 and IEC 62368-1, from memory)."""

PARTS = 4
"""The rest is judged in so many parts, each for itself: ripple is in all, a jump in one only."""

FEWEST = 12
"""Conversions that a part needs to be judged."""

SURE = 5.0
"""Standard deviations beyond chance."""

GROWS = 0.35
"""Least value of (exp(-0.45 x) - exp(-0.95 x)) / (1 - exp(-x)) for x = T/τ from 0 to 1 is 0.397;
a little less, for the current falls meanwhile."""

COMES_BACK = 0.1
"""Of the open voltage: what a tired cell may still come back by after what it did before."""


MAINS_V = 0.02
"""Hum at the mains' own frequency up to this (V, r.m.s.) is taken out by the fit; leads long and
open enough for it are common practice with beginners."""


def ripple_v(
    reading: StepReading, profile: RigProfile, converter: int, hum_hz: float | None = None
) -> float:
    """Ripple of the open voltage beyond the converter's noise, r.m.s. (V); 0 where none is sure.

    Hum of `hum_hz` is not counted.

    Of the parts of the rest that was read conversion by conversion the calmest counts, so that
    a contact that moved is no ripple. It sees what is faster than those parts, an eighth of a
    second, and not averaged out by a conversion.
    """
    points = reading.rest_points
    single = points.n == 1
    points = Points(points.t_s[single], points.code[single], points.n[single])
    order = np.argsort(points.t_s, kind="stable")
    parts = np.array_split(order, PARTS)
    if len(parts[-1]) < FEWEST:
        return 0.0
    noise_codes = profile.converter(converter).noise_millilsb * 1e-3
    expected = noise_codes * noise_codes + 1.0 / 12.0
    variance = min(_left_over(points, part, hum_hz) for part in parts)
    # The s.d. of a variance of n - 4 degrees of freedom is sqrt(2 / (n - 4)) of it.
    if variance <= expected * (1.0 + SURE * sqrt(2.0 / (len(parts[-1]) - 4))):
        return 0.0
    return sqrt(variance - expected) * tap_per_code_v(profile, converter, SENSE, reading.range_high)


def _left_over(points: Points, part: IntArray, hum_hz: float | None) -> float:
    """Variance of some points' codes about a line and a sine of `hum_hz`."""
    t_s, code = points.t_s[part], points.code[part]
    columns = [np.ones_like(t_s), t_s]
    if hum_hz is not None:
        turn = 2.0 * np.pi * hum_hz * t_s
        columns += [np.cos(turn), np.sin(turn)]
    design = np.column_stack(columns)
    found = np.linalg.lstsq(design, code, rcond=None)[0]
    return float(((code - design @ found) ** 2).sum()) / max(1, code.size - len(columns))


def slow_sag_v(reading: StepReading, profile: RigProfile, converter: int) -> float:
    """The most of the sag that may come back slower than within the pulse's own length T (V).

    A process of time constant T or more does at least GROWS of its part of the sag between
    0.45 T and 0.95 T. Faster ones are over long before the end of a rest of ten T.
    """
    points, on_s = reading.loaded_points[SENSE], reading.on_s
    parts = [
        points.code[(points.t_s >= from_s * on_s) & (points.t_s <= to_s * on_s)]
        for from_s, to_s in ((0.4, 0.5), (0.9, 1.0))
    ]
    # Linearity may hide two codes of it.
    codes = 2.0 * profile.converter(converter).inl_limit_codes + 1.0
    if all(part.size for part in parts):
        codes += max(0.0, float(parts[0].mean() - parts[1].mean()))
    else:
        codes += reading.readings[0].sense_open - reading.readings[0].sense
    return codes * tap_per_code_v(profile, converter, SENSE, reading.range_high) / GROWS


def most_rise_v_per_s(slow_v: float, open_v: float, rest_s: float, number: int) -> float:
    """How fast a relaxing cell may rise at the end of the rest before repeat `number` (V/s).

    What a pulse leaves behind is a sum of a·exp(-t/τ), all a positive and together at most
    `slow_v`. Its slope at t is the sum of (a/τ)·exp(-t/τ), and each is at most a/(e·t), for
    that is the greatest value over τ: so the slope is at most slow_v/(e·t), whatever the
    cell. The pulses before lie t, 2t, 3t back at least. What the cell did before the run is
    bounded in the same way, by what it may still come back by.
    """
    t_s = max(rest_s - 0.5 * REST_WINDOW_S, 0.5 * rest_s)
    pulses = sum(slow_v / (e * k * t_s) for k in range(1, number))
    return pulses + COMES_BACK * open_v / (e * number * t_s)


def refuse(
    readings: Sequence[StepReading],
    r_ohm: Sequence[float],
    profile: RigProfile,
    converter: int,
    hum_hz: float | None = None,
) -> None:
    """Refuse a series whose cell something else feeds; `r_ohm` is that of each reading.

    Hum of `hum_hz` is the mains' doing, up to MAINS_V.

    Raises AnalysisError `something_else_connected`.
    """
    for number, (reading, r) in enumerate(zip(readings, r_ohm, strict=True), start=1):
        ripple = ripple_v(reading, profile, converter, hum_hz)
        ripple = max(ripple, ripple_v(reading, profile, converter) - MAINS_V)
        refuse_ripple(ripple, r)
        range_high = reading.range_high
        open_v = tap_volts(profile, converter, SENSE, reading.readings[0].sense_open, range_high)
        per_code_v = tap_per_code_v(profile, converter, SENSE, range_high)
        rise = (reading.drift_per_s - SURE * reading.drift_u) * per_code_v
        slow_v = slow_sag_v(reading, profile, converter)
        refuse_rise(rise, slow_v, open_v, reading.rest_s, number)


def refuse_ripple(ripple_v: float, r_ohm: float) -> None:
    """Refuse ripple (V r.m.s.) beyond what hum makes on a cell of `r_ohm`.

    Raises AnalysisError `something_else_connected`.
    """
    if ripple_v > HUM_V + HUM_A * max(r_ohm, 0.0):
        raise refusal(
            f"while no load was on, the cell's voltage rippled by {1e3 * ripple_v:.2g} mV "
            "r.m.s., more than mains hum can make"
        )


def refuse_rise(
    rise_v_per_s: float, slow_v: float, open_v: float, rest_s: float, number: int
) -> None:
    """Refuse a rise at rest beyond `most_rise_v_per_s` of the other arguments.

    Raises AnalysisError `something_else_connected`.
    """
    if rise_v_per_s > most_rise_v_per_s(slow_v, open_v, rest_s, number):
        raise refusal(
            f"while no load was on, the cell's voltage rose by {1e3 * rise_v_per_s:.2g} mV/s, "
            "faster than a cell recovers"
        )


def refusal(text: str) -> AnalysisError:
    """The refusal `something_else_connected` for what `text` says."""
    return AnalysisError(
        "something_else_connected",
        text,
        "something else is connected to the cell, or it is a pack with a converter in it: take "
        "chargers and appliances off, measure the bare cell, and not a power bank; let a cell that "
        "has just worked hard rest for some minutes",
    )
