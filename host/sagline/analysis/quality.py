# SPDX-License-Identifier: MIT
"""Is a step fit to be used? Only a diagnosed cause rejects; the rest is a notice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sagline.analysis.step import Points, StepReading, fit_line
from sagline.analysis.values import Notice

DRIFT_HORIZON_S = 0.1
DRIFT_SHARE = 5e-4
JUMP_NOISES = 12.0
JUMP_SHARE = 2e-3
MAD_LIMIT = 3.0
MAD_TO_SD = 1.4826
"""Ratio of s.d. to median absolute deviation of a normal distribution."""
SMALL_SAMPLE = {4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
"""What the median absolute deviation of few values falls short of, by their number: Croux
and Rousseeuw, COMPSTAT 1992 (from memory; a test recomputes it). Above 9 it is n/(n - 0.8).
"""


def cell_moved(reading: StepReading) -> bool:
    """Whether the open level jumped during rest: a contact or the cell was touched.

    A jump is a difference of neighbours beyond twelve times their usual one (by the
    median, which a jump does not move) and beyond 0.2 % of the sag.
    """
    t_s, code, n = _sorted(reading.rest_points)
    if code.size < 8:
        return False
    step = np.abs(np.diff(code))
    # A steady drift is none: it moves sums over tens of ms further than single conversions.
    drift = 4.0 * abs(fit_line(t_s, code, n).slope) * np.diff(t_s)
    scaled = step / np.sqrt(1.0 / n[1:] + 1.0 / n[:-1])
    # Where most neighbours are equal the median is 0, and rounding (0.29 code) is the noise.
    usual = max(MAD_TO_SD * float(np.median(scaled)), 0.29)
    sag = abs(reading.readings[0].sense_open - reading.readings[0].sense)
    far = (scaled > JUMP_NOISES * usual) & (step > JUMP_SHARE * sag) & (step > drift)
    return bool(np.any(far))


def drift_share(readings: Sequence[StepReading]) -> float:
    """The largest drift of a rest in 0.1 s beyond its noise, as a share of the sag."""
    worst = 0.0
    for reading in readings:
        sag = abs(reading.readings[0].sense_open - reading.readings[0].sense)
        # Twice the s.d. is taken off: noise alone must not cry drift.
        drift = max(0.0, abs(reading.drift_per_s) - 2.0 * reading.drift_u) * DRIFT_HORIZON_S
        worst = max(worst, drift / sag if sag else float("inf") if drift else 0.0)
    return worst


def drift_notice(readings: Sequence[StepReading]) -> Notice | None:
    """A notice where the rest still drifts by more than 0.05 % of the sag in 0.1 s."""
    worst = drift_share(readings)
    if worst <= DRIFT_SHARE:
        return None
    return Notice(
        "rest_drift",
        f"the open voltage still drifts by {100 * worst:.2g} % of the sag in 0.1 s",
        "rest the cell longer before the load; E is the open voltage after this rest only",
    )


def outliers(values: Sequence[float]) -> list[bool]:
    """Values beyond 3 median absolute deviations, scaled to s.d.: flagged, never dropped.

    Fewer than four values have no outlier.
    """
    n = len(values)
    if n < 4:
        return [False] * n
    array = np.asarray(values, dtype=np.float64)
    distance = np.abs(array - np.median(array))
    spread = MAD_TO_SD * SMALL_SAMPLE.get(n, n / (n - 0.8)) * float(np.median(distance))
    # Equal values differ by rounding alone.
    floor = 1e-9 * float(np.abs(np.median(array)))
    return [bool(item) for item in distance > np.maximum(MAD_LIMIT * spread, floor)]


def _sorted(points: Points) -> Points:
    order = np.argsort(points.t_s, kind="stable")
    return Points(points.t_s[order], points.code[order], points.n[order])
