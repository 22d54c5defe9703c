# SPDX-License-Identifier: MIT
"""Page 2: the way of the load current, its four loads and their switches, ARM, ground tie."""

from __future__ import annotations

from drawing.pen import Sheet

_LOADS = ("3.3", "15", "68", "470")
_RAIL_Y, _BANK_Y, _RETURN_Y, _GROUND_Y = 12, 30, 42, 54
_FIRST_X, _NEXT_X = 42, 17


def sheet() -> Sheet:
    s = Sheet("force", "Force path, loads and ARM", 2)
    _positive(s)
    for index, value in enumerate(_LOADS):
        s.builds = "base full" if index == 0 else "full"
        _load(s, index + 1, value, _FIRST_X + _NEXT_X * index)
    s.builds = "base full"
    _arm_switch(s)
    _tie(s)
    _sense_leads(s)
    s.builds = "full"
    _pump(s)
    s.box("Full build only: loads 2 to 4", (47, 7), (98, 28))
    s.box("Full build only: ARM's pump", (50, 44), (112, 64.6))
    s.note("W1 in the base build alone, in place of Q5", (66, 38))
    s.note("Load current: thick wire, 0.75 mm2 or more, FP to RET", (10, 6))
    return s


def _positive(s: Sheet) -> None:
    s.part("clip", "J1", (8, _RAIL_Y), texts=((-1.5, -2.2), (-1.5, -1.3), (0.6, -1.3)))
    s.note("Force +", (6, 14))
    s.wire((10, _RAIL_Y), (12, _RAIL_Y))
    fused = s.two("fuse force", "F1", (12, _RAIL_Y), "right")
    # Its cathode, pin 1, towards the rail.
    anode = s.two("blocking", "D1", (24, _RAIL_Y), "left")
    s.wire(fused, anode)
    last_x = _FIRST_X + 3 * _NEXT_X
    s.wire((24, _RAIL_Y), (last_x + 6, _RAIL_Y))
    s.label("FP", (last_x + 6, _RAIL_Y))
    s.point("TP1", (32, _RAIL_Y))
    s.wire((27, _RAIL_Y), (27, 14))
    s.two("C 100n", "C1", s.two("R 10", "R1", (27, 14), "down"), "down")
    s.wire((27, 20), (27, _RETURN_Y))


def _load(s: Sheet, number: int, value: str, x: float) -> None:
    """Resistor and diode from the rail, switch below, its gate to the left."""
    s.wire((x, _RAIL_Y), (x, 14))
    s.two(f"load {value}", f"R{10 + number}", (x, 14), "down")
    s.wire((x - 4, _RAIL_Y), (x - 4, 14))
    s.two("freewheel", f"D{10 + number}", (x - 4, 14), "down", "left")
    s.wire((x - 4, 17), (x - 4, 18), (x, 18))
    s.wire((x, 17), (x, 20))
    s.part("switch", f"Q{number}", (x - 1, 22))
    s.wire((x, 24), (x, _BANK_Y))
    if number > 1:
        s.wire((x - _NEXT_X, _BANK_Y), (x, _BANK_Y))
    far = s.two("R 1k", f"R{20 + number}", (x - 3, 22), "left")
    s.wire(far, (x - 8, 22))
    s.label(f"GATE{number}", (x - 8, 22), "left")
    s.wire((x - 7, 22), (x - 7, 23))
    s.power("GND", s.two("R 4.7k", f"R{30 + number}", (x - 7, 23), "down", "left"))


def _arm_switch(s: Sheet) -> None:
    x = 106
    last_x = _FIRST_X + 3 * _NEXT_X
    s.wire((last_x, _BANK_Y), (x, _BANK_Y), (x, 32))
    s.builds = "full"
    s.part("switch", "Q5", (x - 1, 34), texts=((-2.7, 2.6), (-2.7, 3.5)))
    s.wire((x, 36), (x, _RETURN_Y))
    s.wire((x - 3, 34), (x - 7, 34))
    s.label("ARM_GATE", (x - 7, 34), "left")
    s.wire((x - 5, 34), (x - 5, 35))
    s.power("GND", s.two("R 100k", "R15", (x - 5, 35), "down", "left"))
    s.builds = "base"
    s.wire((x, _BANK_Y), (110, _BANK_Y), (110, 32))
    s.two("link", "W1", (110, 32), "down", "left")
    s.wire((110, 35), (110, _RETURN_Y))
    s.builds = "base full"


