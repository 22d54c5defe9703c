# SPDX-License-Identifier: MIT
"""The levels of all kept steps of a rig at each time, by the course of r that they show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from sagline.analysis import rebound, sagerrors
from sagline.analysis.calibration import tap_code, tap_per_code_v
from sagline.analysis.course import correlation, course_of
from sagline.analysis.current import Current
from sagline.analysis.influences import Readings, front_end
from sagline.analysis.jointfit import JointFit, RepeatFit
from sagline.analysis.nonlinearity import LevelErrors
from sagline.analysis.onboard_table import OnboardTable
from sagline.analysis.profile import RigProfile
from sagline.analysis.rebound import Rebound
from sagline.analysis.rows import FIRST_S, Rows, first_time_s, has_null, rows_of
from sagline.analysis.step import StepReading
from sagline.analysis.values import ADS1115, SENSE, FloatArray, Notice, RawStep


@dataclass(frozen=True, eq=False)
class Levels:
    """What the fit of all kept steps says.

    `times_s` are those asked for and t_f, `first_s`; `by_repeat[j][i]` the levels of repeat j
    at time i and `errors[i]` what non-linearity does to their means; `apart_v(i)` the s.d. of a
    repeat's sag about the mean that non-linearity alone makes there; `rest_noise_codes` the
    s.d. of the first repeat's open level from its noise; `start` each repeat's levels at 0+ by
    the model, None where the model does not hold; `hum_hz` that of the mains, None where none
    is seen.
    """

    times_s: tuple[float, ...]
    first_s: float
    front_end: str
    by_repeat: tuple[tuple[Readings, ...], ...]
    errors: tuple[LevelErrors, ...]
    apart_v: Callable[[int], float]
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
    course = course_of(data, times_s)
    joint = course.joint
    start = None
    if course.start_ohm is not None:
        start = tuple(
            data.readings(one, current, 0.0, start_ohm)
            for one, current, start_ohm in zip(
                joint.repeats, data.currents, course.start_ohm, strict=True
            )
        )
    return Levels(
        times_s=joint.times_s,
        first_s=course.first_s,
        front_end=front_end(converter, data.null),
        by_repeat=tuple(
            tuple(
                data.readings(
                    one, current, t_s, float(r_ohm), float(off_ohm), course.slope_ohm_per_s(t_s)
                )
                for t_s, r_ohm, off_ohm in zip(
                    joint.times_s, one.r_ohm, course.off_ohm, strict=True
                )
            )
            for one, current in zip(joint.repeats, data.currents, strict=True)
        ),
        errors=tuple(
            data.errors(t_s, [one.weights[index] for one in joint.repeats], joint)
            for index, t_s in enumerate(joint.times_s)
        ),
        apart_v=lambda index: data.apart_v(
            joint.times_s[index], [one.weights[index] for one in joint.repeats]
        ),
        rest_noise_codes=joint.repeats[0].open_u_v / data.code_v * correlation(joint),
        drift_v_per_s=float(np.mean([one.drift_v_per_s for one in joint.repeats])),
        start=start,
        hum_hz=None if course.hum is None else course.hum.hz,
        notices=course.notices,
    )


@dataclass(frozen=True, eq=False)
class _Data:
    """The steps as the fit takes them; `code_v` is volts at the sense tap per code."""

    raws: Sequence[RawStep]
    profile: RigProfile
    converter: int
    range_high: bool
    null: bool
    rows: list[Rows]
    currents: list[Current]
    first_s: float
    on_s: float
    rest_s: float
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
            raws,
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
            readings[0].rest_s,
            tap_per_code_v(profile, converter, SENSE, range_high),
            table,
            edge_code,
        )

    @property
    def floor_s(self) -> float:
        """t_f where there is no model."""
        return FIRST_S[ADS1115]

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

    def apart_v(self, t_s: float, weights: Sequence[FloatArray]) -> float:
        return sagerrors.apart_v(
            self.profile,
            self.converter,
            self.range_high,
            self.rows,
            weights,
            self.current_a(t_s),
            self.table,
        )

    def sag_limit_ohm2(self, t_s: float, weights: Sequence[FloatArray], joint: JointFit) -> float:
        """Variance in r that non-linearity leaves in a sum of these weights."""
        sag_codes2 = float(self.errors(t_s, weights, joint).covariance()[1, 1])
        return max(0.0, sag_codes2) * (self.code_v / self.current_a(t_s)) ** 2

    def rebound(self, joint: JointFit) -> Rebound | None:
        """The step at release beside the loaded one."""
        return rebound.rebound(
            self.raws,
            joint.repeats,
            self.currents,
            joint.curves,
            self.profile,
            self.converter,
            rebound.T_S,
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
            force_fall_v=current.force_fall_v(t_s),
            # The current falls by little within a pulse.
            i2t_a2s=self.current_a(t_s) ** 2 * t_s,
            slope_ohm_per_s=slope_ohm_per_s,
            slow_ohm=self.slow_ohm(t_s, slope_ohm_per_s),
        )

    def slow_ohm(self, t_s: float, slope_ohm_per_s: float) -> float:
        """By how much r is larger at most for a current that has flowed since the rest began.

        If all its growth at a time is diffusion's, r grows on as the square root of time (Warburg);
        what of it is of a time constant comes to an end.
        """
        per_root_s = 2.0 * sqrt(t_s) * max(0.0, slope_ohm_per_s)
        return per_root_s * max(0.0, sqrt(self.rest_s) - sqrt(t_s))
