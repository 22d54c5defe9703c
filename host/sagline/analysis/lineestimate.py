# SPDX-License-Identifier: MIT
"""From the steps of a V-I line to its E and r, and what must be said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sagline.analysis import bank
from sagline.analysis.calibrated import Calibration
from sagline.analysis.calibration import model
from sagline.analysis.influences import influences_of, nominal
from sagline.analysis.linebudget import LineBudget, pooled
from sagline.analysis.linemodel import Level, LineModel, with_scale
from sagline.analysis.lineplan import FEWEST
from sagline.analysis.linewords import (
    activation_notice,
    curved_notice,
    no_line,
    of_point,
    point_left_out,
    two_current_notice,
)
from sagline.analysis.profile import RigProfile
from sagline.analysis.repeats import Series, combine
from sagline.analysis.standards import Closed
from sagline.analysis.values import (
    AnalysisError,
    Estimate,
    FloatArray,
    Notice,
    Quantity,
    RawStep,
)
from sagline.analysis.widecodes import straighten

STRAIGHT = 0.01
"""A straight line's points miss it by as much or more with this probability: less is a bend."""

GAP_SURE = 1.5
"""Of U of the gap: the line's E lies so far below the open one by chance once in six hundred. That
it lies above says nothing, for a resistor's current falls with the voltage: a linear cell of an r
not small beside the load has a little more of it on a heavier one."""

RATIO = 5.0
"""Of the two currents of a two-current r: what such methods have in common."""


@dataclass(frozen=True)
class LinePoint:
    """What the loads of one point have together (ohm), and the cell's current and voltage."""

    load_ohm: float
    current_a: float
    v_v: float


@dataclass(frozen=True, eq=False)
class LineEstimate:
    """E (V) and r (ohm) of the line at `t_s` after load on, their covariance (V·ohm), its points,
    lightest first; `budget` is how they were found."""

    emf: Quantity
    r: Quantity
    covariance_v_ohm: float
    points: tuple[LinePoint, ...]
    t_s: float
    notices: tuple[Notice, ...]
    budget: LineBudget


def estimate_line(
    steps: Sequence[RawStep],
    profile: RigProfile,
    converter: int,
    t_s: float,
    usual: Estimate,
    calibration: Calibration | None = None,
) -> tuple[LineEstimate | None, tuple[Notice, ...]]:
    """The line through the steps' points and what is to be said; None where there is no line.

    `usual` is the estimate of the run's repeats on its own load: every voltage is the open one
    from which its E was taken less a point's own sag, so that a cell that has not quite
    recovered from the step before is no part of the line. A point whose steps cannot be used is
    left out.
    """
    if usual.open_level is None:
        return None, (no_line("the open voltage is not known"),)
    found: list[tuple[int, Series]] = []
    notices: list[Notice] = []
    table = None if calibration is None else calibration.table
    for mask in dict.fromkeys(step.mask for step in steps):
        rig, load = bank.with_mask(profile, mask)
        own = [replace(step, load=load) for step in steps if step.mask == mask]
        try:
            straight = straighten(own, rig, converter, table)
            series = combine(
                straight.steps, rig, converter, (t_s,), None, calibration, usual.open_level[0]
            )
        except AnalysisError as error:
            notices.append(point_left_out(bank.words(profile, mask), error))
            continue
        found.append((mask, series))
        words = bank.words(profile, mask)
        notices += [of_point(words, one) for one in (*series.fit.notices, *straight.notices)]
    found.sort(key=lambda one: -bank.load_ohm(profile, one[0]))
    if len(found) < FEWEST:
        return None, (*notices, no_line(f"{len(found)} of its points can be used"))
    line = _line(found, profile, converter, t_s, usual.open_level[1], calibration)
    return line, (*notices, *line.notices)


def _line(
    found: Sequence[tuple[int, Series]],
    profile: RigProfile,
    converter: int,
    t_s: float,
    edge_u: float,
    calibration: Calibration | None,
) -> LineEstimate:
    levels = [
        Level(
            mask,
            replace(series.levels[0], edge_u=edge_u),
            series.errors[0],
            series.noise_codes,
            series.fit.front_end,
        )
        for mask, series in found
    ]
    range_high = found[0][1].range_high
    scatter = pooled(
        [_current_a(one, profile, converter, range_high, calibration) for one in levels],
        [_deviations(series) for _, series in found],
        [len(series.kept) for _, series in found],
        [series.fit.apart_v(0) for _, series in found],
    )
    whole = LineModel.of(levels, profile, converter, range_high, calibration)
    made = LineBudget(whole, scatter)
    points = tuple(
        LinePoint(bank.load_ohm(profile, mask), float(i.x), float(v.x))
        for (mask, _), (i, v) in zip(found, made.points, strict=True)
    )
    return LineEstimate(
        emf=made.emf(),
        r=made.r(),
        covariance_v_ohm=made.covariance_v_ohm,
        points=points,
        t_s=t_s,
        notices=_notices(made, points, t_s),
        budget=made,
    )


def _deviations(series: Series) -> FloatArray:
    scatter = series.scatter[0]
    kept = [row.r_ohm for row in series.rows if row.kept and row.r_ohm is not None]
    if scatter is None:
        return np.zeros(len(kept))
    return scatter.deviation[:, 0]


def _current_a(
    level: Level,
    profile: RigProfile,
    converter: int,
    range_high: bool,
    calibration: Calibration | None,
) -> float:
    rig, load = bank.with_mask(profile, level.mask)
    known = with_scale(calibration, level, profile, converter, range_high)
    listed = influences_of(
        rig, converter, load, range_high, level.readings, {}, known, level.front_end
    )
    return float(model(nominal(listed)).current_a)


def _notices(made: LineBudget, points: Sequence[LinePoint], t_s: float) -> tuple[Notice, ...]:
    said = []
    fit = made.fit
    if made.noise_dof and fit.dof and fit.curvature is not None:
        from scipy.stats import f

        # Where the scatter itself is known from few repeats only, more is left to chance.
        chance = float(f.sf(fit.chi2 / fit.dof, fit.dof, min(made.noise_dof, 1e9)))
        if chance < STRAIGHT:
            said.append(curved_notice(fit.curvature[0], fit.chi2, fit.dof, chance))
    gap = made.gap()
    if gap.low95 is not None and gap.high95 is not None:
        if gap.value < -GAP_SURE * 0.5 * (gap.high95 - gap.low95):
            said.append(activation_notice(gap))
    heavy = len(points) - 1
    light = min(
        range(heavy), key=lambda n: abs(points[heavy].current_a / points[n].current_a - RATIO)
    )
    pair = (
        Closed(round(one.v_v, 5), round(one.current_a, 6), t_s)
        for one in (points[light], points[heavy])
    )
    said.append(two_current_notice(made.two_current(light, heavy), *pair))
    return tuple(said)
