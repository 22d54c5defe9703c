# SPDX-License-Identifier: MIT
"""Readings by hand as people write them: the working with its numbers, and the tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from sagline.wording import (
    amperes,
    budget_lines,
    coverage,
    decimals_for,
    extrapolated_lines,
    figure,
    fixed,
    notice_lines,
    ohms,
    sag_places,
    wrapped,
)

if TYPE_CHECKING:
    from sagline.analysis.hand.values import HandEstimate, Row
    from sagline.results import Result


def hand_lines(result: Result) -> list[str]:
    """Return the result of readings by hand in words, a line each, for 80 columns."""
    t_s = result.r_ohm.t_s
    name = "r" if t_s is None else f"r({t_s:g} s)"
    lines = [
        f"{name:<3} = {figure(result.r_ohm, 'Ω')}   ({coverage(result.r_ohm)})",
        f"{'':{max(3, len(name))}}   {_basis(result)}",
    ]
    if result.emf_v is not None:
        lines.append(
            f"{'EMF':<{len(name)}} = {figure(result.emf_v, 'V')}   ({coverage(result.emf_v)})"
        )
    lines += ["", *result.working] if result.working else []
    beyond = extrapolated_lines(result)
    lines += ["", *beyond] if beyond else []
    lines += ["", *budget_lines(result), ""]
    return [*lines, *wrapped(notice_lines(result.warnings), 79)][:-1]


def _basis(result: Result) -> str:
    if result.load_ohm is None or result.current_a is None:
        many = 0 if result.line is None else len(result.line.points)
        where = f" of {many} points" if many else ""
        if result.load_ohm is not None:
            where = f" on {result.load_ohm.value:.4g} Ω"
        return f"from readings by hand{where}"
    return (
        f"from readings by hand on {result.load_ohm.value:.4g} Ω with "
        f"{amperes(result.current_a.value)}"
    )


def working_lines(way: str, found: HandEstimate) -> list[str]:
    """Return the working of an estimate: the equation in letters and in numbers, and tables."""
    lines = _equation(way, found)
    lines += ["", *_table(found.table)] if found.table else []
    groups = _groups(found)
    lines += ["", *groups] if groups else []
    line = found.line
    if line is not None:
        points = " ".join(f"({point.current_a:.4g} A, {point.v_v:.4g} V)" for point in line.points)
        lines += [
            "",
            *wrapped([f"Points of the V–I line: {points}"], 79),
            f"E = {figure(line.emf, 'V')} where it meets no current; covariance with r "
            f"{line.covariance_v_ohm:.2g} V Ω",
        ]
        if line.steepest_ohm is not None and line.shallowest_ohm is not None:
            half = 0.5 * (line.steepest_ohm - line.shallowest_ohm)
            lines.append(
                f"Steepest line through bars of ±2 u: r {ohms(line.steepest_ohm)}, shallowest "
                f"{ohms(line.shallowest_ohm)}"
            )
            lines.append(f"Half of their difference: {half:.2g} Ω, beside U = {_u95(found)}")
    return lines


def _u95(found: HandEstimate) -> str:
    r = found.r
    if r.low95 is None or r.high95 is None:
        return "unknown"
    return f"{0.5 * (r.high95 - r.low95):.2g} Ω"


def _equation(way: str, found: HandEstimate) -> list[str]:
    n = found.numbers
    if "dV" in n:
        return [
            "r = −ΔV / ΔI",
            f"  = −({n['dV']:g} V) / ({n['dI']:g} A)".replace("-", "−"),
            f"  = {ohms(found.r.value)}",
        ]
    if "a" in n:
        return _fitted(way, found)
    if way == "slidewire":
        lines = [
            "r = R (l1 − l2) / l2",
            f"  = {n['R']:.6g} Ω × ({n['l1']:.2f} − {n['l2']:.2f}) cm / {n['l2']:.2f} cm",
            f"  = {ohms(found.r.value)}",
        ]
        return [*lines, "Lengths are means, with the end correction where one was given."]
    places = sag_places(n["E"], n["V"])
    return [
        "r = (E − V) / I",
        f"  = ({n['E']:.{places}f} − {n['V']:.{places}f}) V / {amperes(n['I'])}",
        f"  = {ohms(found.r.value)}",
    ]


def _fitted(way: str, found: HandEstimate) -> list[str]:
    a, b = found.numbers["a"], found.numbers["b"]
    by_current = found.line is not None and all(one.load_ohm is None for one in found.line.points)
    if way == "slidewire":
        law, unit = "1/l2 = 1/l1 + (r/l1) (1/R)", "1/cm"
    elif by_current or (found.line is None and b < 0.0):
        return [
            "V = E − r I",
            f"V = {a:.5g} V − {ohms(-b)} × I",
        ]
    else:
        law, unit = "1/V = 1/E + (r/E) (1/R)", "1/V"
    return [
        law,
        f"intercept {a:.6g} {unit}, slope {b:.6g} Ω × {unit}",
        f"r = slope / intercept = {ohms(found.r.value)}",
    ]


def _table(rows: Sequence[Row]) -> list[str]:
    """The readings: mean, half of their range beside the standard uncertainty of the mean."""
    width = max(len(row.name) for row in rows)
    lines = [f"{'':{width}}  {'mean':>12}   n   {'half range':>12}  {'u of the mean':>14}"]
    for row in rows:
        places = decimals_for(row.u)
        half = "-" if row.n < 2 else f"{fixed(row.half_range, places)} {row.unit}"
        mean = f"{fixed(row.mean, places)} {row.unit}"
        lines.append(
            f"{row.name:<{width}}  {mean:>12}  {row.n:>2}   {half:>12}  "
            f"{fixed(row.u, places) + ' ' + row.unit:>14}"
        )
    return lines


def _groups(found: HandEstimate) -> list[str]:
    """r of every group, and by how many per cent the least and the greatest differ."""
    known = [row for row in found.groups if row.r_ohm is not None]
    if len(known) < 2:
        return []
    lines = [
        f"group {row.n}: r = {ohms(row.r_ohm)}" + ("" if row.kept else f"   ({row.reason})")
        for row in known
    ]
    values = [row.r_ohm for row in known if row.r_ohm is not None]
    middle = 0.5 * (max(values) + min(values))
    if middle > 0.0:
        apart = 100.0 * (max(values) - min(values)) / middle
        lines.append(f"The least and the greatest differ by {apart:.2g} % of their middle.")
    return lines
