# SPDX-License-Identifier: MIT
"""Figures as people write them: value and U rounded alike, the unit said once."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    # For the types alone: results bring pydantic along, and the first screen waits for nothing.
    from sagline import results
    from sagline.analysis import values
    from sagline.results import Result

    Quantity = results.Quantity | values.Quantity

# Stands where a number will come.
UNKNOWN = "…"


def decimals_for(u: float) -> int:
    """Return the decimals that show `u` with two significant digits (GUM 7.2.6)."""
    if not u > 0 or not math.isfinite(u):
        return 4
    return max(0, 1 - math.floor(math.log10(float(f"{u:.1e}"))))


def expanded(quantity: Quantity) -> float | None:
    """Return U, the half width of the 95 % interval, in the quantity's unit; None if unknown."""
    if quantity.low95 is None or quantity.high95 is None:
        return None
    return (quantity.high95 - quantity.low95) / 2


def figure(quantity: Quantity, unit: str) -> str:
    """Return for example "0.1612 Ω ± 0.0019 Ω", both rounded to U's second digit."""
    big = expanded(quantity)
    if big is None:
        return f"{quantity.value:.4g} {unit}, U unknown"
    places = decimals_for(big)
    return f"{quantity.value:.{places}f} {unit} ± {big:.{places}f} {unit}"


def bare_figure(value: float, u95: float | None) -> str:
    """Return for example "0.1612 ± 0.0019", for a column whose heading has the unit."""
    if u95 is None:
        return f"{value:.4g}"
    places = decimals_for(u95)
    return f"{value:.{places}f} ± {u95:.{places}f}"


def coverage(quantity: Quantity) -> str:
    """Return what the ± means, for example "95 %, k = 1.8"."""
    if quantity.k is None:
        return "no interval"
    return f"95 %, k = {quantity.k:.2f}"


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


def loaded_voltage(emf_v: float, r_ohm: float, current_a: float) -> float:
    """Return the terminal voltage under load in volts: V = E − r I, the model itself."""
    return emf_v - r_ohm * current_a


def sag_places(emf_v: float, loaded_v: float) -> int:
    """Return the decimals of E and V that leave four significant digits to E − V.

    At least 4, and 5 at most: the converters tell no more apart.
    """
    return min(5, max(4, decimals_of(emf_v - loaded_v, 4)))


def equation_lines(
    t_s: float,
    emf_v: float | None = None,
    loaded_v: float | None = None,
    current_a: float | None = None,
    r_ohm: float | None = None,
) -> list[str]:
    """Return r = (E − V) / I at `t_s` after load on: in letters, in numbers, and what it gives.

    Three lines with their equals signs below each other; what is None is left open.
    """
    places = 4 if emf_v is None or loaded_v is None else sag_places(emf_v, loaded_v)
    emf, loaded = (
        UNKNOWN if value is None else f"{value:.{places}f}" for value in (emf_v, loaded_v)
    )
    left = f"r({t_s:g} s)"
    below = " " * len(left)
    return [
        f"{left} = (E − V) / I",
        f"{below} = ({emf} − {loaded}) V / {amperes(current_a)}",
        f"{below} = {ohms(r_ohm)}",
    ]


def letter_lines(
    t_s: float,
    emf_v: float | None = None,
    loaded_v: float | None = None,
    current_a: float | None = None,
) -> list[str]:
    """Return what the letters of the equation stand for, with their values, a line each."""
    places = 4 if emf_v is None or loaded_v is None else sag_places(emf_v, loaded_v)
    rows = (
        ("E", volts(emf_v, places), "EMF: no current flows"),
        ("V", volts(loaded_v, places), f"terminal voltage at {t_s:g} s"),
        ("I", amperes(current_a), f"load current at {t_s:g} s"),
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
    """Return r and EMF with their U, and what they rest on: three lines for the screen."""
    r_name = f"r({result.r_ohm.t_s or 0.0:g} s)"
    kept = sum(row.kept for row in result.repeats)
    basis = f"from {kept} of {len(result.repeats)} repeats"
    if result.load_ohm is not None and result.current_a is not None:
        basis += f" on {result.load_ohm.value:.4g} Ω with {amperes(result.current_a.value)}"
    return [
        f"{r_name} = {figure(result.r_ohm, 'Ω')}   ({coverage(result.r_ohm)})",
        f"{'EMF':<{len(r_name)}} = {figure(result.emf_v, 'V')}   ({coverage(result.emf_v)})",
        basis + ("; simulated, no physical cell" if result.kind == "virtual" else ""),
    ]


def notice_lines(notices: Sequence[values.Notice | results.Warning_]) -> list[str]:
    """Return each notice and what to do about it, numbered, paragraphs parted by an empty line."""
    lines: list[str] = []
    for number, notice in enumerate(notices, start=1):
        lines += [f"{number}. {notice.text}", f"   {notice.remedy}", ""]
    return lines


def note_page(result: Result) -> list[str]:
    """Return all notices of a result, then what makes up U of r, for a page of its own."""
    lines = notice_lines(result.warnings)
    return lines + budget_lines(result)


def budget_lines(result: Result) -> list[str]:
    """Return what makes up the uncertainty of r, the largest share first."""
    return [
        f"Where U(r({result.r_ohm.t_s or 0.0:g} s)) comes from:",
        *(
            f"  {row.source:<18} type {row.type}  u {row.u_ohm * 1e3:8.3f} mΩ  "
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


def plan_sentence(load_ohm: float, repeats: int, rest_ms: int, on_ms: int, reason: str) -> str:
    """Return what will be done and why, in words."""
    return (
        f"Plan: {repeats} repeats on {load_ohm:g} Ω, each {rest_ms / 1000:g} s of rest and "
        f"{on_ms / 1000:g} s of load; {reason}."
    )


def report_lines(result: Result) -> list[str]:
    """Return the result in words, a line each, for a terminal of 80 columns."""
    lines = result_lines(result)
    lines[1:1] = [
        f"r({at.t_s:g} s) = {figure(at, 'Ω')}   ({coverage(at)})"
        for at in result.r_at[1:]
        if at.t_s is not None
    ]
    if result.current_a is not None:
        emf_v, r_ohm, current_a = result.emf_v.value, result.r_ohm.value, result.current_a.value
        loaded_v = loaded_voltage(emf_v, r_ohm, current_a)
        t_s = result.r_ohm.t_s or 0.0
        lines += ["", *equation_lines(t_s, emf_v, loaded_v, current_a, r_ohm)]
    lines += ["", *budget_lines(result), ""]
    for line in notice_lines(result.warnings):
        lines += textwrap.wrap(line, 79, subsequent_indent="   ") or [""]
    return lines[:-1]
