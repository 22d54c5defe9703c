# SPDX-License-Identifier: MIT
"""Figures as people write them: value and U rounded alike, the unit said once."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    # For the types alone: results bring pydantic along, and the first screen waits for nothing.
    from sagline import results
    from sagline.analysis import values
    from sagline.analysis.lineplan import LinePlan
    from sagline.analysis.plan import Plan
    from sagline.analysis.terminal import Terminal
    from sagline.results import Result

    Quantity = results.Quantity | values.Quantity

# Stands where a number will come.
UNKNOWN = "…"
# What a paragraph hangs behind: spaces, a number with its point, a key with its gap.
_HANGING = re.compile(r" *(\d+\. |\S {3})?")


def decimals_for(u: float) -> int:
    """Return the decimals that show `u` with two significant digits (GUM 7.2.6).

    Below zero they are tens, hundreds, ...
    """
    if not u > 0 or not math.isfinite(u):
        return 4
    return 1 - math.floor(math.log10(float(f"{u:.1e}")))


def fixed(value: float, places: int) -> str:
    """Return `value` rounded to so many decimals, which may be below zero."""
    return f"{round(value, places):.{max(0, places)}f}"


def expanded(quantity: Quantity) -> float | None:
    """Return U, the half width of the 95 % interval, in the quantity's unit; None if unknown."""
    if quantity.low95 is None or quantity.high95 is None:
        return None
    return (quantity.high95 - quantity.low95) / 2


def figure(quantity: Quantity, unit: str, known_u: float | None = None) -> str:
    """Return for example "0.1612 Ω ± 0.0019 Ω", both rounded to U's second digit.

    Without an interval the value is rounded as if `known_u`, the standard uncertainty of
    what is known, were all of it; without that, to four digits.
    """
    big = expanded(quantity)
    if big is None:
        places = decimals_of(quantity.value, 4) if not known_u else decimals_for(2.0 * known_u)
        return f"{fixed(quantity.value, places)} {unit}, U unknown"
    places = decimals_for(big)
    return f"{fixed(quantity.value, places)} {unit} ± {fixed(big, places)} {unit}"


def shown(text: str) -> str:
    """Return somebody's text with nothing in it that could steer a terminal."""
    return "".join(character if character.isprintable() else "\ufffd" for character in text)


def bare_figure(value: float, u95: float | None) -> str:
    """Return for example "0.1612 ± 0.0019", for a column whose heading has the unit."""
    if u95 is None:
        return f"{value:.4g}"
    places = decimals_for(u95)
    return f"{fixed(value, places)} ± {fixed(u95, places)}"


def coverage(quantity: Quantity) -> str:
    """Return what the ± means, for example "95 %, k = 1.97, dof 240".

    Degrees of freedom are cut to a whole number (GUM G.4.1).
    """
    if quantity.k is None:
        return "no interval"
    dof = quantity.dof
    known = "∞" if dof is None else ">999" if dof >= 1000 else str(math.floor(dof))
    return f"95 %, k = {quantity.k:.2f}, dof {known}"


def relative(quantity: Quantity) -> str:
    """Return U as a share of the value, for example "1.2 %"."""
    big = expanded(quantity)
    if big is None or quantity.value == 0:
        return "unknown"
    return f"{100 * big / abs(quantity.value):.2g} %"


def decimals_of(value: float, significant: int) -> int:
    """Return the decimals that show `value` with so many significant digits, 0 to 6."""
    if value == 0 or not math.isfinite(value):
        return significant - 1
    return min(6, max(0, significant - 1 - math.floor(math.log10(abs(value)))))


def volts(value_v: float | None, places: int = 4) -> str:
    """Return for example "1.5790 V", or the mark for what is not known yet."""
    return UNKNOWN if value_v is None else f"{value_v:.{places}f} V"


def ohms(value_ohm: float | None) -> str:
    """Return for example "0.1607 Ω", four significant digits, or the mark for unknown."""
    if value_ohm is None:
        return UNKNOWN
    return f"{value_ohm:.{decimals_of(value_ohm, 4)}f} Ω"


def amperes(value_a: float | None) -> str:
    """Return for example "0.1473 A", four significant digits, or the mark for unknown."""
    if value_a is None:
        return UNKNOWN
    return f"{value_a:.{decimals_of(value_a, 4)}f} A"


