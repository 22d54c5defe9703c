# SPDX-License-Identifier: MIT
"""Balance lengths on a slide wire, without a load across the cell and with one.

    r = R (l1 - l2) / (l2 + e)           one load; lengths are averaged, r computed once
    1/l2 = 1/l1 + (r/l1) (1/R)           several loads; l1 is the point at 1/R = 0

e is the end correction, added to every length; R is the load with its leads. r needs no volts:
the wire's volts per centimetre cancel. E needs them, from the gradient or a standard cell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from sagline.analysis.budget import Figures, figures
from sagline.analysis.hand import advice, checks
from sagline.analysis.hand.beyond import beyond
from sagline.analysis.hand.fields import SLIDEWIRE
from sagline.analysis.hand.inputs import Inputs, Reading
from sagline.analysis.hand.line import all_open
from sagline.analysis.hand.reading import SETTINGS, load_circuit
from sagline.analysis.hand.sheet import Group, Sheet, groups_of
from sagline.analysis.hand.straight import Fit, fit
from sagline.analysis.hand.values import HandEstimate, HandLine, Point, Row
from sagline.analysis.hand.voltmeter import settings_of
from sagline.analysis.hand.wire import Wire, require_on_wire
from sagline.analysis.values import AnalysisError, Notice, RepeatRow
from sagline.errors import UsageError


def estimate(sheet: Sheet) -> HandEstimate:
    """Return what the lengths say. Raises AnalysisError, UsageError."""
    groups = groups_of(sheet.entries)
    if any(group.closer != "load" for group in groups):
        raise UsageError(
            "not_a_load",
            "On a slide wire the load across the cell is a known resistor.",
            "End each group of lengths with --load.",
        )
    require_on_wire(sheet, groups)
    merged = [_merged(same) for same in settings_of(groups)]
    if not merged:
        raise AnalysisError(
            "no_readings",
            "there is no balance length with a load, and r shows only under load",
            "give --open, --loaded and the --load it was read on",
        )
    opened = all_open(merged)
    if len(merged) == 1:
        if opened is None:
            raise AnalysisError(
                "no_open_length",
                "one loaded length alone says nothing of r",
                "give --open as well, or lengths on a second load",
            )
        return _one_load(sheet, merged[0])
    return _several(sheet, merged, opened)


def _merged(same: Sequence[Group]) -> Group:
    """Return the groups of one load as one: lengths are averaged first."""
    opened = tuple(one for group in same for one in group.opened)
    reopened = tuple(one for group in same for one in group.reopened)
    return replace(
        same[0],
        opened=opened or reopened,
        loaded=tuple(one for group in same for one in group.loaded),
        reopened=reopened if opened else (),
    )


def _load(sheet: Sheet, inputs: Inputs, group: Group) -> Reading:
    """Add the load with its leads (ohm)."""
    source, option, _ = SETTINGS["load"]
    key = f"load.{group.setting.value!r}"
    number = inputs.number(key, source, group.setting, sheet.stated(option), option)
    return load_circuit(inputs, sheet, number)


def _one_load(sheet: Sheet, group: Group) -> HandEstimate:
    inputs = Inputs()
    wire = Wire(sheet, inputs)
    l1, l2 = wire.open_length(group), wire.loaded_length(group, 0)
    load = _load(sheet, inputs, group)
    typed_load = inputs.number(
        f"load.{group.setting.value!r}", "", group.setting, sheet.stated("u_ohm"), "u_ohm"
    )

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        first, second = l1(x), l2(x)
        found = {
            "r_ohm": load(x) * (first - second) / second,
            "sag_cm": first - second,
            "load_ohm": typed_load(x),
            "l1_cm": first,
            "l2_cm": second,
        }
        if wire.gradient is not None:
            per_cm = wire.gradient(x)
            found |= {"emf_v": per_cm * first, "current_a": per_cm * second / load(x)}
        return found

    found = figures(model, inputs.influences)
    quantities = found.quantities
    checks.require_sag(SLIDEWIRE, quantities["sag_cm"])
    r = quantities["r_ohm"]
    terms = advice.Terms(
        quantities["l1_cm"].value,
        quantities["l1_cm"].u or 0.0,
        quantities["l2_cm"].u or 0.0,
        (quantities["load_ohm"].u or 0.0) / group.setting.value,
    )
    emf = quantities.get("emf_v")
    better: list[Notice] = []
    if r.value > 0.0:
        e = None if emf is None else emf.value
        load_ohm = group.setting.value
        better = advice.advised(sheet, terms, found.budgets["r_ohm"], load_ohm, r.value, e)
    return _estimate(
        sheet,
        inputs,
        found,
        [*checks.bound(r), *better],
        table=wire.rows(group, 0),
        groups=(RepeatRow(1, r.value, None if emf is None else emf.value, True, None),),
        numbers={
            "l1": quantities["l1_cm"].value,
            "l2": quantities["l2_cm"].value,
            "R": load(inputs.no_errors),
            "E": 0.0 if emf is None else emf.value,
        },
    )


def _several(sheet: Sheet, merged: Sequence[Group], opened: Group | None) -> HandEstimate:
    inputs = Inputs()
    wire = Wire(sheet, inputs)
    lengths = [wire.loaded_length(group, n) for n, group in enumerate(merged)]
    loads = [_load(sheet, inputs, group) for group in merged]
    l1 = None if opened is None else wire.open_length(opened)

    def coordinates(x: Mapping[str, Any]) -> tuple[list[Any], list[Any]]:
        across = [1.0 / load(x) for load in loads]
        up = [1.0 / length(x) for length in lengths]
        return (across, up) if l1 is None else ([0.0, *across], [1.0 / l1(x), *up])

    def outputs(a: Any, b: Any, x: Mapping[str, Any]) -> dict[str, Any]:
        found = {"r_ohm": b / a}
        if wire.gradient is not None:
            found["emf_v"] = wire.gradient(x) / a
        else:
            found["l1_cm"] = 1.0 / a
        return found

    found = fit(coordinates, outputs, inputs.influences, sheet.stated("u_length") is not None)
    zero = inputs.no_errors
    table = [row for n, group in enumerate(merged) for row in wire.rows(group, n)]
    each = []
    for n, (length, load) in enumerate(zip(lengths, loads, strict=True), 1):
        r_ohm = None if l1 is None else load(zero) * (l1(zero) / length(zero) - 1.0)
        each.append(RepeatRow(n, r_ohm, None, True, None))
    points: list[Point] = []
    if wire.gradient is not None:
        per_cm = wire.gradient(zero)
        for group, length, load in zip(merged, lengths, loads, strict=True):
            v_v = per_cm * length(zero)
            points.append(Point(group.setting.value, v_v / load(zero), v_v))
    return _estimate(
        sheet,
        inputs,
        found.figures,
        [*checks.bound(found.figures.quantities["r_ohm"]), *_fit_notices(found, l1 is None)],
        table=table,
        groups=() if opened is None else tuple(each),
        numbers={"a": found.a, "b": found.b},
        points=points,
        fitted=True,
    )


def _fit_notices(found: Fit, no_open: bool) -> list[Notice]:
    if found.off:
        return [
            Notice(
                "points_off_line",
                "1/l2 against 1/R lies off a line by more than the lengths allow (chi squared "
                f"{found.chi2:.3g} for {found.dof} degrees of freedom); U allows for that. r may "
                "well depend on the current: that is no mistake",
                "look at r of each load; read l1 again after the loaded lengths",
            )
        ]
    if not found.dof and no_open:
        return [
            Notice(
                "two_points",
                "two loads without an open length give r, and nothing that would show a length to "
                "be wrong",
                "read the open length too, or a third load",
            )
        ]
    return []


_EMF_UNKNOWN = Notice(
    "emf_unknown",
    "E is not known: lengths give r alone, for the wire's volts per centimetre cancel in it",
    "give --gradient in V/cm, or --standard-emf and --standard-length of a standard cell",
)


def _estimate(
    sheet: Sheet,
    inputs: Inputs,
    found: Figures,
    notices: Sequence[Notice],
    *,
    table: Sequence[Row],
    groups: tuple[RepeatRow, ...],
    numbers: Mapping[str, float],
    points: Sequence[Point] = (),
    fitted: bool = False,
) -> HandEstimate:
    r, emf = found.quantities["r_ohm"], found.quantities.get("emf_v")
    short_circuit = max_power = line = None
    said = list(notices)
    if emf is None:
        said.append(_EMF_UNKNOWN)
    else:
        covariance = found.covariances["emf_v", "r_ohm"]
        short_circuit, max_power = beyond(emf, r, covariance)
        if fitted:
            line = HandLine(emf, r, covariance, tuple(points))
    said += [*checks.guesses(inputs.guessed), *checks.times(sheet)]
    said += [] if short_circuit is None else [checks.EXTRAPOLATED]
    return HandEstimate(
        r=r,
        emf=emf,
        load=found.quantities.get("load_ohm"),
        current=found.quantities.get("current_a"),
        short_circuit=short_circuit,
        max_power=max_power,
        groups=groups,
        budget=found.budgets["r_ohm"],
        emf_budget=() if emf is None else found.budgets["emf_v"],
        line=line,
        table=tuple(table),
        numbers=numbers,
        notices=tuple(said),
        fitted=fitted,
    )
