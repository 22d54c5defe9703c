# SPDX-License-Identifier: MIT
"""Repeats of one step: rows, mean levels, and the scatter between them (Type A)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum, sqrt
from typing import NoReturn

import numpy as np

from sagline.analysis import presence
from sagline.analysis.calibrated import Calibration
from sagline.analysis.calibration import Outputs, model
from sagline.analysis.influences import LEVEL_CHANNELS, Readings, influences_of, nominal
from sagline.analysis.levels import Levels, levels_of
from sagline.analysis.nonlinearity import LevelErrors
from sagline.analysis.profile import RigProfile
from sagline.analysis.quality import cell_moved, outliers
from sagline.analysis.step import StepReading, read_step
from sagline.analysis.values import AnalysisError, FloatArray, RawStep, RepeatRow

LEAST_CURRENT_SHARE = 0.02
"""Of V_open / R_load. Below it a force lead is open: the rest is offset, not a current."""

CELL_MOVED = "the open voltage jumped during rest: the cell or a contact moved"

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

    `times_s` are those asked for and t_f, last. `levels[i]` are the mean levels at
    `times_s[i]`, `errors[i]` what non-linearity does to them and `scatter[i]` the Type A of
    r, E, I there (None for a single repeat). `kept` are the readings behind the rows kept;
    `start_ohm` is r at 0+ by the model's word.
    """

    times_s: tuple[float, ...]
    rows: tuple[RepeatRow, ...]
    kept: tuple[StepReading, ...]
    levels: tuple[Readings, ...]
    errors: tuple[LevelErrors, ...]
    scatter: tuple[Scatter | None, ...]
    noise_codes: dict[int, float]
    load: int
    range_high: bool
    outlying: tuple[int, ...]
    fit: Levels
    start_ohm: float | None


def combine(
    steps: Sequence[RawStep],
    profile: RigProfile,
    converter: int,
    times_s: Sequence[float],
    first_stage: int | None = None,
    calibration: Calibration | None = None,
    edge_code: float | None = None,
) -> Series:
    """Read every step, leave out those with a diagnosed cause, and combine the rest.

    `first_stage` is the number of steps whose scatter has decided how many there are, `edge_code`
    the open level that E is taken from where that is not of these steps.
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
    sifted = _usable(steps, profile, converter, times_s)
    table = None if calibration is None else calibration.table
    used = [n for n, one in enumerate(sifted, start=1) if one.reading is not None]
    kept = [one.reading for one in sifted if one.reading is not None]
    used_steps = [steps[n - 1] for n in used]
    found = levels_of(used_steps, kept, profile, converter, times_s, table, edge_code)

    def figures_of(levels: Readings) -> Outputs:
        listed = influences_of(
            profile, converter, load, range_high, levels, {}, calibration, found.front_end
        )
        return model(nominal(listed))

    outputs = [[figures_of(levels) for levels in one] for one in found.by_repeat]
    figures = dict(zip(used, outputs, strict=True))
    rows = tuple(
        RepeatRow(n, figures[n][0].r_ohm, figures[n][0].emf_v, True, None)
        if n in figures
        else RepeatRow(n, one.r_ohm, one.emf_v, False, one.reason)
        for n, one in enumerate(sifted, start=1)
    )
    first = None if first_stage is None else sum(number <= first_stage for number in used)
    flags = outliers([one[0].r_ohm for one in outputs])
    count = len(found.times_s)
    return Series(
        times_s=found.times_s,
        rows=rows,
        kept=tuple(kept),
        levels=tuple(_mean_levels(found, index) for index in range(count)),
        errors=found.errors,
        scatter=tuple(_scatter(outputs, index, first) for index in range(count)),
        noise_codes=_mean_noise(kept),
        load=load,
        range_high=range_high,
        outlying=tuple(number for number, flag in zip(used, flags, strict=True) if flag),
        fit=found,
        start_ohm=None
        if found.start is None
        else fsum(figures_of(one).r_ohm for one in found.start) / len(found.start),
    )


def require_usable(
    steps: Sequence[RawStep], profile: RigProfile, converter: int, times_s: Sequence[float]
) -> list[bool]:
    """Return which steps `combine` would keep, and raise what it would where it keeps none."""
    sifted = _usable(steps, profile, converter, times_s)
    return [one.reading is not None for one in sifted]


@dataclass(frozen=True, eq=False)
class _Sifted:
    """One step: its reading, or why it is left out; `error` where that is an error by itself.

    `r_ohm` and `emf_v` by the windows alone, where the step gave them.
    """

    reading: StepReading | None
    reason: str | None = None
    error: AnalysisError | None = None
    r_ohm: float | None = None
    emf_v: float | None = None


def _usable(
    steps: Sequence[RawStep], profile: RigProfile, converter: int, times_s: Sequence[float]
) -> list[_Sifted]:
    """Each step's reading, or why it is left out; refuses where none is left."""
    sifted: list[_Sifted] = []
    for raw in steps:
        try:
            reading = read_step(raw, profile, converter, times_s)
            presence.check_step(reading, profile, converter)
            figures = _window_figures(reading, profile, converter)
        except AnalysisError as error:
            if error.code not in REJECTING:
                raise
            sifted.append(_Sifted(None, error.message, error))
            continue
        if cell_moved(reading):
            sifted.append(_Sifted(None, CELL_MOVED, None, figures.r_ohm, figures.emf_v))
        else:
            sifted.append(_Sifted(reading))
    if all(one.reading is None for one in sifted):
        _refuse_all(sifted)
    return sifted