@dataclass(frozen=True)
class Working:
    """What stands in the equation, in V, V, A and ohms: means over `repeats` kept repeats.

    They are what was read, so that the equation comes out on a calculator. The r of the result
    comes from a fit of every reading, and allows for what the rig's own dividers draw.
    """

    open_v: float
    loaded_v: float
    current_a: float
    repeats: int

    @property
    def r_ohm(self) -> float:
        """What the equation gives, in ohms."""
        return (self.open_v - self.loaded_v) / self.current_a

    @classmethod
    def of(cls, read: Terminal | None, current_a: float | None) -> Working | None:
        """From what was read and the current; None where either is not known."""
        return None if read is None or not current_a else cls(*read[:2], current_a, read.repeats)


def sag_places(open_v: float, loaded_v: float) -> int:
    """Return the decimals of E and V that leave four significant digits to E − V.

    At least 4, and 6 at most: means of a run tell no more apart.
    """
    return max(4, decimals_of(open_v - loaded_v, 4))


def equation_lines(
    t_s: float,
    open_v: float | None = None,
    loaded_v: float | None = None,
    current_a: float | None = None,
    r_ohm: float | None = None,
) -> list[str]:
    """Return r = (E − V) / I at `t_s` after load on: in letters, in numbers, and what it gives.

    Three lines with their equals signs below each other; what is None is left open.
    """
    places = 4 if open_v is None or loaded_v is None else sag_places(open_v, loaded_v)
    unloaded, loaded = (
        UNKNOWN if value is None else f"{value:.{places}f}" for value in (open_v, loaded_v)
    )
    left = f"r({t_s:g} s)"
    below = " " * len(left)
    return [
        f"{left} = (E − V) / I",
        f"{below} = ({unloaded} − {loaded}) V / {amperes(current_a)}",
        f"{below} = {ohms(r_ohm)}",
    ]


def letter_lines(
    t_s: float,
    open_v: float | None = None,
    loaded_v: float | None = None,
    current_a: float | None = None,
    repeats: int = 1,
) -> list[str]:
    """Return what the letters of the equation stand for, with their values, a line each.

    With more than one repeat they are said to be means.
    """
    places = 4 if open_v is None or loaded_v is None else sag_places(open_v, loaded_v)
    mean = f", mean of {repeats}" if repeats > 1 else ""
    rows = (
        ("E", volts(open_v, places), f"open voltage{mean}"),
        ("V", volts(loaded_v, places), f"voltage at {t_s:g} s{mean}"),
        ("I", amperes(current_a), f"current at {t_s:g} s{mean}"),
    )
    width = max(9, *(len(value) for _, value, _ in rows))
    return [f"{letter} = {value:<{width}}  {meaning}" for letter, value, meaning in rows]


def repeat_lines(
    rows: Sequence[values.RepeatRow | results.Repeat], planned: int, t_s: float
) -> list[str]:
    """Return a heading and a line for each repeat: number, r, E, and why it was left out."""
    lines = [f"repeat  {f'r({t_s:g} s)':<10} E"]
    for row in rows:
        reason = "" if row.kept else f"  left out: {row.reason}"
        lines.append(f"{row.n:>6}  {ohms(row.r_ohm):<10} {volts(row.emf_v)}{reason}")
    lines += [f"{n:>6}  {UNKNOWN}" for n in range(len(rows) + 1, planned + 1)]
    return lines


def result_lines(result: Result) -> list[str]:
    """Return r with U, what it rests on, and the EMF with U: three lines for the screen."""
    r_name = f"r({result.r_ohm.t_s or 0.0:g} s)"
    kept = [row.n for row in result.repeats if row.kept]
    basis = f"from {kept_of(result.repeats)}"
    if result.load_ohm is not None and result.current_a is not None:
        basis += f" on {result.load_ohm.value:.4g} Ω with {amperes(result.current_a.value)}"
    if result.kind == "virtual":
        basis += "; simulated cell"
    # What an interval would be made of, for figures of a single repeat that have none.
    r_ohm = figure(result.r_ohm, "Ω", math.hypot(*(row.u_ohm for row in result.budget)))
    lines = [f"{r_name} = {r_ohm}   ({coverage(result.r_ohm)})", f"{'':{len(r_name)}}   {basis}"]
    if result.emf_v is not None:
        emf_v = figure(result.emf_v, "V", math.hypot(*(row.u_v for row in result.emf_budget)))
        first = f", that of repeat {kept[0]}" if kept else ""
        lines.append(f"{'EMF':<{len(r_name)}} = {emf_v}   ({coverage(result.emf_v)}){first}")
    return lines


