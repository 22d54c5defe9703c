# SPDX-License-Identifier: MIT
"""Mains hum on the sense leads: its frequency found in the rest before the load, in all repeats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sagline.analysis.rows import Front, Rows
from sagline.analysis.values import FloatArray

LOWEST_HZ, HIGHEST_HZ, STEP_HZ = 45.0, 65.0, 0.1
LONGEST_S = 0.006
"""Windows up to this long show the hum; longer ones average it away."""

FALSE_ALARM = 1e-5
FEWEST_ROWS = 40


@dataclass(frozen=True)
class Hum:
    """A sine of one frequency, its phase and amplitude each repeat's own."""

    hz: float

    def columns(self, start_s: FloatArray, length_s: FloatArray) -> list[FloatArray]:
        """Cosine and sine averaged over each window."""
        angle = 2.0 * np.pi * self.hz * (start_s + 0.5 * length_s)
        # np.sinc(x) is sin(pi x)/(pi x).
        left = np.sinc(self.hz * length_s)
        return [left * np.cos(angle), left * np.sin(angle)]


def find(repeats: Sequence[Rows]) -> Hum | None:
    """The hum between 45 and 65 Hz if the rest windows show one beyond chance.

    Least-squares periodogram, the repeats' powers added; Fisher's test of the greatest.
    """
    from scipy.stats import f as fisher

    rests = [
        rows.of(~rows.loaded & rows.is_from(Front.LEVEL) & (rows.length_s <= LONGEST_S))
        for rows in repeats
    ]
    rests = [rows for rows in rests if rows.v.size >= FEWEST_ROWS]
    if not rests:
        return None
    tried_hz = np.arange(LOWEST_HZ, HIGHEST_HZ + STEP_HZ / 2, STEP_HZ)
    power, total, free = np.zeros(tried_hz.size), 0.0, 0
    for rows in rests:
        line = np.column_stack([np.ones_like(rows.v), rows.middle_s]) / rows.u_v[:, None]
        basis, _ = np.linalg.qr(line)
        y = rows.v / rows.u_v
        y = y - basis @ (basis.T @ y)
        total += float(y @ y)
        free += y.size - 4
        power += powers(tried_hz, rows, basis, y)
    best = int(np.argmax(power))
    ratio = power[best] / (2.0 * len(rests)) / max((total - power[best]) / free, 1e-30)
    # Some thirty frequencies can be told apart in a second; none of them may cry wolf.
    if fisher.sf(ratio, 2 * len(rests), free) > FALSE_ALARM:
        return None
    return Hum(_peak(tried_hz, power, best))


def powers(hz: FloatArray, rows: Rows, basis: FloatArray, y: FloatArray) -> FloatArray:
    """What a cosine and a sine of each frequency take of y squared, by their normal equations."""
    angle = 2.0 * np.pi * np.outer(rows.middle_s, hz)
    left = np.sinc(np.outer(rows.length_s, hz)) / rows.u_v[:, None]
    cosine, sine = left * np.cos(angle), left * np.sin(angle)
    cosine -= basis @ (basis.T @ cosine)
    sine -= basis @ (basis.T @ sine)
    cc, ss, cs = (cosine**2).sum(axis=0), (sine**2).sum(axis=0), (cosine * sine).sum(axis=0)
    cy, sy = y @ cosine, y @ sine
    return (ss * cy**2 - 2.0 * cs * cy * sy + cc * sy**2) / (cc * ss - cs**2)


def _peak(hz: FloatArray, power: FloatArray, best: int) -> float:
    """The top of the parabola through the greatest power and its neighbours."""
    if not 0 < best < hz.size - 1:
        return float(hz[best])
    left, top, right = power[best - 1 : best + 2]
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float(hz[best] + shift * (hz[1] - hz[0]))
