# SPDX-License-Identifier: MIT
"""Page 3: sense, force and return, each a divider, a clamp, a follower and a filter."""

from __future__ import annotations

from drawing.pen import Sheet

_LEFT = 14


def sheet() -> Sheet:
    s = Sheet("channels", "Channels: dividers, followers, range", 3)
    _channel(s, 14, 1, "SENSE_P", "divider 82k", "S_PIN")
    _channel(s, 37, 2, "FP", "divider 100k", "F_PIN")
    _return(s, 60)
    _range(s)
    _supply(s)
    s.note("Sense", (5, 8), 2.0)
    s.note("Force", (5, 31), 2.0)
    s.note("Return", (5, 54), 2.0)
    return s


def _channel(s: Sheet, y: float, number: int, tap: str, top: str, pin: str) -> None:
    x = _LEFT
    tens = 40 + 10 * (number - 1)
    s.label(tap, (x, y), "left")
    node = s.two(top, f"R{tens + 2}", (x, y), "right")
    s.wire(node, (x + 30, y))
    _lift(s, x + 7, y, "divider 1M", f"R{tens + 3}")
    s.wire((x + 7, y), (x + 7, y + 1))
    s.power("GND", s.two("divider 75k", f"R{tens + 4}", (x + 7, y + 1), "down"))
    s.wire((x + 13, y), (x + 13, y + 1))
    leg = s.two("divider 16k", f"R{tens + 5}", (x + 13, y + 1), "down")
    s.wire(leg, (x + 13, y + 6))
    s.part("range switch", f"Q{7 + number}", (x + 12, y + 8))
    s.label("RANGE_GATE", (x + 10, y + 8), "left")
    s.power("GND", (x + 13, y + 10))
    _capacitor(s, x + 19, y, f"C{20 + number}")
    _clamp(s, x + 24, y, f"D{20 + number}")
    _follower(s, x + 30, y, number, f"R{tens + 6}", f"C{24 + number}", pin)


def _return(s: Sheet, y: float) -> None:
    x = _LEFT
    s.label("RET", (x, y), "left")
    node = s.two("divider 22k", "R62", (x, y), "right")
    s.wire(node, (x + 30, y))
    _lift(s, x + 7, y, "divider 220k", "R63")
    _capacitor(s, x + 19, y, "C23")
    _clamp(s, x + 24, y, "D23")
    _follower(s, x + 30, y, 3, "R66", "C27", "R_PIN")


def _lift(s: Sheet, x: float, y: float, kind: str, reference: str) -> None:
    s.power("REF", (x, y - 4))
    s.wire(s.two(kind, reference, (x, y - 4), "down"), (x, y))


def _capacitor(s: Sheet, x: float, y: float, reference: str) -> None:
    s.wire((x, y), (x, y + 1))
    s.power("GND", s.two("C 100p", reference, (x, y + 1), "down"))


def _clamp(s: Sheet, x: float, y: float, reference: str) -> None:
    s.wire((x, y), (x, y + 7))
    s.part("clamp", reference, (x + 2, y + 7), texts=((1.0, -0.45), (1.0, 0.45)))
    s.power("3V3A", (x + 2, y + 5))
    s.power("GND", (x + 2, y + 9))


def _follower(s: Sheet, x: float, y: float, unit: int, resistor: str, capacitor: str, pin: str):
    """From the node at (x, y) to the converter's pin."""
    s.part("amplifier", "U2", (x + 5, y + 1), unit, texts=((-1.6, -2.6), (1.4, -1.6)))
    s.wire((x, y), (x + 2, y))
    s.wire((x + 2, y + 2), (x + 1, y + 2), (x + 1, y + 5), (x + 9, y + 5), (x + 9, y + 1))
    s.wire((x + 8, y + 1), (x + 11, y + 1))
    out = s.two("R 220", resistor, (x + 11, y + 1), "right")
    s.wire(out, (x + 19, y + 1))
    s.wire((x + 16, y + 1), (x + 16, y + 2))
    s.power("GND", s.two("C 10n", capacitor, (x + 16, y + 2), "down"))
    s.label(pin, (x + 19, y + 1))


def _range(s: Sheet) -> None:
    """Pulled up: a pin that floats means the range that bears most."""
    s.box("Range: low volts on RANGE choose the low range", (76, 8), (112, 26))
    s.label("RANGE", (84, 18), "left")
    out = s.two("R 1k", "R60", (84, 18), "right")
    s.wire(out, (94, 18))
    s.label("RANGE_GATE", (94, 18))
    s.power("3V3", (91, 14))
    s.wire(s.two("R 100k", "R61", (91, 14), "down"), (91, 18))
    s.point("TP8", (88, 18))


def _supply(s: Sheet) -> None:
    s.box("Followers' supply", (76, 32), (112, 52))
    s.part("amplifier", "U2", (88, 42), 5, texts=((1.6, -0.45), (1.6, 0.45)))
    s.wire((88, 39), (88, 37), (99, 37))
    s.power("3V3A", (88, 37))
    s.power("GND", (88, 45))
    s.wire((99, 37), (99, 40))
    s.power("GND", s.two("C 100n", "C28", (99, 40), "down"))