def _tie(s: Sheet) -> None:
    s.part("clip", "J2", (8, _RETURN_Y), texts=((-1.5, -2.2), (-1.5, -1.3), (0.6, -1.3)))
    s.note("Force -", (6, _RETURN_Y + 2))
    s.wire((10, _RETURN_Y), (110, _RETURN_Y))
    s.wire((18, _RETURN_Y), (18, 39))
    s.label("RET", (18, 39))
    s.point("TP2", (14, _RETURN_Y))
    for x in (22, 30, 38):
        s.wire((x, _RETURN_Y), (x, 44))
    s.wire(s.two("R 10k", "R2", (22, 44), "down"), (22, _GROUND_Y))
    s.wire(s.two("C 100n", "C2", s.two("R 22", "R3", (30, 44), "down"), "down"), (30, _GROUND_Y))
    # Anode at ground: ground never lifts the return node.
    s.wire(s.two("freewheel", "D2", (38, 44), "down"), (38, _GROUND_Y))
    s.wire((22, _GROUND_Y), (38, _GROUND_Y))
    s.power("GND", (30, _GROUND_Y))
    s.note("Ground tie: the only way from RET to ground", (12, _GROUND_Y + 4))


def _sense_leads(s: Sheet) -> None:
    s.part("clip", "J3", (8, 64), texts=((-1.5, -2.2), (-1.5, -1.3), (0.6, -1.3)))
    s.note("Sense +", (6, 66))
    s.wire((10, 64), (12, 64))
    far = s.two("divider 18k", "R41", (12, 64), "right")
    s.wire(far, (18, 64))
    s.label("SENSE_P", (18, 64))
    s.part("clip", "J4", (8, 71), texts=((-1.5, -2.2), (-1.5, -1.3), (0.6, -1.3)))
    s.note("Sense -", (6, 73))
    s.wire((10, 71), (12, 71))
    far = s.two("fuse sense", "F2", (12, 71), "right")
    s.wire(far, (20, 71))
    s.power("GND", (20, 71))
    s.note("R41 and F2 sit at their clips", (12, 76))


def _pump(s: Sheet) -> None:
    """Edges carry charge into C11; while it holds, Q6 keeps Q7 off and ARM's gate high."""
    y = 60
    s.label("ARM", (54, y), "left")
    s.wire(s.two("R 220", "R16", (54, y), "right"), (58, y))
    at = s.two("C 22n", "C10", (58, y), "right")
    s.part("pump diodes", "D15", (at[0] + 2, y), texts=((1.2, -0.45), (1.2, 0.45)))
    x = at[0] + 2
    s.power("GND", (x, y + 2))
    s.wire((x, y - 2), (x, y - 4), (x + 21, y - 4))
    for kind, reference, column in (("C 100n film", "C11", x + 7), ("R 1.5M", "R17", x + 14)):
        s.wire((column, y - 4), (column, y - 3))
        s.power("GND", s.two(kind, reference, (column, y - 3), "down"))
    base = s.two("R 1M", "R18", (x + 21, y - 4), "right")
    s.point("TP9", (x + 18, y - 4))
    s.part("npn", "Q6", (base[0] + 2, y - 4))
    x = base[0] + 3
    s.power("GND", (x, y - 2))
    s.wire((x, y - 6), (x, y - 7))
    s.power("3V3", (x, y - 10))
    s.two("R 220k", "R19", (x, y - 10), "down", "left")
    s.wire((x, y - 7), (x + 9, y - 7))
    s.part("npn", "Q7", (x + 11, y - 7))
    x += 12
    s.power("GND", (x, y - 5))
    s.wire((x, y - 9), (x + 4, y - 9))
    s.power("3V3", (x + 2, y - 13))
    s.wire(s.two("R 4.7k", "R20", (x + 2, y - 13), "down"), (x + 2, y - 9))
    s.label("ARM_GATE", (x + 4, y - 9))
