# SPDX-License-Identifier: MIT
"""A rig's result worked through: each equation with its numbers; what u is made of, as bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sagline.wording import (
    Working,
    amperes,
    decimals_of,
    equation_lines,
    expanded,
    figure,
    letter_lines,
    ohms,
    volts,
)

if TYPE_CHECKING:
    from sagline.results import Result

NAMED_TERMS = 3
"""So many contributions stand in the sum by themselves; the others stand there as one."""


def working_lines(result: Result) -> list[str]:
    """Return the working of r and of its uncertainty, a line each; they come out on a calculator.

    u is the root of the sum of squares (GUM 5.1.2), U = k·u (GUM 6.2.1).
    """
    t_s = result.r_ohm.t_s or 0.0
    current_a = None if result.current_a is None else result.current_a.value
    read = Working.of(result.terminal, current_a)
    lines = []
    if read is not None:
        shown = (t_s, read.open_v, read.loaded_v, read.current_a)
        load_ohm = read.loaded_v / read.current_a
        r_x = f"{load_ohm:.{decimals_of(load_ohm, 5)}f} Ω"
        ratio = read.open_v / read.loaded_v
        lines += [
            "From what was read:",
            *(f"  {line}" for line in equation_lines(*shown, read.r_ohm)),
            *(f"  {line}" for line in letter_lines(*shown, read.repeats)),
            "",
            "The same by the load alone, without the current:",
            f"  R_x = V / I = {volts(read.loaded_v)} / {amperes(read.current_a)} = {r_x}",
            "  r = R_x · (E / V − 1)",
            f"    = {r_x} · ({ratio:.6f} − 1)",
            f"    = {ohms(load_ohm * (ratio - 1.0))}",
            "",
            "The figure that is given comes from a fit of every reading of every repeat, and "
            "allows for what the rig's dividers draw from the cell:",
            f"  r = {figure(result.r_ohm, 'Ω')}",
            "",
        ]
    lines += ["How far it can be trusted:", *_spread_lines(result)]
    return lines


def _spread_lines(result: Result) -> list[str]:
    r_ohm = result.r_ohm
    if r_ohm.u is None or r_ohm.k is None:
        return ["  A single repeat has no scatter to see: U is not known."]
    terms = sorted((1e3 * row.u_ohm for row in result.budget), reverse=True)
    named, others = terms[:NAMED_TERMS], math.hypot(*terms[NAMED_TERMS:])
    squares = " + ".join(f"{term:.3g}²" for term in (*named, others) if term > 0.0)
    u_mohm = 1e3 * r_ohm.u
    big = expanded(r_ohm)
    lines = [
        "  u = √(sum of the squares of the budget), its three largest and all others as one:",
        f"    = √({squares}) mΩ = {u_mohm:.3g} mΩ",
    ]
    if big is not None:
        lines.append(f"  U = k · u = {r_ohm.k:.2f} · {u_mohm:.3g} mΩ = {1e3 * big:.2g} mΩ")
    return lines


def r_bars(result: Result, width: int) -> list[str]:
    """Return what u² of r is made of, the largest share first, as bars within `width` columns."""
    return _bars(
        "u² of r", [(row.source, row.u_ohm, row.share) for row in result.budget], "Ω", width
    )


def emf_bars(result: Result, width: int) -> list[str]:
    """Return what u² of E is made of, likewise."""
    rows = [(row.source, row.u_v, row.share) for row in result.emf_budget]
    return _bars("u² of E", rows, "V", width)


def _bars(name: str, rows: Sequence[tuple[str, float, float]], unit: str, width: int) -> list[str]:
    # The bar takes what source, u and share leave.
    longest = max((len(source) for source, _, _ in rows), default=0)
    room = max(8, width - longest - 22)
    lines = [f"What {name} is made of:"]
    for source, u, share in sorted(rows, key=lambda row: -row[2]):
        bar = "█" * math.floor(share * room) + "▌" * (share * room % 1.0 >= 0.5)
        lines.append(f"  {source:<{longest}}  {1e3 * u:8.3f} m{unit}  {share:4.0%} {bar}".rstrip())
    return lines
