# SPDX-License-Identifier: MIT
"""A symbol as KiCad keeps it in a file's own library."""

from __future__ import annotations

from drawing.symbols import Symbol, SymbolPin
from tools.sexp import Quoted, Written

_WIDTH_MM = 0.2


def effects(height_mm: float, justify: str = "", hide: bool = False) -> Written:
    """How a text is set; centred where `justify` is empty."""
    expression: list = ["effects", ["font", ["size", height_mm, height_mm]]]
    if justify:
        expression.append(["justify", justify])
    if hide:
        expression.append("hide")
    return expression


def _graphic(*head: object) -> list:
    stroke = ["stroke", ["width", _WIDTH_MM], ["type", "default"], ["color", 0, 0, 0, 0]]
    return [*head, stroke, ["fill", ["type", "none"]]]


def _pin(pin: SymbolPin) -> list:
    small = effects(1.0)
    return [
        "pin", pin.kind, "line", ["at", *pin.at, pin.towards], ["length", pin.length],
        ["name", Quoted(pin.name), small], ["number", Quoted(pin.number), small],
    ]  # fmt: skip


def library_symbol(symbol: Symbol) -> list:
    """The whole of a symbol: common graphics, then unit by unit."""
    head: list = ["symbol", Quoted(f"sagline:{symbol.name}")]
    if symbol.power:
        head.append(["power"])
    hide = [] if symbol.named else ["hide"]
    if not symbol.named:
        head.append(["pin_numbers", "hide"])
    head += [["pin_names", ["offset", 0.5], *hide], ["in_bom", "yes"], ["on_board", "yes"]]
    values = {"Reference": symbol.prefix, "Value": symbol.name, "Footprint": "", "Datasheet": "~"}
    for index, (name, value) in enumerate(values.items()):
        head.append(
            ["property", Quoted(name), Quoted(value), ["id", index], ["at", 0, 0, 0],
             effects(1.27, hide=index > 1)]
        )  # fmt: skip
    common = [
        _graphic("polyline", ["pts", *(["xy", *point] for point in line)]) for line in symbol.lines
    ]
    common += [
        _graphic("circle", ["center", *centre], ["radius", radius])
        for centre, radius in symbol.circles
    ]
    parts = [["symbol", Quoted(f"{symbol.name}_0_1"), *common]]
    for unit in sorted({*symbol.pins, *symbol.boxes, *symbol.unit_lines} - {0}):
        body = [
            _graphic("polyline", ["pts", *(["xy", *point] for point in line)])
            for line in symbol.unit_lines.get(unit, ())
        ]
        if unit in symbol.boxes:
            a, b = symbol.boxes[unit]
            body.append(_graphic("rectangle", ["start", *a], ["end", *b]))
        body += [_pin(pin) for pin in symbol.pins.get(unit, ())]
        parts.append(["symbol", Quoted(f"{symbol.name}_{unit}_1"), *body])
    return [*head, *parts]
