# SPDX-License-Identifier: MIT
"""Symbols of our own, so that the drawing needs no library beside it.

Millimetres about the symbol's origin, y upwards, as KiCad keeps them. Pins end on a grid of
2.54 mm, but for parts with two pins: theirs end 3.81 mm above and below the middle.
"""

from __future__ import annotations

from drawing.chips import CHIPS
from drawing.symbol import Symbol, SymbolPin


def _two(name: str, prefix: str, lead: float, names: tuple[str, str], *lines, circles=(), box=None):
    pins = (
        SymbolPin("1", names[0], (0, 3.81), 270, lead),
        SymbolPin("2", names[1], (0, -3.81), 90, lead),
    )
    boxes = {} if box is None else {1: box}
    return Symbol(name, prefix, {1: pins}, tuple(lines), tuple(circles), boxes=boxes)


_PLAIN = ("~", "~")
_TRIANGLE = ((-1.27, -1.27), (1.27, -1.27), (0, 1.27), (-1.27, -1.27))


_IN, _OUT, _NEEDS = "input", "output", "power_in"


def _amplifier(inverting: str, plus: str, out: str) -> tuple[SymbolPin, ...]:
    return (
        SymbolPin(plus, "+", (-7.62, 2.54), 0, 2.54, _IN),
        SymbolPin(inverting, "-", (-7.62, -2.54), 0, 2.54, _IN),
        SymbolPin(out, "out", (7.62, 0), 180, 2.54, _OUT),
    )


_AMPLIFIER_LINES = (
    ((-5.08, 5.08), (-5.08, -5.08), (5.08, 0), (-5.08, 5.08)),
    ((-4.57, 2.54), (-3.3, 2.54)),
    ((-3.94, 3.18), (-3.94, 1.9)),
    ((-4.57, -2.54), (-3.3, -2.54)),
)


def _power(name: str, *lines) -> Symbol:
    pin = SymbolPin("1", name, (0, 0), 90, 0, _NEEDS)
    return Symbol(name, "#PWR", {1: (pin,)}, lines, power=True)


_RAIL = (((0, 0), (0, 2.54)), ((-1.27, 2.54), (1.27, 2.54)))

