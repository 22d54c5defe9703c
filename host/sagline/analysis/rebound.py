# SPDX-License-Identifier: MIT
"""The step at release as a second, independent reading of r.

When the load goes off at T the voltage comes back by what the current I made. In a linear cell,
by superposition, (V(T+t) - V(T))/I = r(t) + r(T) - r(T+t): the answer to a load switched on at 0
less that to one switched off at T. A cell that answers otherwise, a contact that changed under
load or a resistor that heated leave a difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from sagline.analysis.calibration import tap_per_code_v, tap_volts
from sagline.analysis.current import Current
from sagline.analysis.jointfit import Basis, RepeatFit
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import WINDOW_RATIO, channel_points, edges_us, fit_line
from sagline.analysis.values import SENSE, Notice, RawStep

SHARE = 0.03
"""Of r: what the ratio r(t) at a falling current may differ from superposition at a steady one."""

T_S = 0.1
"""After release, at which the two are compared."""

SIGMAS = 4.0
FEWEST = 8


@dataclass(frozen=True)
class Rebound:
    """r at `t_s` after release, what the loaded part lets expect, and their difference's s.d."""

    t_s: float
    r_ohm: float
    expected_ohm: float
    u_ohm: float

    @property
    def differs(self) -> bool:
        """Beyond noise, linearity and the share that superposition may miss."""
        bound = SIGMAS * self.u_ohm + SHARE * abs(self.expected_ohm)
        return abs(self.r_ohm - self.expected_ohm) > bound

    @property
    def notice(self) -> Notice:
        return Notice(
            "rebound_differs",
            f"when the load went off, the voltage came back as from r({self.t_s:g} s) = "
            f"{self.r_ohm:.3g} Ω, where {self.expected_ohm:.3g} Ω was to be expected",
            "see to the contacts; a worn or nearly flat cell may answer so by itself",
        )


def rebound(
    raws: Sequence[RawStep],
    fits: Sequence[RepeatFit],
    currents: Sequence[Current],
    basis: Basis,
    profile: RigProfile,
    converter: int,
    t_s: float,
) -> Rebound | None:
    """Mean over the repeats; None where the recovery is too short for `t_s`."""
    found, expected, noise2 = [], [], []
    for raw, fit, current in zip(raws, fits, currents, strict=True):
        on_us, off_us, last_us = edges_us(raw)
        on_s = (off_us - on_us) * 1e-6
        window = (off_us + t_s / WINDOW_RATIO * 1e6, off_us + t_s * WINDOW_RATIO * 1e6)
        points = channel_points(raw, converter, SENSE, *window)
        if window[1] > last_us or points.t_s.size < FEWEST:
            return None
        line = fit_line(np.log((points.t_s - on_s) / t_s), points.code, points.n)
        code_v = tap_per_code_v(profile, converter, SENSE, raw.range_high)
        current_a = float(current.at(np.array([on_s]))[0])
        at = basis.at(np.array([t_s, on_s, on_s + t_s])) @ fit.amplitudes
        # Below the open level carried on: what is missing still is r(T+t) - r(t).
        open_v = fit.open_v + fit.drift_v_per_s * (on_s + t_s)
        missing_v = open_v - tap_volts(profile, converter, SENSE, line.level, raw.range_high)
        found.append(float(at[1]) - missing_v / current_a)
        expected.append(float(at[0] + at[1] - at[2]))
        codes = line.level_u**2 + 2.0 * profile.converter(converter).inl_limit_codes ** 2 / 3.0
        noise2.append(codes * (code_v / current_a) ** 2)
    return Rebound(t_s, float(np.mean(found)), float(np.mean(expected)), sqrt(float(max(noise2))))
