# SPDX-License-Identifier: MIT
"""The step at release of a foreign record, compared as `rebound` does a rig's."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np

from sagline.analysis.foreign.onestep import OneStep
from sagline.analysis.jointfit import JointFit
from sagline.analysis.rebound import FEWEST, T_S, Rebound
from sagline.analysis.step import WINDOW_RATIO, fit_line


def rebound(steps: Sequence[OneStep], joint: JointFit) -> Rebound | None:
    """Mean over the steps; None where a recovery is too short."""
    r_ohm, expected, noise2 = [], [], []
    for step, fit in zip(steps, joint.repeats, strict=True):
        t_s, v = step.recovery.t_s, step.recovery.v
        near = (t_s >= T_S / WINDOW_RATIO) & (t_s <= T_S * WINDOW_RATIO)
        if not t_s.size or t_s[-1] < T_S * WINDOW_RATIO or near.sum() < FEWEST:
            return None
        line = fit_line(np.log(t_s[near] / T_S), v[near], np.ones(int(near.sum())))
        current_a = float(step.drive.at(np.array([step.on_s]))[0])
        at = joint.curves.at(np.array([T_S, step.on_s, step.on_s + T_S])) @ fit.amplitudes
        # Below the open level carried on: what is missing still is r(T+t) - r(t).
        open_v = fit.open_v + fit.drift_v_per_s * (step.on_s + T_S)
        r_ohm.append(float(at[1]) - (open_v - line.level) / current_a)
        expected.append(float(at[0] + at[1] - at[2]))
        noise_v2 = line.level_u**2 + fit.open_u_v**2 + (step.recovery.resolution**2) / 6.0
        noise2.append(noise_v2 / current_a**2)
    return Rebound(T_S, float(np.mean(r_ohm)), float(np.mean(expected)), sqrt(max(noise2)))
