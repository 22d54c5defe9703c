# SPDX-License-Identifier: MIT
"""r(t) of all repeats: by the joint fit, or by what stands in where r does not rise as it must.

A rig's steps and those of a foreign record go through here alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Protocol

import numpy as np

from sagline.analysis import jointfit, mains, shape
from sagline.analysis.jointfit import JointFit
from sagline.analysis.rebound import Rebound
from sagline.analysis.rows import Front, Rows
from sagline.analysis.spectrum import Curves
from sagline.analysis.values import FloatArray, Notice

SLOPE_STEP = 0.05
"""How far to both sides of a time, relative, the slope of r there is taken."""

BATCH = 8
"""Residuals averaged together to see whether neighbours agree more than chance lets them."""


class Steps(Protocol):
    """What the fit asks of steps of one load.

    `first_s` is t_f, `on_s` the shortest pulse.
    """

    @property
    def rows(self) -> list[Rows]: ...

    @property
    def first_s(self) -> float: ...

    @property
    def on_s(self) -> float: ...

    @property
    def floor_s(self) -> float:
        """The first time at which r can be read without a model (s)."""
        ...

    def sag_limit_ohm2(self, t_s: float, weights: Sequence[FloatArray], joint: JointFit) -> float:
        """Variance in r (ohm²) of what the instrument may bend, in a sum of these weights."""
        ...

    def rebound(self, joint: JointFit) -> Rebound | None:
        """The step at release as a second reading, None where there is none."""
        ...


@dataclass(frozen=True, eq=False)
class Course:
    """r(t) of every repeat at `joint.times_s`: those asked for and t_f, `first_s`.

    `model` is the fit by time constants, also where it does not hold and `joint` is another.
    `off_ohm` is how far r may be off at each time where the course is not a cell's usual one;
    `start_ohm` each repeat's r at 0+ by the model, None where the model does not hold.
    """

    joint: JointFit
    model: JointFit
    first_s: float
    hum: mains.Hum | None
    off_ohm: FloatArray
    start_ohm: tuple[float, ...] | None
    notices: tuple[Notice, ...]

    def slope_ohm_per_s(self, t_s: float) -> float:
        """dr/dt of the model at a time, the repeats' mean."""
        # Also where the model does not hold: the instant of switching matters little.
        amplitudes = np.mean([one.amplitudes for one in self.model.repeats], axis=0)
        at_s = np.array([1.0 - SLOPE_STEP, 1.0 + SLOPE_STEP]) * t_s
        before, after = self.model.curves.at(at_s)
        return float((after - before) @ amplitudes) / (2.0 * SLOPE_STEP * t_s)


def course_of(steps: Steps, times_s: Sequence[float]) -> Course:
    """Fit the steps together."""
    first_s = steps.first_s
    hum = mains.find(steps.rows)
    joint = jointfit.fit(steps.rows, _with(times_s, first_s), first_s, steps.on_s, hum)
    model = joint
    notices = [] if hum is None else [_hum_notice(hum, joint)]
    start = tuple(one.start_ohm for one in joint.repeats)
    back = steps.rebound(joint)
    off_ohm = np.zeros(len(joint.times_s))
    if not _rises_as_it_must(steps, joint, hum):
        # Without a model the first points are too few to read r from.
        first_s = max(first_s, steps.floor_s)
        every_s = _with(times_s, first_s)
        wide, joint = (
            jointfit.local(joint, every_s, steps.first_s, hum, span)
            for span in (shape.WIDE_SPAN, shape.SPAN)
        )
        off_ohm = np.abs(_mean_r(joint) - _mean_r(wide))
        start = None
        notices.append(_UNUSUAL)
    elif back is not None and back.differs:
        notices.append(back.notice)
    return Course(joint, model, first_s, hum, off_ohm, start, tuple(notices))


def correlation(joint: JointFit) -> float:
    """By how much neighbours that agree widen a mean's s.d.: 1 for white noise.

    From means of batches of residuals: their variance times the batch, over that of single
    ones (the method of batch means, common practice).
    """
    return widening(
        [one.residual[~one.rows.loaded & one.rows.is_from(Front.LEVEL)] for one in joint.repeats]
    )


def widening(residuals: Sequence[FloatArray]) -> float:
    """The same for any stretches of residuals in order of time; short ones say nothing."""
    ratio = []
    for rest in residuals:
        batches = rest.size // BATCH
        if batches >= BATCH:
            means = rest[: batches * BATCH].reshape(batches, BATCH).mean(axis=1)
            ratio.append(BATCH * float(np.mean(means**2)) / max(float(np.mean(rest**2)), 1e-30))
    return sqrt(max(1.0, float(np.mean(ratio)))) if ratio else 1.0


def _with(times_s: Sequence[float], first_s: float) -> tuple[float, ...]:
    """The times asked for, and t_f."""
    return tuple(dict.fromkeys((*times_s, first_s)))


def _mean_r(joint: JointFit) -> FloatArray:
    return np.mean([one.r_ohm for one in joint.repeats], axis=0)


def _rises_as_it_must(steps: Steps, joint: JointFit, hum: mains.Hum | None) -> bool:
    """Whether a fit free to fall agrees with the non-negative one, beside noise and linearity."""
    check_s = tuple(map(float, shape.check_times(steps.first_s, steps.on_s)))
    bound = jointfit.free(joint, joint.curves, check_s, hum)
    taus_s = shape.free_taus(float(joint.tried.tau_s[0]), steps.on_s)
    free = jointfit.free(joint, Curves(taus_s), check_s, hum)
    pairs = list(zip(bound.repeats, free.repeats, strict=True))
    for index, t_s in enumerate(check_s):
        weights = [b.weights[index] - f.weights[index] for b, f in pairs]
        apart_ohm = float(np.mean([b.r_ohm[index] - f.r_ohm[index] for b, f in pairs]))
        noise_ohm2 = (
            sum(
                float(((w * rows.u_v) ** 2).sum())
                for w, rows in zip(weights, steps.rows, strict=True)
            )
            / len(pairs) ** 2
        )
        limit_ohm2 = steps.sag_limit_ohm2(t_s, weights, joint)
        if abs(apart_ohm) > shape.SIGMAS * sqrt(noise_ohm2 + limit_ohm2):
            return False
    return True


_UNUSUAL = Notice(
    "unusual_course",
    "r does not grow with time as a cell's does; each r(t) is read from the readings about that "
    "time alone",
    "clean the contacts and measure again; a lithium cell long in store needs a few pulses "
    "before its voltage settles",
)


def _hum_notice(hum: mains.Hum, joint: JointFit) -> Notice:
    most_v = max(one.hum_v for one in joint.repeats)
    return Notice(
        "mains_hum",
        f"hum of {1e3 * most_v:.2g} mV at {hum.hz:.1f} Hz is on the sense leads; it is taken out",
        "keep the leads short, twisted and away from mains cables",
    )
