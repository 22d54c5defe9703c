# SPDX-License-Identifier: MIT
"""Where a part's texts stand: reference, value with tolerance, and what it must bear.

Spots are in steps of the sheet; a side says from where a text runs, none that it is centred.
"""

from __future__ import annotations

from drawing.stock import Kind

At = tuple[float, float]
Texts = tuple[dict[str, At], dict[str, str]]

NAMES = ("Reference", "Value", "Limits")
_LINE = 0.8


def of_two_pins(middle: At, level: bool, left: bool) -> Texts:
    """About a part of two pins: above and below a level one, beside an upright one."""
    x, y = middle
    if level:
        return dict(zip(NAMES, ((x, y - 1.3), (x, y + 1.3), (x, y + 1.3 + _LINE)), strict=True)), {}
    side = -1.0 if left else 1.0
    spots = {name: (x + side, y + (row - 1) * _LINE) for row, name in enumerate(NAMES)}
    return spots, dict.fromkeys(spots, "right" if left else "left")


def from_origin(at: At, kind: Kind, unit: int, given: tuple[At, ...] | None) -> Texts:
    """About any other part: `given` from its origin, the last a line below where it is left out.

    Of a part in several units the limits stand beside its supply alone, the unit `limits_unit`.
    """
    spots = given or ((1.6, -_LINE), (1.6, 0.0))
    if len(spots) == 2:
        spots = (*spots, (spots[1][0], spots[1][1] + _LINE))
    named = {name: (at[0] + x, at[1] + y) for name, (x, y) in zip(NAMES, spots, strict=True)}
    if unit != kind.limits_unit:
        del named["Limits"]
    return named, dict.fromkeys(named, "left")
