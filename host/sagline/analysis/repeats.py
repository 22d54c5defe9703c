# SPDX-License-Identifier: MIT
"""Repeats of one step: rows, mean levels, and the scatter between them (Type A)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum, sqrt

import numpy as np

from sagline.analysis import presence
from sagline.analysis.calibrated import Calibration
from sagline.analysis.calibration import Outputs, model
from sagline.analysis.influences import LEVEL_CHANNELS, Readings, influences_of, nominal
from sagline.analysis.profile import RigProfile
from sagline.analysis.quality import cell_moved, outliers
from sagline.analysis.step import StepReading, read_step
from sagline.analysis.values import AnalysisError, FloatArray, RawStep, RepeatRow

LEAST_CURRENT_SHARE = 0.02
"""Of V_open / R_load. Below it a force lead is open: the rest is offset, not a current."""

REJECTING = ("clipped", *presence.CODES)
"""Faults of a single step: it is listed and left out. Any other stops the analysis."""


@dataclass(frozen=True, eq=False)
class Scatter:
    """Type A of the mean of `count` repeats.

    `deviation` is (m, outputs), m >= 2, mean zero: those of the m repeats that the standard
    deviation is taken from.
    """

    deviation: FloatArray
    count: int

    @classmethod
    def of(cls, values: FloatArray, first: int | None = None) -> Scatter:
        """From one row of outputs per repeat. Raises ValueError for fewer than two rows.

        `first` says that the standard deviation of so many has decided how many there are: it
        alone is used then, with its degrees of freedom, whatever came later (C. Stein, Ann.
        Math. Statist. 16 (1945) 243-258: the mean's interval keeps its coverage so).
        """
        if values.shape[0] < 2:
            raise ValueError("one repeat has no scatter")
        used = values[:first]
        if used.shape[0] < 2:
            used = values
        return cls(used - used.mean(axis=0), values.shape[0])

    @classmethod
    def none(cls, outputs: int) -> Scatter:
        """No scatter at all: for what is expected before anything is measured."""
        return cls(np.zeros((2, outputs)), 2)

    @property
    def dof(self) -> int:
        return self.deviation.shape[0] - 1

    @property
    def covariance(self) -> FloatArray:
        """Covariance of the means: s squared / n on the diagonal (GUM 4.2.3, 5.2.3)."""
        return self.deviation.T @ self.deviation / (self.count * self.dof)

    def draws(self, generator: np.random.Generator, count: int) -> FloatArray:
        """(count, outputs) from a scaled and shifted t of `dof` (JCGM 101, 6.4.9), joint.

        A normal combination of the deviations has their covariance without any
        factorization, also where two repeats make it singular.
        """
        rows = self.deviation.shape[0]
        normal = generator.standard_normal((count, rows)) @ self.deviation
        normal /= sqrt(self.count * self.dof)
        return normal * np.sqrt(self.dof / generator.chisquare(self.dof, count))[:, None]


@dataclass(frozen=True, eq=False)
class Series:
    """Accepted repeats together.

    `levels[i]` are the mean levels at `times_s[i]` and `scatter[i]` the Type A of r, E, I
    there (None for a single repeat). `kept` are the readings behind the rows kept.
    """

    times_s: tuple[float, ...]
    rows: tuple[RepeatRow, ...]
    kept: tuple[StepReading, ...]
    levels: tuple[Readings, ...]
    scatter: tuple[Scatter | None, ...]
    noise_codes: dict[int, float]
    load: int
    range_high: bool
    outlying: tuple[int, ...]


def combine(
    steps: Sequence[RawStep],
    profile: RigProfile,
    converter: int,
    times_s: Sequence[float],
    first_stage: int | None = None,
    calibration: Calibration | None = None,
) -> Series:
    """Read every step, leave out those with a diagnosed cause, and combine the rest.

    `first_stage` is the number of steps whose scatter has decided how many there are.
    Raises AnalysisError: `no_steps`, `no_times`, `mixed_steps` (loads or ranges differ),
    `all_rejected`, or the cause itself where every step has the same, and those of
    `step.read_step` that are no fault of a single step.
    """
    if not steps:
        raise AnalysisError("no_steps", "there is no step to analyse", "measure first")
    if not times_s:
        raise AnalysisError("no_times", "no time after load on was asked for", "ask for one")
    if len({(raw.load, raw.range_high) for raw in steps}) > 1:
        raise AnalysisError(
            "mixed_steps",
            "the repeats were made with different loads or ranges",
            "analyse the repeats of each load by themselves",
        )
    load, range_high = steps[0].load, steps[0].range_high
    rows: list[RepeatRow] = []
    kept: list[StepReading] = []
    outputs: list[list[Outputs]] = []
    errors: list[AnalysisError] = []
    for number, raw in enumerate(steps, start=1):
        try:
            reading = read_step(raw, profile, converter, times_s)
            figures = _figures(reading, profile, converter, calibration)
        except AnalysisError as error:
            if error.code not in REJECTING:
                raise
            rows.append(RepeatRow(number, None, None, False, error.message))
            errors.append(error)
            continue
        moved = cell_moved(reading)
        reason = "the open voltage jumped during rest: the cell or a contact moved"
        rows.append(
            RepeatRow(
                number, figures[0].r_ohm, figures[0].emf_v, not moved, reason if moved else None
            )
        )
        if not moved:
            kept.append(reading)
            outputs.append(figures)
    if not kept:
        if len(errors) == len(rows) and len({error.code for error in errors}) == 1:
            raise errors[0]
        raise AnalysisError(
            "all_rejected",
            f"no repeat can be used: {rows[0].reason}",
            "hold the cell still, see to the contacts and measure again",
        )
    used = [row.n for row in rows if row.kept]
    first = None if first_stage is None else sum(number <= first_stage for number in used)
    flags = outliers([row.r_ohm for row in rows if row.kept and row.r_ohm is not None])
    return Series(
        times_s=tuple(times_s),
        rows=tuple(rows),
        kept=tuple(kept),
        levels=tuple(_mean_levels(kept, index) for index in range(len(times_s))),
        scatter=tuple(_scatter(outputs, index, first) for index in range(len(times_s))),
        noise_codes=_mean_noise(kept),
        load=load,
        range_high=range_high,
        outlying=tuple(number for number, flag in zip(used, flags, strict=True) if flag),
    )


def _figures(
    reading: StepReading, profile: RigProfile, converter: int, calibration: Calibration | None
) -> list[Outputs]:
    presence.check_step(reading, profile, converter)
    load, high = reading.load, reading.range_high
    figures = [
        model(nominal(influences_of(profile, converter, load, high, levels, {}, calibration)))
        for levels in reading.readings
    ]
    least_a = LEAST_CURRENT_SHARE * figures[0].emf_v / profile.loads[reading.load].load_ohm
    if figures[0].current_a <= max(0.0, least_a):
        raise presence.refusal("no_current")
    return figures


def _mean_levels(kept: Sequence[StepReading], index: int) -> Readings:
    levels = [reading.readings[index] for reading in kept]
    mean = Readings(
        **{
            name: fsum(getattr(level, name) for level in levels) / len(levels)
            for name in LEVEL_CHANNELS
        }
    )
    return replace(mean, rest_fall=levels[0].sense_open - mean.sense_open)


def _scatter(outputs: Sequence[Sequence[Outputs]], index: int, first: int | None) -> Scatter | None:
    if len(outputs) < 2:
        return None
    values = np.array([figures[index] for figures in outputs], dtype=np.float64)
    # E is that of one repeat, not of the mean: its s.d. is s, where that of r is s/sqrt(n).
    # The fall of E from repeat to repeat is in s, as what E owes to the rest it had.
    values[:, Outputs._fields.index("emf_v")] *= sqrt(len(outputs))
    return Scatter.of(values, first)


def _mean_noise(kept: Sequence[StepReading]) -> dict[int, float]:
    channels = kept[0].noise_codes
    return {
        channel: sqrt(fsum(reading.noise_codes[channel] ** 2 for reading in kept) / len(kept))
        for channel in channels
    }