def extrapolated_lines(result: Result) -> list[str]:
    """Return the short-circuit current and the greatest power, said to be no measured ones.

    Nothing where they do not apply.
    """
    rows = (
        ("short-circuit current E / r", "A", result.short_circuit_a),
        ("greatest power E² / (4 r)", "W", result.max_power_w),
    )
    lines = [
        f"  {name:<27}  {_bounded(quantity, unit)}"
        for name, unit, quantity in rows
        if quantity is not None
    ]
    if not lines:
        return lines
    at = "what" if result.current_a is None else f"the {amperes(result.current_a.value)} that"
    return [f"Computed, far beyond {at} was measured; never short a cell:", *lines]


def _bounded(quantity: Quantity, unit: str) -> str:
    """Return the figure with what its ± means, or the bound where there is but a lower one."""
    if quantity.low95 is not None and quantity.high95 is None:
        return f"above {quantity.low95:.2g} {unit}   (95 %)"
    return f"{figure(quantity, unit)}   ({coverage(quantity)})"


def notice_lines(notices: Sequence[values.Notice | results.Warning_]) -> list[str]:
    """Return each notice and what to do about it, numbered, paragraphs parted by an empty line."""
    lines: list[str] = []
    for number, notice in enumerate(notices, start=1):
        lines += [f"{number}. {notice.text}", f"   {notice.remedy}", ""]
    return lines


def note_page(result: Result) -> list[str]:
    """Return all notices of a result, then what makes up u of r, for a page of its own."""
    lines = notice_lines(result.warnings)
    return lines + budget_lines(result)


def budget_lines(result: Result) -> list[str]:
    """Return what makes up the uncertainty of r, the largest share first."""
    t_s = result.r_ohm.t_s
    name = "r" if t_s is None else f"r({t_s:g} s)"
    width = max([18, *(len(row.source) for row in result.budget)])
    return [
        f"What u({name}), the standard uncertainty, is made of:",
        *(
            f"  {row.source:<{width}} type {row.type}  u {row.u_ohm * 1e3:8.3f} mΩ  "
            f"{row.share:6.1%} of u²"
            for row in sorted(result.budget, key=lambda row: -row.share)
        ),
    ]


def count(items: Sequence[object], noun: str) -> str:
    """Return for example "5 repeats" or "1 note"."""
    return counted(len(items), noun)


