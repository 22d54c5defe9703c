# SPDX-License-Identifier: MIT
"""Page 4: supplies, references and the null channel."""

from __future__ import annotations

from drawing.pen import Sheet


def sheet() -> Sheet:
    s = Sheet("null", "Supplies, references and null channel", 4)
    _supplies(s)
    _reference(s)
    s.builds = "full"
    _own_reference(s)
    _chain(s)
    s.box("Full build only: null channel", (6, 37), (112, 64.8))
    return s


def _supplies(s: Sheet) -> None:
    s.box("Supplies", (6, 8), (60, 32))
    s.power("3V3", (14, 14))
    s.wire((14, 14), (14, 16), (24, 16))
    s.wire((14, 16), (14, 17))
    s.power("GND", s.two("R 2.2k", "R70", (14, 17), "down"))
    out = s.two("R 10", "R71", (24, 16), "right")
    s.wire(out, (46, 16))
    s.power("3V3A", (46, 16))
    s.point("TP4", (42, 16))
    for kind, reference, x in (("C 47u", "C31", 30), ("C 100n", "C32", 37)):
        s.wire((x, 16), (x, 17))
        s.power("GND", s.two(kind, reference, (x, 17), "down"))
    s.point("TP3", (20, 16))
    s.point("TP6", (52, 22))
    s.power("GND", (52, 22))


def _reference(s: Sheet) -> None:
    """Fed by the board's own 200 ohm from 3V3."""
    s.box("Reference: full scale of the board's converter", (64, 8), (112, 32))
    s.wire((80, 16), (98, 16))
    s.power("REF", (98, 16))
    for x in (80, 89):
        s.wire((x, 16), (x, 17))
    s.power("GND", s.two("reference 3.0", "U3", (80, 17), "down"))
    s.power("GND", s.two("C 100n", "C33", (89, 17), "down"))
    s.point("TP5", (94, 16))


def _own_reference(s: Sheet) -> None:
    s.power("3V3A", (14, 42))
    s.wire((14, 42), (14, 43))
    s.wire(s.two("R 1.2k", "R72", (14, 43), "down"), (14, 47), (44, 47))
    for kind, reference, x in (
        ("reference 2.5", "U4", 14), ("C 2.2u", "C34", 27), ("C 100n", "C35", 34),
    ):  # fmt: skip
        s.wire((x, 47), (x, 48))
        s.power("GND", s.two(kind, reference, (x, 48), "down"))
    s.power("VN", (40, 47))
    s.point("TP7", (44, 47))


def _chain(s: Sheet) -> None:
    y = 58
    s.label("NULL_PWM", (16, y), "left")
    out = s.two("R 33", "R73", (16, y), "right")
    s.wire(out, (21, y))
    gate = s.part("gate", "U5", (24, y), texts=((1.0, -2.6), (1.0, -1.7)))
    s.power("VN", gate.pin("VCC"))
    s.power("GND", gate.pin("GND"))
    s.loose(gate.pin("NC"))
    s.wire(gate.pin("Y"), (30, y))
    first = s.two("R 10k", "R74", (30, y), "right")
    s.wire(first, (41, y))
    s.wire((36, y), (36, y + 1))
    s.power("GND", s.two("C 1u", "C36", (36, y + 1), "down"))
    second = s.two("R 47k", "R75", (41, y), "right")
    s.wire(second, (61, y))
    s.wire((48, y), (48, y + 1))
    s.power("GND", s.two("C 220n", "C37", (48, y + 1), "down"))
    s.builds = "base"
    s.wire((55, y), (55, y + 1))
    s.power("GND", s.two("link", "W3", (55, y + 1), "down"))
    s.builds = "base full"
    s.part("amplifier", "U2", (64, y + 1), 4, texts=((-1.6, -2.6), (1.4, -1.6)))
    s.builds = "full"
    s.wire((61, y + 2), (60, y + 2), (60, y + 5), (69, y + 5), (69, y + 1))
    s.wire((67, y + 1), (71, y + 1))
    out = s.two("R 220", "R76", (71, y + 1), "right")
    s.wire(out, (84, y + 1))
    s.wire((77, y + 1), (77, y + 2))
    s.power("GND", s.two("C 10n", "C38", (77, y + 2), "down"))
    s.label("N_PIN", (84, y + 1))
    s.note("VN, U5, C34 to C37 and the dividers' feet meet at one point of ground", (48, 44))
    s.note("W3 in the base build alone: U2's input must not float", (14, 68))
