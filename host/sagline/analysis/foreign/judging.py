# SPDX-License-Identifier: MIT
"""What a foreign record is refused for, and what must be said beside its figures."""

from __future__ import annotations

from math import sqrt

import numpy as np

from sagline.analysis import feeding, mains
from sagline.analysis.course import Course
from sagline.analysis.foreign.onestep import OneStep
from sagline.analysis.foreign.steps import ForeignSteps
from sagline.analysis.foreign.table import ForeignTable
from sagline.analysis.quality import DRIFT_HORIZON_S, DRIFT_SHARE
from sagline.analysis.rows import Rows
from sagline.analysis.values import Notice

LAST_READINGS = 2000
"""Of a rest, in which ripple is looked for."""
FEWEST_READINGS = 24
SLOWEST_PERIODS = 8.0
"""Ripple has at least so many periods in the rest: what is slower is the cell's own."""

UNSTEADY = 0.02
"""Scatter of the current about a smooth course, relative: more is no load switched on once."""

SHORT_REST_S = 0.3

FED_SHARE, ZERO_SHARE = 0.1, 0.02
"""Of the step: a current at rest that no instrument's zero is, and one that must be said."""

FEW_STEPS = 4
"""Fewer have a t-factor above 3."""


def refuse_fed(found: ForeignSteps, course: Course) -> None:
    """Refuse a cell that something else feeds, as a rig does.

    Raises AnalysisError `something_else_connected`.
    """
    for step in found.steps:
        if step.drive.zero_share < -FED_SHARE:
            raise feeding.refusal(
                f"while no load was on, {abs(step.drive.zero):.2g} A flowed into the cell"
            )
    if found.at_release:
        return
    for number, (step, fit) in enumerate(zip(found.steps, course.model.repeats, strict=True), 1):
        rest, r_ohm = step.before, float(fit.r_ohm[0])
        feeding.refuse_ripple(ripple_v(rest, course.hum), r_ohm)
        if course.hum is not None:
            feeding.refuse_ripple(ripple_v(rest, None) - feeding.MAINS_V, r_ohm)
        rise = fit.drift_v_per_s - feeding.SURE * step.drift_u_v_per_s
        feeding.refuse_rise(rise, _slow_sag_v(step), fit.open_v, step.rest_s, number)


def ripple_v(rest: Rows, hum: mains.Hum | None) -> float:
    """R.m.s. of a line in the spectrum of the rest that is no chance (V), 0 where there is none.

    Least-squares periodogram and Fisher's test of its greatest value. White noise of an
    instrument has no line, whatever its size. The `hum` is not counted, nor what is too small to
    be refused.
    """
    from scipy.stats import f as fisher

    rows = rest.of(np.arange(rest.v.size) >= rest.v.size - LAST_READINGS)
    if rows.v.size < FEWEST_READINGS:
        return 0.0
    columns = [np.ones_like(rows.v), rows.middle_s]
    if hum is not None:
        columns += hum.columns(rows.start_s, rows.length_s)
    basis, _ = np.linalg.qr(np.column_stack(columns) / rows.u_v[:, None])
    y = rows.v / rows.u_v
    y = y - basis @ (basis.T @ y)
    if float(np.mean((y * rows.u_v) ** 2)) < feeding.HUM_V**2:
        return 0.0
    span_s = float(rows.middle_s[-1] - rows.middle_s[0])
    # The shortest common distance sets what can be seen.
    gap_s = float(np.median(np.diff(rows.middle_s)))
    hz = np.arange(SLOWEST_PERIODS / span_s, 0.5 / gap_s, 0.5 / span_s)[: 2 * LAST_READINGS]
    if not hz.size:
        return 0.0
    power = np.nan_to_num(mains.powers(hz, rows, basis, y))
    best, free = int(np.argmax(power)), y.size - len(columns) - 2
    ratio = power[best] / 2.0 / max((float(y @ y) - power[best]) / free, 1e-30)
    if fisher.sf(ratio, 2, free) * hz.size > mains.FALSE_ALARM:
        return 0.0
    return float(sqrt(power[best] / y.size) * rows.u_v.mean())


def _slow_sag_v(step: OneStep) -> float:
    """As `feeding.slow_sag_v`: what of the sag may come back slower than within the pulse."""
    t_s, v = step.rows.middle_s / step.on_s, step.rows.v
    sooner, later = ((t_s >= a) & (t_s <= b) for a, b in ((0.4, 0.5), (0.9, 1.0)))
    noise_v = feeding.SURE * float(step.rows.u_v.max())
    if sooner.any() and later.any():
        slow_v = max(0.0, float(v[sooner].mean() - v[later].mean()))
    else:
        slow_v = float(np.ptp(v))
    return (slow_v + noise_v) / feeding.GROWS


