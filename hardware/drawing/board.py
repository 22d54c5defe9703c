# SPDX-License-Identifier: MIT
"""Page 5: the board with the firmware, and the converter of 16 bits."""

from __future__ import annotations

from drawing.pen import Placed, Sheet

# Header pin's name to the net it is on; what is not here stays unconnected.
NETS = {
    "GP2": "GATE1", "GP3": "GATE2", "GP4": "GATE3", "GP5": "GATE4",
    "GP6": "ARM", "GP7": "RANGE",
    "GP8": "SDA", "GP9": "SCL", "GP10": "RDY", "GP11": "NULL_PWM",
    "GP13": "BUILD", "GP15": "JUMPER",
    "GP26": "S_PIN", "GP27": "F_PIN", "GP28": "R_PIN",
    "ADC_VREF": "REF",
}  # fmt: skip


def sheet() -> Sheet:
    s = Sheet("board", "Board and converter", 5)
    board = s.part("board", "U1", (32, 34), texts=((-4.8, -12.5), (-1.0, -12.5), (1.6, -12.5)))
    for pin in board.symbol.pins[1]:
        _header(s, board, pin.number, pin.name)
    s.label("JUMPER", (18, 62), "left")
    s.power("GND", s.two("jumper", "W2", (18, 62), "down"))
    s.note("W2 fitted: the firmware does not start", (8, 72))
    s.power("3V3A", (40, 58))
    s.two("R 10k", "R84", (40, 58), "down")
    s.label("BUILD", (40, 61), "left")
    s.builds = "base"
    s.wire((40, 61), (40, 63))
    s.power("GND", s.two("link", "W4", (40, 63), "down"))
    s.builds = "base full"
    s.note("W4 in the base build alone: it tells the firmware", (34, 73))
    s.builds = "full"
    _converter(s)
    return s


def _header(s: Sheet, board: Placed, number: str, name: str) -> None:
    at = board.pin(number)
    left = at[0] < board.at[0]
    out = (at[0] + (-1 if left else 1), at[1])
    if name in NETS:
        s.label(NETS[name], at, "left" if left else "right")
    elif name in ("GND", "AGND"):
        # Beside the pin there is no room for the symbol between two labels.
        s.label("GND", at, "left" if left else "right")
    elif name == "3V3":
        s.wire(at, out)
        s.label("3V3", out, "right")
    else:
        s.loose(at)


def _converter(s: Sheet) -> None:
    s.box("Full build only: converter of 16 bits", (62, 8), (112, 58))
    adc = s.part("adc", "U6", (86, 30), texts=((-2.6, -4.6), (-2.6, -3.6), (1.0, -3.6)))
    for name, net in zip(
        ("AIN0", "AIN1", "AIN2", "AIN3"), ("S_PIN", "F_PIN", "R_PIN", "N_PIN"), strict=True
    ):
        s.label(net, adc.pin(name), "left")
    x, y = adc.pin("VDD")
    s.wire((x, y), (x + 2, y), (x + 2, y - 2))
    s.power("3V3A", (x + 2, y - 2))
    x, y = adc.pin("GND")
    s.wire((x, y), (x, y + 2))
    s.wire(adc.pin("ADDR"), (x + 2, y - 1), (x + 2, y), (x, y))
    s.power("GND", (x, y + 2))
    for name, net in (("SDA", "SDA"), ("SCL", "SCL"), ("RDY", "RDY")):
        at = adc.pin(name)
        s.wire(at, (at[0] + 4, at[1]))
        s.label(net, (at[0] + 4, at[1]))
    for index, (net, kind, reference) in enumerate(
        (("SDA", "R 4.7k", "R81"), ("SCL", "R 4.7k", "R82"), ("RDY", "R 10k", "R83"))
    ):
        column = 74 + 9 * index
        s.power("3V3A", (column, 46))
        at = s.two(kind, reference, (column, 46), "down")
        s.wire(at, (column, 51))
        s.label(net, (column, 51), "left")
    s.power("3V3A", (104, 46))
    s.power("GND", s.two("C 100n", "C39", (104, 46), "down"))