def counted(number: int, noun: str) -> str:
    """Return for example "5 repeats" or "1 note"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def kept_of(rows: Sequence[values.RepeatRow | results.Repeat]) -> str:
    """Return for example "4 of 5 repeats"."""
    return f"{sum(row.kept for row in rows)} of {count(rows, 'repeat')}"


def plan_sentence(plan: Plan) -> str:
    """Return what will be done and why, in words, and the U(r) that is to be expected."""
    return (
        f"Plan: {counted(plan.repeats, 'repeat')} on {plan.load_ohm:g} Ω, each "
        f"{plan.resting_ms / 1000:g} s of rest and {plan.on_ms / 1000:g} s of load; {plan.reason}. "
        f"{expectation(plan)}."
    )


def line_sentence(plan: LinePlan) -> str:
    """Return what will be done for a V-I line, and why."""
    seconds = (plan.resting_ms + plan.on_ms + plan.recovery_ms) * 1e-3 * len(plan.order)
    return (
        f"Then a V-I line: {counted(len(plan.order), 'step')} of {plan.on_ms / 1000:g} s, light "
        f"to heavy and back, some {seconds / 60:.1f} min; {plan.reason}."
    )


def plan_lines(plan: Plan, advice: Sequence[values.Notice], width: int = 79) -> list[str]:
    """Return the plan and what to know beforehand, broken at `width`."""
    said = [f"  {line}" for notice in advice for line in (notice.text, notice.remedy)]
    return wrapped([plan_sentence(plan), *said], width)


def expectation(plan: Plan) -> str:
    """Return the U(r) that is to be expected, as it was known before anything was switched."""
    if plan.expected_u_rel is None:
        return "U(r) cannot be said beforehand: nothing is known of r"
    if plan.expected_u_rel >= 1.0:
        return "U(r) is expected to be more than r itself"
    return f"Expected U(r): about {100 * plan.expected_u_rel:.2g} %"


def instant(t_s: float) -> str:
    """Return a time after load on: in milliseconds where it is shorter than 10 of them."""
    return f"{t_s:g} s" if t_s >= 0.01 else f"{1e3 * t_s:g} ms"


def ohmic_lines(result: Result) -> list[str]:
    """Return how the sag divides into what is there at once and what grows, a line or none."""
    ohmic, whole = result.r_ohmic_ohm, result.r_ohm
    if ohmic is None or whole.t_s is None or not whole.t_s > ohmic.from_s:
        return []
    grown = whole.value - ohmic.value
    return [
        f"           ohmic until {instant(ohmic.from_s)}; {grown:.3g} Ω more until "
        f"{instant(whole.t_s)} are polarization"
    ]


def report_lines(result: Result) -> list[str]:
    """Return the result in words, a line each, for a terminal of 80 columns."""
    if result.kind == "hand":
        from sagline.handwording import hand_lines

        return hand_lines(result)
    lines = result_lines(result)
    lines[1:1] = [
        f"r({instant(at.t_s)}) = {figure(at, 'Ω')}   ({coverage(at)})"
        for at in result.r_at[1:]
        if at.t_s is not None
    ]
    lines[len(result.r_at) : len(result.r_at)] = ohmic_lines(result)
    if result.line is not None:
        bent = any(warning.code == "r_depends_on_current" for warning in result.warnings)
        lines += ["", *line_lines(result.line, bent)]
    current_a = None if result.current_a is None else result.current_a.value
    found = Working.of(result.terminal, current_a)
    if found is not None:
        shown = (result.r_ohm.t_s or 0.0, found.open_v, found.loaded_v, found.current_a)
        lines += ["", *equation_lines(*shown, found.r_ohm), *letter_lines(*shown, found.repeats)]
    beyond = extrapolated_lines(result)
    lines += ["", *beyond] if beyond else []
    lines += ["", *budget_lines(result), ""]
    return [*lines, *wrapped(notice_lines(result.warnings), 79)][:-1]


def line_lines(line: results.Line, bent: bool) -> list[str]:
    """Return the V-I line in words, then its points and what each misses it by; `bent` where that
    is more than their uncertainty."""
    e_v, r_ohm = line.emf_v, line.r_ohm
    when = "" if line.t_s is None else f", each {instant(line.t_s)} after load on"
    lines = [
        f"V-I line through {count(line.points, 'point')}{when}:",
        f"  r   = {figure(r_ohm, 'Ω')}   ({coverage(r_ohm)})",
        f"  EMF = {figure(e_v, 'V')}   ({coverage(e_v)})",
    ]
    if e_v.u and r_ohm.u:
        share = line.covariance / (e_v.u * r_ohm.u)
        lines.append(f"  covariance of the two {line.covariance:.2g} V·Ω (correlation {share:.2f})")
    lines.append("  load         I           V          V − (EMF − r·I)")
    lines += [
        f"  {f'{point.load_ohm:.4g} Ω':<12} {amperes(point.current_a):<11} "
        f"{volts(point.v_v, 5):<11}"
        f"{1e3 * (point.v_v - e_v.value + r_ohm.value * point.current_a):+9.3f} mV"
        for point in line.points
    ]
    misses = "by more than their uncertainty: see the notes" if bent else "within their uncertainty"
    return [*lines, f"  the points lie off a straight line {misses}"]


def wrapped(lines: Sequence[str], width: int) -> list[str]:
    """Return `lines` broken at `width`, what follows a number or a key hanging behind it."""
    broken = []
    for line in lines:
        hang = _HANGING.match(line)
        indent = " " * (0 if hang is None else hang.end())
        broken += textwrap.wrap(line, max(width, 20), subsequent_indent=indent) or [""]
    return broken
