# SPDX-License-Identifier: MIT
"""The V-I line from readings on several loads or at several currents.

    V = E - r I                     where currents (or watts) were read
    1/V = 1/E + (r/E) (1/R)         where the loads are known: errors of V and R stay apart

E is the intercept, r minus the slope. An open voltage is drawn beside the line and not fitted
unless asked: the first milliamperes cost more than r I, so the line's E is mostly lower.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from sagline.analysis.hand import changes, checks
from sagline.analysis.hand.beyond import beyond, joint_u95
from sagline.analysis.hand.inputs import Inputs, Reading
from sagline.analysis.hand.reading import current_reading, loaded_reading, open_reading, rows_of
from sagline.analysis.hand.reading import load_circuit as circuit
from sagline.analysis.hand.sheet import Group, Sheet, groups_of
from sagline.analysis.hand.straight import Fit, extremes, fit
from sagline.analysis.hand.values import HandEstimate, HandLine, Point, Row
from sagline.analysis.hand.voltmeter import settings_of
from sagline.analysis.values import AnalysisError, Notice, Quantity, RepeatRow
from sagline.errors import UsageError

BAR_TIMES = 2.0
"""Half the length of an error bar over u: about 95 % of a normal distribution."""


def estimate(sheet: Sheet) -> HandEstimate:
    """Return what the readings say. Raises AnalysisError, UsageError."""
    if any(name in sheet.options for name in changes.CHANGES):
        return changes.estimate(sheet)
    groups = groups_of(sheet.entries)
    for group in groups:
        checks.require_voltages(group)
    closers = {group.closer for group in groups}
    if len(closers) > 1:
        raise UsageError(
            "mixed_settings",
            "Some groups end with a load, others with a current or watts.",
            "Read the current for all of them, or give the load of all.",
        )
    sets = settings_of(groups)
    with_open = all_open(groups)
    fit_open = sheet.fit_open and with_open is not None
    if len(sets) + fit_open < 2:
        raise AnalysisError(
            "one_point",
            "a line takes loaded readings on two loads or at two currents; three and more check "
            "each other",
            "read another load, or enter the readings with `sagline hand voltmeter`",
        )
    return _of_points(sheet, sets, closers == {"load"}, with_open)


def all_open(groups: Sequence[Group]) -> Group | None:
    """Return a group with every open reading, the last ones apart; None where there is none."""
    opened = tuple(one for group in groups for one in group.opened)
    reopened = tuple(one for group in groups for one in group.reopened)
    if not (opened or reopened):
        return None
    first = groups[0]
    return replace(first, opened=opened or reopened, reopened=reopened if opened else ())


def _of_points(
    sheet: Sheet, sets: Sequence[Sequence[Group]], by_load: bool, with_open: Group | None
) -> HandEstimate:
    inputs = Inputs()
    volts: list[Reading] = []
    settings: list[Reading] = []
    placed: list[tuple[Group, int]] = []
    points: list[Point] = []
    for place, same in enumerate(sets):
        for group in same:
            loaded = loaded_reading(inputs, sheet, group, place)
            current, load = current_reading(inputs, sheet, group, place, loaded)
            volts.append(loaded)
            settings.append(circuit(inputs, sheet, load) if by_load else current)
            placed.append((group, place))
            points.append(
                Point(
                    load(inputs.no_errors) if by_load else None,
                    current(inputs.no_errors),
                    loaded(inputs.no_errors),
                )
            )
    opened = None if with_open is None else open_reading(inputs, sheet, with_open)
    table = [row for group, place in placed for row in rows_of(group, inputs, place)]
    fitted_open = opened if sheet.fit_open else None

    def coordinates(x: Mapping[str, Any]) -> tuple[list[Any], list[Any]]:
        across = [setting(x) for setting in settings]
        up = [loaded(x) for loaded in volts]
        if by_load:
            across, up = [1.0 / one for one in across], [1.0 / one for one in up]
        if fitted_open is not None:
            v = fitted_open(x)
            across, up = [0.0, *across], [1.0 / v if by_load else v, *up]
        return across, up

    def outputs(a: Any, b: Any, x: Mapping[str, Any]) -> dict[str, Any]:
        of_line = (
            {"r_ohm": b / a, "line_v": 1.0 / a} if by_load else {"r_ohm": -1.0 * b, "line_v": a}
        )
        if opened is None:
            return of_line
        return {**of_line, "open_v": opened(x)}

    known = sheet.stated("u_volts") is not None
    found = fit(coordinates, outputs, inputs.influences, known)
    return _estimate(sheet, inputs, found, by_load, points, table, opened is not None)


def _estimate(
    sheet: Sheet, inputs: Inputs, found: Fit, by_load: bool, points: list[Point],
    table: list[Row], has_open: bool,
) -> HandEstimate:  # fmt: skip
    quantities = found.figures.quantities
    r, line_v = quantities["r_ohm"], quantities["line_v"]
    from_open = has_open and not sheet.fit_open
    # Two points are no check on E, the farther they are from no current the less.
    told = found.dof > 0 or sheet.extrapolate or sheet.fit_open
    emf_name = "open_v" if from_open else "line_v"
    emf = quantities[emf_name] if told or from_open else None
    covariance = found.figures.covariances
    short_circuit, max_power = (
        (None, None) if emf is None else beyond(emf, r, covariance[emf_name, "r_ohm"])
    )
    steep, shallow = _extreme_r(found, by_load)
    notices = [*checks.bound(r), *_fit_notices(found)]
    if emf is None:
        notices.append(_EMF_NOT_ASKED)
    elif from_open and told:
        notices += _gap(quantities["open_v"], line_v, covariance["open_v", "line_v"])
    elif not from_open:
        notices.append(_EMF_OF_LINE)
    notices += [*checks.guesses(inputs.guessed), *checks.times(sheet)]
    notices += [] if short_circuit is None else [checks.EXTRAPOLATED]
    return HandEstimate(
        r=r,
        emf=emf,
        load=None,
        current=None,
        short_circuit=short_circuit,
        max_power=max_power,
        groups=_groups(points, emf if from_open else None),
        budget=found.figures.budgets["r_ohm"],
        emf_budget=() if emf is None else found.figures.budgets[emf_name],
        line=HandLine(line_v, r, covariance["line_v", "r_ohm"], tuple(points), steep, shallow)
        if told
        else None,
        table=tuple(table),
        numbers={"a": found.a, "b": found.b},
        notices=tuple(notices),
        fitted=True,
    )


def _extreme_r(found: Fit, by_load: bool) -> tuple[float | None, float | None]:
    """r of the steepest and of the shallowest line through all bars (ohm); None where none is.

    Drawn as volts against amperes; of 1/V against 1/R both are b over the line's own a.
    """
    sides = extremes(found, BAR_TIMES)
    if sides is None:
        return None, None
    values = [side / found.a if by_load else -side for side in sides]
    return max(values), min(values)


def _groups(points: Sequence[Point], emf: Quantity | None) -> tuple[RepeatRow, ...]:
    """r of each point from the open voltage, where there is one."""
    if emf is None:
        return ()
    return tuple(
        RepeatRow(n, (emf.value - point.v_v) / point.current_a, emf.value, True, None)
        if point.current_a
        else RepeatRow(n, None, emf.value, True, None)
        for n, point in enumerate(points, 1)
    )


_EMF_NOT_ASKED = Notice(
    "emf_not_asked",
    "two loaded points give r, but an E drawn through them has no check at all, so none is given",
    "read the open voltage too, or a third load; or ask for that E with --extrapolate",
)
_EMF_OF_LINE = Notice(
    "emf_of_line",
    "E is the line's value at no current, not an open voltage that was read; the first "
    "milliamperes often cost more than r I, and an open voltage is then higher",
    "give --open as well to have both",
)


def _fit_notices(found: Fit) -> list[Notice]:
    if found.off:
        return [
            Notice(
                "points_off_line",
                f"the points lie off the line by more than their uncertainties allow (chi squared "
                f"{found.chi2:.3g} for {found.dof} degrees of freedom); U allows for that. r may "
                "well depend on the current: that is no mistake",
                "look at r of each point; read the loads light, heavy, light, each with rest",
            )
        ]
    if not found.dof:
        return [
            Notice(
                "two_points",
                "two points give a line, and nothing that would show a point to be wrong",
                "read a third load between or beyond them",
            )
        ]
    return []


def _gap(opened: Quantity, line_v: Quantity, covariance: float) -> list[Notice]:
    """Say so where the open voltage and the line's E differ by more than U."""
    gap_v, u95_v = opened.value - line_v.value, joint_u95(opened, line_v, covariance)
    if abs(gap_v) <= u95_v:
        return []
    if gap_v > 0.0:
        why = "the first of the current costs more than r I (activation polarization)"
    else:
        why = "the open voltage had not recovered, or the points lie on no line"
    return [
        Notice(
            "emf_gap",
            f"the open voltage is {gap_v:+.3g} V from the line's E of {line_v.value:.4g} V, more "
            f"than U of the difference, {u95_v:.2g} V: {why}",
            "take the open voltage for the cell's E at rest, the line's E with r for predictions "
            "at currents between those that were read",
        )
    ]