SYMBOLS = {
    symbol.name: symbol
    for symbol in (
        _two("R", "R", 1.27, _PLAIN, box=((-1.016, -2.54), (1.016, 2.54))),
        # A resistor with the slanted line of one that heat changes.
        _two(
            "NTC", "TH", 1.27, _PLAIN, ((-2.0, -1.9), (-2.0, -1.0), (2.0, 1.9)),
            box=((-1.016, -2.54), (1.016, 2.54)),
        ),
        _two("C", "C", 3.17, _PLAIN, ((-2, 0.64), (2, 0.64)), ((-2, -0.64), (2, -0.64))),
        _two(
            "F", "F", 1.27, _PLAIN, ((0, 2.54), (0, -2.54)), box=((-0.762, -2.54), (0.762, 2.54))
        ),
        # Two contacts and the bridge beside them.
        _two(
            "LINK", "W", 1.9, _PLAIN, ((0.9, 1.9), (0.9, -1.9)),
            circles=(((0, 1.4), 0.5), ((0, -1.4), 0.5)),
        ),
        # Pin 1 is the cathode.
        _two(
            "D_SCHOTTKY", "D", 2.54, ("K", "A"), _TRIANGLE,
            ((-1.27, 0.76), (-1.9, 0.76), (-1.9, 1.27), (1.9, 1.27), (1.9, 1.78), (1.27, 1.78)),
        ),
        _two(
            "REFERENCE", "U", 2.54, ("K", "A"), _TRIANGLE,
            ((-1.9, 0.6), (-1.27, 1.27), (1.27, 1.27), (1.9, 1.9)),
        ),
        # Two diodes in series and the joint between them, as in a package with three leads.
        Symbol(
            "D_SERIES",
            "D",
            {
                1: (
                    SymbolPin("1", "A", (0, -5.08), 90, 1.27),
                    SymbolPin("2", "K", (0, 5.08), 270, 1.27),
                    SymbolPin("3", "COM", (-5.08, 0), 0, 5.08),
                )
            },
            lines=(
                ((0, 3.81), (0, -3.81)),
                ((-1.0, 1.27), (1.0, 1.27), (0, 3.05), (-1.0, 1.27)),
                ((-1.0, 3.05), (1.0, 3.05)),
                ((-1.0, -3.05), (1.0, -3.05), (0, -1.27), (-1.0, -3.05)),
                ((-1.0, -1.27), (1.0, -1.27)),
            ),
            circles=(((0, 0), 0.25),),
        ),
        Symbol(
            "NMOS",
            "Q",
            {
                1: (
                    SymbolPin("1", "G", (-5.08, 0), 0, 5.08, _IN),
                    SymbolPin("2", "S", (2.54, -5.08), 90, 2.54),
                    SymbolPin("3", "D", (2.54, 5.08), 270, 2.54),
                )
            },
            lines=(
                ((0, 1.9), (0, -1.9)),
                ((0.7, 2.4), (0.7, 1.4)),
                ((0.7, 0.5), (0.7, -0.5)),
                ((0.7, -1.4), (0.7, -2.4)),
                ((0.7, 1.9), (2.54, 1.9), (2.54, 2.54)),
                ((0.7, -1.9), (2.54, -1.9), (2.54, -2.54)),
                ((0.7, 0), (2.54, 0), (2.54, -1.9)),
                ((1.7, 0.5), (0.8, 0), (1.7, -0.5)),
            ),
        ),
        Symbol(
            "NPN",
            "Q",
            {
                1: (
                    SymbolPin("1", "C", (2.54, 5.08), 270, 2.54),
                    SymbolPin("2", "B", (-5.08, 0), 0, 5.08, _IN),
                    SymbolPin("3", "E", (2.54, -5.08), 90, 2.54),
                )
            },
            lines=(
                ((0, 2.2), (0, -2.2)),
                ((0, 0.7), (2.54, 2.54)),
                ((0, -0.7), (2.54, -2.54)),
                ((1.0, -2.1), (2.2, -2.3), (1.7, -1.2)),
            ),
        ),
        Symbol(
            "QUAD_AMPLIFIER",
            "U",
            {
                1: _amplifier("2", "3", "1"),
                2: _amplifier("6", "5", "7"),
                3: _amplifier("9", "10", "8"),
                4: _amplifier("13", "12", "14"),
                5: (
                    SymbolPin("4", "V+", (0, 7.62), 270, 5.08, _NEEDS),
                    SymbolPin("11", "V-", (0, -7.62), 90, 5.08, _NEEDS),
                ),
            },
            unit_lines={unit: _AMPLIFIER_LINES for unit in (1, 2, 3, 4)},
            boxes={5: ((-2.54, -2.54), (2.54, 2.54))},
        ),
        Symbol(
            "GATE",
            "U",
            {
                1: (
                    SymbolPin("2", "A", (-7.62, 0), 0, 3.81, _IN),
                    SymbolPin("4", "Y", (7.62, 0), 180, 3.81, _OUT),
                    SymbolPin("5", "VCC", (0, 7.62), 270, 5.7, _NEEDS),
                    SymbolPin("3", "GND", (0, -7.62), 90, 5.7, _NEEDS),
                    SymbolPin("1", "NC", (-7.62, -5.08), 0, 2.54, "no_connect"),
                )
            },
            lines=(((-3.81, 3.81), (-3.81, -3.81), (3.81, 0), (-3.81, 3.81)),),
        ),
        *CHIPS,
        Symbol(
            "CLIP",
            "J",
            {1: (SymbolPin("1", "~", (5.08, 0), 180, 3.81),)},
            circles=(((0, 0), 1.27),),
        ),
        Symbol(
            "TEST_POINT",
            "TP",
            {1: (SymbolPin("1", "~", (0, 0), 90, 1.27),)},
            circles=(((0, 1.9), 0.63),),
        ),
        _power(
            "GND", ((0, 0), (0, -1.27)),
            ((-1.27, -1.27), (1.27, -1.27)), ((-0.8, -1.9), (0.8, -1.9)),
            ((-0.3, -2.5), (0.3, -2.5)),
        ),
        *(_power(name, *_RAIL) for name in ("3V3", "3V3A", "REF", "VN")),
    )
}  # fmt: skip
