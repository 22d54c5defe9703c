# SPDX-License-Identifier: MIT
"""A voltmeter across the cell, without a load and with one.

    r = (E - V) / I,   I = V / R,  or I as it was read,  or I = P / V for a load of known watts

R is the load with its leads, V is read at the cell's own terminals. Readings on one setting are
one figure. r depends on the current, so r of different settings are not averaged: the setting
that gives r best is reported, and the others stand beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import inf
from typing import Any, NamedTuple

import numpy as np

from sagline.analysis.budget import Figures, figures
from sagline.analysis.hand import advice, checks
from sagline.analysis.hand.beyond import beyond
from sagline.analysis.hand.fields import VOLTMETER
from sagline.analysis.hand.inputs import Inputs
from sagline.analysis.hand.reading import SETTINGS, readers, rows_of
from sagline.analysis.hand.sheet import Group, Sheet, groups_of
from sagline.analysis.hand.values import HandEstimate, Row
from sagline.analysis.repeats import Scatter
from sagline.analysis.values import AnalysisError, Notice, Quantity, RepeatRow


class Setting(NamedTuple):
    """The groups of one setting and what they say; `each` has the figures of every group."""

    groups: Sequence[Group]
    found: Figures
    inputs: Inputs
    each: Sequence[Mapping[str, float]]
    table: Sequence[Row]

    @property
    def r(self) -> Quantity:
        return self.found.quantities["r_ohm"]

    @property
    def name(self) -> str:
        """For example "10 Ω"."""
        first = self.groups[0]
        return f"{first.setting.value:g} {SETTINGS[first.closer][2]}"


def estimate(sheet: Sheet) -> HandEstimate:
    """Return what the readings say. Raises AnalysisError, UsageError."""
    groups = with_open(groups_of(sheet.entries))
    for group in groups:
        checks.require_voltages(group)
        checks.require_current(group)
    found = [_of(sheet, same) for same in settings_of(groups)]
    best = min(found, key=_relative_u)
    quantities = best.found.quantities
    r, emf = best.r, quantities["emf_v"]
    short_circuit, max_power = beyond(emf, r, best.found.covariances["emf_v", "r_ohm"])
    notices = [
        *checks.bound(r),
        *_others(found, best),
        *advice.on_meter(sheet, best.found, best.inputs, best.groups[0]),
        *checks.guesses(best.inputs.guessed),
        *checks.times(sheet),
        *([] if short_circuit is None else [checks.EXTRAPOLATED]),
    ]
    return HandEstimate(
        r=r,
        emf=emf,
        load=quantities["load_ohm"] if quantities["load_ohm"].value > 0.0 else None,
        current=quantities["current_a"],
        short_circuit=short_circuit,
        max_power=max_power,
        groups=tuple(_rows(found, best)),
        budget=best.found.budgets["r_ohm"],
        emf_budget=best.found.budgets["emf_v"],
        line=None,
        table=tuple(row for one in found for row in one.table),
        numbers={
            "E": emf.value,
            "V": quantities["loaded_v"].value,
            "I": quantities["current_a"].value,
        },
        notices=tuple(notices),
    )


def settings_of(groups: Sequence[Group]) -> list[list[Group]]:
    """Return the groups of each setting together, in the order of their first."""
    found: list[list[Group]] = []
    for group in groups:
        same = next((one for one in found if group.is_setting_of(one[0])), None)
        if same is None:
            found.append([group])
        else:
            same.append(group)
    return found


def with_open(groups: list[Group]) -> list[Group]:
    """Give each group without an open reading those of the one before. Raises AnalysisError."""
    found: list[Group] = []
    for group in groups:
        if not group.opened and found:
            before = found[-1]
            group = replace(group, opened=before.opened, open_of=before.open_of)
        if not group.opened:
            raise AnalysisError(
                "no_open_voltage",
                "no open voltage was read before the first loaded one, so E is not known",
                "give --open before --loaded; or two loads and more to `sagline hand line`",
            )
        found.append(group)
    if not found:
        raise AnalysisError(
            "no_readings",
            "there is no loaded reading, and r shows only under load",
            "give --open, --loaded and the --load it was read on",
        )
    return found


def _of(sheet: Sheet, same: Sequence[Group]) -> Setting:
    """Figures of the groups of one setting; several of them are repeats of the whole."""
    inputs = Inputs()
    how = {"repeated": len(same) > 1, "shared": len({one.open_of for one in same}) < len(same)}
    parts = [readers(inputs, sheet, group, 0, **how) for group in same]
    sign = -1.0 if same[0].setting.value < 0.0 else 1.0

    def model(x: Mapping[str, Any]) -> dict[str, Any]:
        outputs = [part.outputs(x, sign) for part in parts]
        return {name: sum(one[name] for one in outputs) / len(outputs) for name in outputs[0]}

    each = [part.outputs(inputs.no_errors, sign) for part in parts]
    scatter = None
    if len(each) > 1:
        scatter = Scatter.of(np.array([list(one.values()) for one in each]))
    found = figures(model, inputs.influences, scatter)
    checks.require_sag(VOLTMETER, found.quantities["sag_v"], charging=sign < 0.0)
    table = [row for group in same for row in rows_of(group, inputs, 0)]
    return Setting(same, found, inputs, each, table)


def _relative_u(one: Setting) -> float:
    """U over r, infinite where r is not positive."""
    r = one.r
    if r.low95 is None or r.high95 is None or not r.value > 0.0:
        return inf
    return (r.high95 - r.low95) / r.value


def _rows(found: Sequence[Setting], best: Setting) -> list[RepeatRow]:
    """A row for each group, those of other settings left out with the reason."""
    rows: list[RepeatRow] = []
    for one in found:
        reason = None if one is best else f"read on {one.name}: r depends on the current"
        rows += [
            RepeatRow(0, each["r_ohm"], each["emf_v"], one is best, reason) for each in one.each
        ]
    return [
        RepeatRow(n, row.r_ohm, row.emf_v, row.kept, row.reason) for n, row in enumerate(rows, 1)
    ]


def _others(found: Sequence[Setting], best: Setting) -> list[Notice]:
    if len(found) < 2:
        return []
    listed = ", ".join(f"{one.r.value:.4g} Ω on {one.name}" for one in found)
    return [
        Notice(
            "several_settings",
            f"what was read on different loads is not averaged, for r depends on the current: "
            f"{listed}. "
            f"Reported is that on {best.name}, whose U is the smallest share of it",
            "for one E and r of all of them enter the same readings with `sagline hand line`",
        )
    ]