def notices(table: ForeignTable, found: ForeignSteps, course: Course, sag_v: float) -> list[Notice]:
    """What the record lacks and what that costs; `sag_v` is that at the first time."""
    said = [*_not_stated(table)]
    if found.at_release:
        said.append(
            Notice(
                "no_rest",
                "the record has no rest before the load: r is read from the step at release, which "
                "is r(t) where the load had been on for much longer than t, and E is what the "
                f"voltage came back to within {found.on_s:.3g} s, less than a rested cell has",
                "begin the record before the load goes on, with at least 1 s of rest",
            )
        )
    else:
        said += _of_rest(found, course, sag_v)
    if len(found.steps) == 1:
        said.append(
            Notice(
                "single_step",
                "one step only: U is that of the readings' scatter about the fit, and knows "
                "nothing of how steps differ from each other",
                "record several steps with a rest between them; five are usual",
            )
        )
    elif len(found.steps) < FEW_STEPS:
        said.append(
            Notice(
                "few_steps",
                f"U rests on the scatter of {len(found.steps)} steps, which a few tell poorly: "
                "the factor k is large",
                "record five steps with a rest between them",
            )
        )
    for one in found.left:
        said.append(
            Notice(
                "repeat_rejected",
                f"step {one.n} is left out: {one.reason}",
                "record each step whole: a rest, the load, a recovery",
            )
        )
    at_rest = max(found.steps, key=lambda one: abs(one.drive.zero_share))
    if abs(at_rest.drive.zero_share) > ZERO_SHARE:
        said.append(
            Notice(
                "current_at_rest",
                f"{at_rest.drive.zero:.3g} A is read while no load is on; it is taken for the "
                "instrument's zero. If it flowed, E is no open voltage",
                "set the instrument's zero, and take everything but the load off the cell",
            )
        )
    unsteady = max(one.drive.unsteady for one in found.steps)
    if unsteady > UNSTEADY:
        said.append(
            Notice(
                "current_unsteady",
                f"while the load was on, the current scattered by {100 * unsteady:.2g} % about a "
                "smooth course",
                "switch a resistor, or filter what makes the current noisy",
            )
        )
    return said


def _not_stated(table: ForeignTable) -> list[Notice]:
    """Which uncertainties of the instrument nobody has stated."""
    stated = table.stated
    asked = [
        ("the scale of its volts (--u-volts-rel)", stated.u_volts_rel),
        ("their zero (--u-volts)", stated.u_volts),
    ]
    if table.current is not None:
        asked.append(("the scale of its current (--u-amps-rel)", stated.u_amps_rel))
    else:
        asked.append(("the load's resistance (--u-ohm)", stated.u_ohm))
    missing = [name for name, value in asked if value is None]
    if not missing:
        return []
    return [
        Notice(
            "u_not_stated",
            "U holds scatter, noise, resolution and timing; of the instrument nothing is stated "
            f"about {', '.join(missing)}",
            "state standard uncertainties from its data sheet or certificate; a limit of ±a is "
            "a standard uncertainty of a/√3",
        )
    ]


def _of_rest(found: ForeignSteps, course: Course, sag_v: float) -> list[Notice]:
    said = []
    shortest_s = min(-float(one.rows.start_s[0]) for one in found.steps)
    if shortest_s < SHORT_REST_S:
        said.append(
            Notice(
                "short_rest",
                f"only {shortest_s:.2g} s of rest before the load can be used: how the open "
                "voltage drifts is poorly known, and that widens U",
                "record at least 1 s of rest before the load",
            )
        )
    drifts = [
        max(0.0, abs(fit.drift_v_per_s) - 2.0 * one.drift_u_v_per_s)
        for one, fit in zip(found.steps, course.model.repeats, strict=True)
    ]
    worst = max(drifts) * DRIFT_HORIZON_S / sag_v if sag_v > 0.0 else 0.0
    if worst > DRIFT_SHARE:
        said.append(
            Notice(
                "rest_drift",
                f"the open voltage still drifts by {100 * worst:.2g} % of the sag in 0.1 s",
                "rest the cell longer before the load; E is the open voltage after this rest only",
            )
        )
    if any(not one.recovery.t_s.size for one in found.steps):
        said.append(
            Notice(
                "no_recovery",
                "the record ends under load: the step at release is not there to be compared "
                "with the one at load on",
                "record another second after the load goes off",
            )
        )
    return said
