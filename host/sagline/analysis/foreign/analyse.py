# SPDX-License-Identifier: MIT
"""From a foreign record to the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median

import numpy as np

from sagline.analysis import budget
from sagline.analysis.course import Course, correlation, course_of, widening
from sagline.analysis.estimate import MATERIAL_SHARE, refuse_negative
from sagline.analysis.foreign import judging
from sagline.analysis.foreign.drive import DriveLevels
from sagline.analysis.foreign.edges import noise_of
from sagline.analysis.foreign.equation import ForeignLevels, equation_of, influences_of
from sagline.analysis.foreign.steps import ForeignSteps, steps_of
from sagline.analysis.foreign.table import ForeignTable
from sagline.analysis.foreign.times import times_of
from sagline.analysis.quality import outliers
from sagline.analysis.repeats import Scatter
from sagline.analysis.values import AnalysisError, Estimate, Notice, Quantity, RepeatRow

LAST_SHARE = 0.25
"""Of a recovery: whose mean is E where there is no rest."""

BENDS = 0.25
"""Of the window before an edge: a line through c·t² is off at its end by c/6 of the square."""


def analyse(table: ForeignTable, times_s: Sequence[float] | None = None) -> Estimate:
    """E, r at each of `times_s` (s after load on) and what follows from them.

    Without `times_s` r(0.1 s) is given, or where the record is too coarse or too short for it
    r at the nearest time that it can tell, with a notice. Raises AnalysisError: those of
    `steps.steps_of`, `times.times_of`, `judging.refuse_fed`, `no_current`,
    `negative_resistance`.
    """
    found = steps_of(table)
    asked_s, said = times_of(found.first_s, found.last_s, times_s)
    course = course_of(found, asked_s)
    if course.first_s > min(asked_s):
        # Without a model r can be told later only.
        asked_s, said = times_of(course.first_s, found.last_s, times_s)
        course = course_of(found, asked_s)
    judging.refuse_fed(found, course)
    series = _Series(table, found, course)
    every_s = course.joint.times_s
    evaluations = [series.evaluate(index) for index in range(len(every_s))]
    first = evaluations[0]
    for t_s, evaluation in zip(every_s, evaluations, strict=True):
        refuse_negative(t_s, evaluation.r_ohm)
    rows = series.rows()
    return Estimate(
        emf=first.emf_v,
        r_at=tuple((t_s, one.r_ohm) for t_s, one in zip(every_s, evaluations, strict=True)),
        load=first.load_ohm,
        current=first.current_a,
        short_circuit=first.short_circuit_a,
        max_power=first.max_power_w,
        repeats=rows,
        rejected=len(found.left),
        budget=series.lines(first.budget),
        emf_budget=series.lines(first.emf_budget),
        covariance_v_ohm=first.covariance_v_ohm,
        rest_s=None if found.at_release else min(one.rest_s for one in found.steps),
        dvdt_v_per_s=float(np.mean([one.drift_v_per_s for one in course.model.repeats])),
        on_s=min(one.loaded_s for one in found.steps),
        notices=(
            *said,
            *judging.notices(table, found, course, first.r_ohm.value * first.current_a.value),
            *_of_figures(every_s[0], first.r_ohm, rows),
            *course.notices,
        ),
        ohmic=(course.first_s, evaluations[every_s.index(course.first_s)].r_ohm),
        start_ohm=None if course.start_ohm is None else float(np.mean(course.start_ohm)),
    )


@dataclass(frozen=True, eq=False)
class _Series:
    """The steps of a record, fitted."""

    table: ForeignTable
    found: ForeignSteps
    course: Course

    @property
    def single(self) -> bool:
        return len(self.found.steps) == 1

    def evaluate(self, index: int) -> budget.Evaluation:
        """Figures at one of the course's times.

        Type A is the repeats' scatter, or of a single step that of its readings about the fit.
        """
        t_s = self.course.joint.times_s[index]
        drives = [one.drive.levels(t_s) for one in self.found.steps]
        if min(one.current_a for one in drives) <= 0.0:
            raise AnalysisError(
                "no_current",
                f"no current flowed {t_s:.3g} s after load on",
                "ask for other --times, or record a step whose current stays on",
            )
        r_ohm = self._r_ohm(index)
        fit_ohm, dof = self._fit_u(index) if self.single else (0.0, 1.0)
        emf_v, emf_u_v = self._emf()
        levels = ForeignLevels(
            r_ohm=float(np.mean(r_ohm)),
            open_v=emf_v,
            open_u_v=emf_u_v,
            drive=_mean(drives, self.single),
            fit_ohm=fit_ohm,
            dof=dof,
            timing_ohm=self._timing_ohm(t_s),
            course_ohm=float(self.course.off_ohm[index]) + self._carried_off_ohm(t_s),
            noise_v=float(np.median([one.noise_v for one in self.found.steps])),
            drive_noise=noise_of(self.table.driver.v),
        )
        scatter = Scatter.none(len(budget.OUTPUTS))
        if not self.single:
            # E is that of the first step alone; what noise does to it is an input of its own.
            scatter = Scatter.of(
                np.array([[r, 0.0, one.current_a] for r, one in zip(r_ohm, drives, strict=True)])
            )
        return budget.evaluate(
            influences_of(self.table, levels), scatter, equation=equation_of(self.table)
        )

    def rows(self) -> tuple[RepeatRow, ...]:
        """Every step of the record, those left out too."""
        rows = [
            RepeatRow(step.n, r_ohm, fit.open_v, True, None)
            for step, fit, r_ohm in zip(
                self.found.steps, self.course.joint.repeats, self._r_ohm(0), strict=True
            )
        ]
        rows += [RepeatRow(one.n, None, None, False, one.reason) for one in self.found.left]
        return tuple(sorted(rows, key=lambda row: row.n))

    def lines(self, lines: tuple[budget.BudgetLine, ...]) -> tuple[budget.BudgetLine, ...]:
        """A budget without the line that a single step cannot have."""
        if not self.single:
            return lines
        return tuple(one for one in lines if one.source != budget.BETWEEN_REPEATS)

    def _r_ohm(self, index: int) -> list[float]:
        """Each step's r at one of the times.

        A drift before the edge that is more than noise dies away, at a rate that nobody knows: it
        may go on as it was, as the fit has it, or have stopped at the edge. r is in the middle.
        """
        t_s, repeats = self.course.joint.times_s[index], self.course.joint.repeats
        back = -1.0 if self.found.at_release else 1.0
        return [
            float(one.r_ohm[index]) - 0.5 * back * drift_v_per_s * t_s / current_a
            for one, (drift_v_per_s, current_a, _) in zip(repeats, self._drifts(t_s), strict=True)
        ]

    def _carried_off_ohm(self, t_s: float) -> float:
        """How far that may leave r off, with what a line misses of a drift that bends (ohm)."""
        return float(
            np.mean(
                [
                    abs(drift_v_per_s) * (0.5 * t_s + BENDS * window_s) / current_a
                    for drift_v_per_s, current_a, window_s in self._drifts(t_s)
                ]
            )
        )

    def _drifts(self, t_s: float) -> list[tuple[float, float, float]]:
        """Of each step the drift beyond its noise (V/s), the current at a time (A), and how long
        before the edge was read (s)."""
        found = []
        for step, fit in zip(self.found.steps, self.course.model.repeats, strict=True):
            # Under load there is always one.
            chance = 0.0 if self.found.at_release else 2.0 * step.drift_u_v_per_s
            sure = max(0.0, abs(fit.drift_v_per_s) - chance)
            current_a = step.drive.levels(t_s).current_a
            window_s = -float(step.rows.start_s[0])
            found.append((float(np.copysign(sure, fit.drift_v_per_s)), current_a, window_s))
        return found

    def _fit_u(self, index: int) -> tuple[float, float]:
        """S.d. of r (ohm) by the residuals, widened where neighbours agree, and its dof."""
        one, model = self.course.joint.repeats[0], self.course.model.repeats[0]
        residual, rows = model.residual, model.rows
        wide = widening([residual[~rows.loaded], residual[rows.loaded]])
        unknowns = 2 + model.amplitudes.size + (0 if self.course.hum is None else 2)
        free = max(1, residual.size - unknowns)
        scale = sqrt(float(residual @ residual) / free) * wide
        u_ohm = scale * sqrt(float(((one.weights[index] * one.rows.u_v) ** 2).sum()))
        return u_ohm, max(1.0, free / wide**2)

    def _emf(self) -> tuple[float, float]:
        """E and its s.d. from noise: of the first step."""
        step, fit = self.found.steps[0], self.course.joint.repeats[0]
        if not self.found.at_release:
            return fit.open_v, fit.open_u_v * correlation(self.course.model)
        late = step.rows.middle_s >= (1.0 - LAST_SHARE) * step.rows.middle_s[-1]
        return float(step.rows.v[late].mean()), float(step.rows.u_v.max() / sqrt(late.sum()))

    def _timing_ohm(self, t_s: float) -> float:
        """By how much an edge elsewhere between its two readings changes r at a time."""
        half_s, model = self.found.half_s, self.course.model
        at_s = np.array([t_s, t_s + half_s, max(0.0, t_s - half_s)])
        r_ohm = model.curves.at(at_s) @ np.mean([one.amplitudes for one in model.repeats], axis=0)
        return float(np.abs(r_ohm[1:] - r_ohm[0]).max())


def _mean(drives: list[DriveLevels], single: bool) -> DriveLevels:
    """The repeats' mean; its own noise counts for a single step alone."""
    names = ("current_a", "force_v", "return_v")
    means = {name: float(np.mean([getattr(one, name) for one in drives])) for name in names}
    return DriveLevels(**means, u_rel=drives[0].u_rel if single else 0.0, dof=drives[0].dof)


def _of_figures(t_s: float, r_ohm: Quantity, rows: Sequence[RepeatRow]) -> list[Notice]:
    if r_ohm.low95 is None or r_ohm.high95 is None:
        return []
    said = []
    kept = [(row.n, row.r_ohm) for row in rows if row.r_ohm is not None]
    middle_ohm = median(r for _, r in kept)
    least_ohm = MATERIAL_SHARE * 0.5 * (r_ohm.high95 - r_ohm.low95)
    apart = [
        n
        for (n, r), flag in zip(kept, outliers([r for _, r in kept]), strict=True)
        if flag and abs(r - middle_ohm) > least_ohm
    ]
    if apart:
        said.append(
            Notice(
                "repeat_outlier",
                f"apart from the others, yet kept, for no cause is known: step "
                f"{', '.join(map(str, apart))}",
                "hold the cell still, and record more steps",
            )
        )
    if r_ohm.low95 < 0.0:
        said.append(
            Notice(
                "below_resolution",
                f"r({t_s:g} s) is below {r_ohm.high95:.2g} Ω; the record cannot tell it from zero",
                "record with a larger current, a finer instrument, or more steps",
            )
        )
    return said
