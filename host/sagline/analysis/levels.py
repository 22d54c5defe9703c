# SPDX-License-Identifier: MIT
"""The levels of all kept steps at each time, by the joint fit or what stands in for it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from sagline.analysis import jointfit, mains, rebound, sagerrors, shape
from sagline.analysis.calibration import tap_code, tap_per_code_v
from sagline.analysis.current import Current
from sagline.analysis.influences import Readings, front_end
from sagline.analysis.jointfit import JointFit, RepeatFit
from sagline.analysis.nonlinearity import LevelErrors
from sagline.analysis.onboard_table import OnboardTable
from sagline.analysis.profile import RigProfile
from sagline.analysis.rows import FIRST_S, Front, Rows, first_time_s, has_null, rows_of
from sagline.analysis.spectrum import Curves
from sagline.analysis.step import StepReading
from sagline.analysis.values import ADS1115, SENSE, FloatArray, Notice, RawStep

SLOPE_STEP = 0.05
"""How far to both sides of a time, relative, the slope of r there is taken."""

BATCH = 8
"""Residuals averaged together to see whether neighbours agree more than chance lets them."""


@dataclass(frozen=True, eq=False)
class Levels:
    """What the fit of all kept steps says.

    `times_s` are those asked for and t_f, `first_s`; `by_repeat[j][i]` the levels of repeat j
    at time i and `errors[i]` what non-linearity does to their means; `rest_noise_codes` the
    s.d. of the first repeat's open level from its noise; `start` each repeat's levels at 0+ by
    the model, None where the model does not hold; `hum_hz` that of the mains, None where none
    is seen.
    """

    times_s: tuple[float, ...]
    first_s: float
    front_end: str
    by_repeat: tuple[tuple[Readings, ...], ...]
    errors: tuple[LevelErrors, ...]
    rest_noise_codes: float
    drift_v_per_s: float
    start: tuple[Readings, ...] | None
    hum_hz: float | None
    notices: tuple[Notice, ...]


def levels_of(
    raws: Sequence[RawStep],
    readings: Sequence[StepReading],
    profile: RigProfile,
    converter: int,
    times_s: Sequence[float],
    table: OnboardTable | None = None,
    edge_code: float | None = None,
) -> Levels:
    """Fit steps of one load and range together; `readings` are theirs by `step.read_step`.

    `table` is the one that the on-board codes have been corrected by, `edge_code` the open level
    that E is taken from where that is not of these steps.
    """
    data = _Data.of(raws, readings, profile, converter, table, edge_code)
    first_s = data.first_s
    hum = mains.find(data.rows)
    joint = jointfit.fit(data.rows, _with(times_s, first_s), first_s, data.on_s, hum)
    notices = [] if hum is None else [_hum_notice(hum, joint)]
    start = tuple(
        data.readings(one, current, 0.0, one.start_ohm)
        for one, current in zip(joint.repeats, data.currents, strict=True)
    )
    back = rebound.rebound(
        raws, joint.repeats, data.currents, joint.curves, profile, converter, rebound.T_S
    )
    course_ohm = np.zeros(len(joint.times_s))
    # By the model, also where it does not hold: the instant of switching matters little.
    slope = _slope(joint)
    if not _rises_as_it_must(data, joint, hum):
        # Without a model the first points are too few to read r from.
        first_s = max(first_s, FIRST_S[ADS1115])
        every_s = _with(times_s, first_s)
        wide, joint = (
            jointfit.local(joint, every_s, data.first_s, hum, span)
            for span in (shape.WIDE_SPAN, shape.SPAN)
        )
        course_ohm = np.abs(_mean_r(joint) - _mean_r(wide))
        start = None
        notices.append(_UNUSUAL)
    elif back is not None and back.differs:
        notices.append(back.notice)
    return Levels(
        times_s=joint.times_s,
        first_s=first_s,
        front_end=front_end(converter, data.null),
        by_repeat=tuple(
            tuple(
                data.readings(one, current, t_s, float(r_ohm), float(course), slope(t_s))
                for t_s, r_ohm, course in zip(joint.times_s, one.r_ohm, course_ohm, strict=True)
            )
            for one, current in zip(joint.repeats, data.currents, strict=True)
        ),
        errors=tuple(
            data.errors(t_s, [one.weights[index] for one in joint.repeats], joint)
            for index, t_s in enumerate(joint.times_s)
        ),
        rest_noise_codes=joint.repeats[0].open_u_v / data.code_v * _correlation(joint),
        drift_v_per_s=float(np.mean([one.drift_v_per_s for one in joint.repeats])),
        start=start,
        hum_hz=None if hum is None else hum.hz,
        notices=tuple(notices),
    )


@dataclass(frozen=True, eq=False)
class _Data:
    """The steps as the fit takes them; `code_v` is volts at the sense tap per code."""

    profile: RigProfile
    converter: int
    range_high: bool
    null: bool
    rows: list[Rows]
    currents: list[Current]
    first_s: float
    on_s: float
    code_v: float
    table: OnboardTable | None
    edge_code: float | None

    @classmethod
    def of(
        cls,
        raws: Sequence[RawStep],
        readings: Sequence[StepReading],
        profile: RigProfile,
        converter: int,
        table: OnboardTable | None,
        edge_code: float | None,
    ) -> _Data:
        range_high = readings[0].range_high
        null = converter == ADS1115 and all(has_null(raw, profile) for raw in raws)
        currents = [Current(raw, profile, converter) for raw in raws]
        return cls(
            profile,
            converter,
            range_high,
            null,
            [
                rows_of(raw, profile, converter, current, reading.noise_codes, null)
                for raw, current, reading in zip(raws, currents, readings, strict=True)
            ],
            currents,
            max(first_time_s(raw) for raw in raws),
            min(reading.on_s for reading in readings),
            tap_per_code_v(profile, converter, SENSE, range_high),
            table,
            edge_code,
        )

    def current_a(self, t_s: float) -> float:
        """The repeats' mean current at a time."""
        return float(np.mean([current.at(np.array([t_s]))[0] for current in self.currents]))

    def edge(self, one: RepeatFit) -> float:
        """The open level (code) that E is taken from, which is that of a repeat unless stated."""
        return self.sense_code(one.open_v) if self.edge_code is None else self.edge_code

    def sense_code(self, v: float) -> float:
        return tap_code(self.profile, self.converter, SENSE, v, self.range_high)

    def errors(self, t_s: float, weights: Sequence[FloatArray], joint: JointFit) -> LevelErrors:
        """What non-linearity does to the mean levels, by each repeat's weights at a time."""
        return sagerrors.of_fit(
            self.profile,
            self.converter,
            self.range_high,
            self.rows,
            weights,
            self.current_a(t_s),
            self.edge(joint.repeats[0]),
            self.table,
        )

    def readings(
        self,
        one: RepeatFit,
        current: Current,
        t_s: float,
        r_ohm: float,
        course_ohm: float = 0.0,
        slope_ohm_per_s: float = 0.0,
    ) -> Readings:
        """Levels at one time: the open one with its drift, and below it by r times the current."""
        open_v = one.open_v + one.drift_v_per_s * t_s
        sense_v = open_v - r_ohm * float(current.at(np.array([t_s]))[0])
        force, return_open, return_loaded = current.codes(t_s)
        return Readings(
            sense_open=self.sense_code(open_v),
            sense=self.sense_code(sense_v),
            force=force,
            return_open=return_open,
            return_loaded=return_loaded,
            edge=self.edge(one),
            course_ohm=course_ohm,
            # The current falls by little within a pulse.
            i2t_a2s=self.current_a(t_s) ** 2 * t_s,
            slope_ohm_per_s=slope_ohm_per_s,
        )


