# SPDX-License-Identifier: MIT
"""From raw steps to the figures: step, repeats, budget, and what must be said with them."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from sagline.analysis import advice, budget, calibrated, feeding
from sagline.analysis.calibrated import Calibration, Setting
from sagline.analysis.influences import influences_of
from sagline.analysis.profile import RigProfile
from sagline.analysis.quality import drift_notice
from sagline.analysis.repeats import Series, combine
from sagline.analysis.values import (
    ONBOARD,
    AnalysisError,
    Estimate,
    Notice,
    Quantity,
    RawStep,
)
from sagline.analysis.widecodes import straighten

MATERIAL_SHARE = 0.1
"""Of U(r). Where repeats agree far better than that, even the odd one out says nothing."""


def estimate(
    steps: Sequence[RawStep],
    profile: RigProfile,
    converter: int,
    times_s: Sequence[float] = (0.1,),
    first_stage: int | None = None,
    calibration: Calibration | None = None,
) -> Estimate:
    """E, r at each of `times_s` (s after load on) and what follows from them.

    All steps are repeats with one load and range; where the scatter of the first
    `first_stage` of them has decided how many there are, it alone counts. Budgets, current,
    covariance and the rows belong to the first time. What the `calibration` holds for the
    load, range and converter replaces tolerances. Raises AnalysisError: `negative_resistance`
    where even the upper end of the interval of r is below zero, and those of `read_series`.
    """
    series, said = read_series(steps, profile, converter, times_s, first_stage, calibration)
    evaluations = [
        budget.evaluate(
            influences_of(
                profile,
                converter,
                series.load,
                series.range_high,
                levels,
                series.noise_codes,
                calibration,
                series.fit.front_end,
            ),
            scatter,
            errors,
        )
        for levels, scatter, errors in zip(
            series.levels, series.scatter, series.errors, strict=True
        )
    ]
    first = evaluations[0]
    for t_s, evaluation in zip(series.times_s, evaluations, strict=True):
        refuse_negative(t_s, evaluation.r_ohm)
    return Estimate(
        emf=first.emf_v,
        r_at=tuple(
            (t_s, evaluation.r_ohm)
            for t_s, evaluation in zip(series.times_s, evaluations, strict=True)
        ),
        load=first.load_ohm,
        current=first.current_a,
        short_circuit=first.short_circuit_a,
        max_power=first.max_power_w,
        repeats=series.rows,
        rejected=sum(not row.kept for row in series.rows),
        budget=first.budget,
        emf_budget=first.emf_budget,
        covariance_v_ohm=first.covariance_v_ohm,
        rest_s=min(reading.rest_s for reading in series.kept),
        dvdt_v_per_s=series.fit.drift_v_per_s,
        on_s=min(reading.on_s for reading in series.kept),
        notices=(
            *_notices(series, profile, converter, first, calibration),
            *series.fit.notices,
            *said,
        ),
        ohmic=(series.fit.first_s, evaluations[series.times_s.index(series.fit.first_s)].r_ohm),
        start_ohm=series.start_ohm,
        open_level=None
        if series.levels[0].edge is None
        else (series.levels[0].edge, series.levels[0].edge_u),
    )


def read_series(
    steps: Sequence[RawStep],
    profile: RigProfile,
    converter: int,
    times_s: Sequence[float],
    first_stage: int | None = None,
    calibration: Calibration | None = None,
) -> tuple[Series, tuple[Notice, ...]]:
    """The steps read together, and what must be said of their codes; no uncertainty yet.

    Raises AnalysisError: `wide_code`, `something_else_connected`, and those of `repeats.combine`.
    """
    table = None if calibration is None else calibration.table
    straight = straighten(steps, profile, converter, table)
    series = combine(straight.steps, profile, converter, times_s, first_stage, calibration)
    each_ohm = [row.r_ohm for row in series.rows if row.kept and row.r_ohm is not None]
    feeding.refuse(series.kept, each_ohm, profile, converter, series.fit.hum_hz)
    return series, straight.notices


def refuse_negative(t_s: float, r_ohm: Quantity) -> None:
    """Raises AnalysisError `negative_resistance`."""
    if r_ohm.high95 is not None and r_ohm.high95 < 0.0:
        raise AnalysisError(
            "negative_resistance",
            f"r({t_s:g} s) = {r_ohm.value:.3g} Ω is below zero by more than its uncertainty",
            "something else feeds the cell, or a lead is crossed: disconnect it and look",
        )


def _material(series: Series, r_ohm: Quantity) -> list[int]:
    """Repeats that lie apart from the others by an amount that matters beside U(r)."""
    if r_ohm.low95 is None or r_ohm.high95 is None:
        return []
    least_ohm = MATERIAL_SHARE * 0.5 * (r_ohm.high95 - r_ohm.low95)
    by_number = {row.n: row.r_ohm for row in series.rows if row.r_ohm is not None}
    middle_ohm = median(by_number.values())
    return [number for number in series.outlying if abs(by_number[number] - middle_ohm) > least_ohm]


def _notices(
    series: Series,
    profile: RigProfile,
    converter: int,
    first: budget.Evaluation,
    calibration: Calibration | None,
) -> list[Notice]:
    t_s, r_ohm = series.times_s[0], first.r_ohm
    setting = Setting(converter, series.load, series.range_high, series.fit.front_end)

    def remedy() -> str:
        open_v, on_ms = first.emf_v.value, round(1e3 * min(one.on_s for one in series.kept))
        # Where r cannot be told from zero, what U would be is told for the most it may be.
        at_most_ohm = max(r_ohm.value, r_ohm.high95 or 0.0)
        where = (profile, converter, series.load, open_v, at_most_ohm, on_ms)
        return advice.remedy(*where, calibration)

    notices = [
        *calibrated.notices(calibration, profile, setting),
    ]
    share = {line.source: line.share for line in first.budget}
    if converter == ONBOARD and (calibration is None or calibration.table is None):
        notices.append(
            Notice(
                "onboard_linearity",
                "the on-board converter's linearity is not corrected; it makes "
                f"{100 * share['linearity']:.0f} % of the variance of r",
                remedy(),
            )
        )
    if len(series.kept) == 1:
        notices.append(
            Notice(
                "single_repeat",
                "one repeat only: the scatter between repeats is unknown, so no interval is "
                "given and the budget holds the known part",
                "measure with at least --repeats 2, better 5",
            )
        )
    for row in series.rows:
        if not row.kept:
            notices.append(
                Notice(
                    "repeat_rejected",
                    f"repeat {row.n} is left out: {row.reason}",
                    "hold the cell still and see to the contacts",
                )
            )
    outlying = _material(series, r_ohm)
    if outlying:
        listed = ", ".join(map(str, outlying))
        notices.append(
            Notice(
                "repeat_outlier",
                f"apart from the others, yet kept, for no cause is known: repeat {listed}",
                "hold the cell still, and measure again with more --repeats",
            )
        )
    drift = drift_notice(series.kept)
    if drift is not None:
        notices.append(drift)
    if r_ohm.low95 is not None and r_ohm.high95 is not None and r_ohm.low95 < 0.0:
        notices.append(
            Notice(
                "below_resolution",
                f"r({t_s:g} s) is below {r_ohm.high95:.2g} Ω; the rig cannot tell it from zero",
                remedy(),
            )
        )
    return notices
