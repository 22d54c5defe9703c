# SPDX-License-Identifier: MIT
"""Which load would halve u(r), and whether the cell should be asked for its current.

With E and V (or two balance lengths) each off by as much as now, u(r) is least for a load about
r itself, and grows with the load beyond. What is not known of the load's own value stays with
every load.
"""

from __future__ import annotations

from math import floor, log10, sqrt
from typing import NamedTuple

from sagline.analysis.budget import Figures
from sagline.analysis.hand.inputs import Inputs
from sagline.analysis.hand.sheet import Group, Sheet
from sagline.analysis.values import BudgetLine, Notice
from sagline.designations import find

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""Preferred values in a decade (IEC 60063)."""

LEAST_SHARE = 0.4
"""Of r. A smaller load gains nothing: past the greatest power the cell heats itself more."""

UNKNOWN_A = 0.5
"""The most that is advised of a cell without designation (this project's own caution)."""

USUAL_TIMES = 2.0
"""The most that is advised of a known cell, over the current of its usual load here."""

CAUTION = (
    "keep to what the cell maker's data sheet allows, close the key for a moment only, and mind "
    "that the load gets hot; never short a cell"
)


class Terms(NamedTuple):
    """Where u(r) comes from: u of E and of V in one unit (V, or cm of wire), of R as a share."""

    open_value: float
    u_open: float
    u_loaded: float
    u_load_rel: float

    def u_ohm(self, load_ohm: float, r_ohm: float) -> float:
        """u(r) on another load, by the law of propagation on r = R (E/V - 1)."""
        whole = load_ohm + r_ohm
        return sqrt(
            (whole / self.open_value * self.u_open) ** 2
            + (whole**2 / (self.open_value * load_ohm) * self.u_loaded) ** 2
            + (r_ohm * self.u_load_rel) ** 2
        )


class Drawn(NamedTuple):
    """What a load draws of a cell: current (A), power in the load (W), terminal volts."""

    current_a: float
    power_w: float
    terminal_v: float


def drawn(emf_v: float, r_ohm: float, load_ohm: float) -> Drawn:
    """The circuit of one EMF, one r and one load."""
    current_a = emf_v / (r_ohm + load_ohm)
    return Drawn(current_a, current_a**2 * load_ohm, emf_v - current_a * r_ohm)


def halving(terms: Terms, load_ohm: float, r_ohm: float) -> float | None:
    """The largest preferred value below `load_ohm` (ohm) on which u(r) is half; None: none is."""
    aim = 0.5 * terms.u_ohm(load_ohm, r_ohm)
    value = _below(load_ohm)
    while value >= LEAST_SHARE * r_ohm:
        if terms.u_ohm(value, r_ohm) <= aim:
            return value
        value = _below(value)
    return None


def on_meter(sheet: Sheet, found: Figures, inputs: Inputs, group: Group) -> list[Notice]:
    """Advice for a voltmeter's readings on one setting."""
    quantities = found.quantities
    load_ohm, r_ohm = quantities["load_ohm"].value, quantities["r_ohm"].value
    emf_v = quantities["emf_v"]
    if not (load_ohm > 0.0 and r_ohm > 0.0):
        return []
    terms = Terms(
        emf_v.value,
        emf_v.u or 0.0,
        quantities["loaded_v"].u or 0.0,
        (quantities["load_ohm"].u or 0.0) / load_ohm,
    )
    return advised(sheet, terms, found.budgets["r_ohm"], load_ohm, r_ohm, emf_v.value)


def advised(
    sheet: Sheet,
    terms: Terms,
    budget: tuple[BudgetLine, ...],
    load_ohm: float,
    r_ohm: float,
    emf_v: float | None,
) -> list[Notice]:
    """The notice of a load that would halve u(r), or of what stands in the way; or none."""
    value = halving(terms, load_ohm, r_ohm)
    known = None if sheet.designation is None else find(sheet.designation)
    if emf_v is None and known is not None:
        emf_v = known.nominal_v
    if value is None:
        return _load_itself(terms, budget, load_ohm, r_ohm)
    if emf_v is None:
        return [
            Notice(
                "other_load",
                f"on {value:g} Ω u(r) would be about half; what current that draws is not known "
                "without the cell's volts",
                f"see that it is safe: {CAUTION}",
            )
        ]
    by_it = drawn(emf_v, r_ohm, value)
    usual_a = UNKNOWN_A if known is None else USUAL_TIMES * known.nominal_v / known.load_ohm
    draws = f"It would draw {by_it.current_a:.2g} A and heat the load with {by_it.power_w:.2g} W"
    if by_it.current_a <= usual_a:
        return [
            Notice(
                "other_load",
                f"on {value:g} Ω u(r) would be about half. {draws}, no more than is usual for "
                f"{'such a cell' if known is None else known.designation}",
                f"for a smaller U read on {value:g} Ω; {CAUTION}",
            )
        ]
    return [
        Notice(
            "other_load_draws_much",
            f"on {value:g} Ω u(r) would be about half. {draws}, more than the {usual_a:.2g} A "
            "that is advised here without its data sheet",
            f"rather read to another digit or repeat; else {CAUTION}",
        )
    ]


def _load_itself(
    terms: Terms, budget: tuple[BudgetLine, ...], load_ohm: float, r_ohm: float
) -> list[Notice]:
    """Say so where what is not known of the load keeps every other load from halving u(r)."""
    if not budget or r_ohm * terms.u_load_rel < 0.5 * terms.u_ohm(load_ohm, r_ohm):
        return []
    return [
        Notice(
            "load_limits",
            f"no other load would halve u(r): {100.0 * terms.u_load_rel:.2g} % of r comes of what "
            "is not known of the load or the current itself",
            "measure the load, or take one of a closer tolerance",
        )
    ]


def _below(value: float) -> float:
    """The preferred value next below `value` (ohm)."""
    decade = 10.0 ** floor(log10(value) + 1e-12)
    lower = [one * decade for one in E12 if one * decade < value * (1.0 - 1e-9)]
    return float(f"{(lower[-1] if lower else 8.2 * decade / 10.0):.2g}")