def _with(times_s: Sequence[float], first_s: float) -> tuple[float, ...]:
    """The times asked for, and t_f."""
    return tuple(dict.fromkeys((*times_s, first_s)))


def _slope(joint: JointFit) -> Callable[[float], float]:
    """dr/dt (ohm/s) of the model at a time, the repeats' mean."""
    amplitudes = np.mean([one.amplitudes for one in joint.repeats], axis=0)

    def at(t_s: float) -> float:
        before, after = joint.curves.at(np.array([1.0 - SLOPE_STEP, 1.0 + SLOPE_STEP]) * t_s)
        return float((after - before) @ amplitudes) / (2.0 * SLOPE_STEP * t_s)

    return at


def _mean_r(joint: JointFit) -> FloatArray:
    return np.mean([one.r_ohm for one in joint.repeats], axis=0)


def _rises_as_it_must(data: _Data, joint: JointFit, hum: mains.Hum | None) -> bool:
    """Whether a fit free to fall agrees with the non-negative one, beside noise and linearity."""
    check_s = tuple(map(float, shape.check_times(data.first_s, data.on_s)))
    bound = jointfit.free(joint, joint.curves, check_s, hum)
    taus_s = shape.free_taus(float(joint.tried.tau_s[0]), data.on_s)
    free = jointfit.free(joint, Curves(taus_s), check_s, hum)
    pairs = list(zip(bound.repeats, free.repeats, strict=True))
    for index, t_s in enumerate(check_s):
        weights = [b.weights[index] - f.weights[index] for b, f in pairs]
        apart_ohm = float(np.mean([b.r_ohm[index] - f.r_ohm[index] for b, f in pairs]))
        noise_ohm2 = (
            sum(
                float(((w * rows.u_v) ** 2).sum())
                for w, rows in zip(weights, data.rows, strict=True)
            )
            / len(pairs) ** 2
        )
        sag_codes2 = float(data.errors(t_s, weights, joint).covariance()[1, 1])
        sag_ohm2 = max(0.0, sag_codes2) * (data.code_v / data.current_a(t_s)) ** 2
        if abs(apart_ohm) > shape.SIGMAS * sqrt(noise_ohm2 + sag_ohm2):
            return False
    return True


def _correlation(joint: JointFit) -> float:
    """By how much neighbours that agree widen a mean's s.d.: 1 for white noise.

    From means of batches of residuals: their variance times the batch, over that of single
    ones (the method of batch means, common practice).
    """
    ratio = []
    for one in joint.repeats:
        rest = one.residual[~one.rows.loaded & one.rows.is_from(Front.LEVEL)]
        batches = rest.size // BATCH
        if batches >= BATCH:
            means = rest[: batches * BATCH].reshape(batches, BATCH).mean(axis=1)
            ratio.append(BATCH * float(np.mean(means**2)) / max(float(np.mean(rest**2)), 1e-30))
    return sqrt(max(1.0, float(np.mean(ratio)))) if ratio else 1.0


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