def _refuse_all(sifted: Sequence[_Sifted]) -> NoReturn:
    errors = [one.error for one in sifted if one.error is not None]
    if len(errors) == len(sifted) and len({error.code for error in errors}) == 1:
        raise errors[0]
    raise AnalysisError(
        "all_rejected",
        f"no repeat can be used: {sifted[0].reason}",
        "hold the cell still, see to the contacts and measure again",
    )


def _window_figures(reading: StepReading, profile: RigProfile, converter: int) -> Outputs:
    """What the first time's windows say. Raises AnalysisError `no_current`."""
    figures = model(
        nominal(
            influences_of(
                profile, converter, reading.load, reading.range_high, reading.readings[0], {}
            )
        )
    )
    least_a = LEAST_CURRENT_SHARE * figures.emf_v / profile.loads[reading.load].load_ohm
    if figures.current_a <= max(0.0, least_a):
        raise presence.refusal("no_current")
    return figures


def _mean_levels(found: Levels, index: int) -> Readings:
    levels = [one[index] for one in found.by_repeat]
    mean = Readings(
        **{
            name: fsum(getattr(level, name) for level in levels) / len(levels)
            for name in LEVEL_CHANNELS
        }
    )
    return replace(
        mean,
        edge=levels[0].edge,
        edge_u=found.rest_noise_codes,
        course_ohm=levels[0].course_ohm,
        i2t_a2s=levels[0].i2t_a2s,
        slope_ohm_per_s=levels[0].slope_ohm_per_s,
        slow_ohm=levels[0].slow_ohm,
        force_fall_v=levels[0].force_fall_v,
    )


def _scatter(outputs: Sequence[Sequence[Outputs]], index: int, first: int | None) -> Scatter | None:
    if len(outputs) < 2:
        return None
    values = np.array([figures[index] for figures in outputs], dtype=np.float64)
    # E is that of the first repeat alone; that it falls from one to the next is the cell's
    # doing. What noise does to it is an influence of its own.
    values[:, Outputs._fields.index("emf_v")] = 0.0
    return Scatter.of(values, first)


def _mean_noise(kept: Sequence[StepReading]) -> dict[int, float]:
    channels = kept[0].noise_codes
    return {
        channel: sqrt(fsum(reading.noise_codes[channel] ** 2 for reading in kept) / len(kept))
        for channel in channels
    }
