# SPDX-License-Identifier: MIT
"""Page 6: the thermistor at the cell, which may be left out, with a converter of its own."""

from __future__ import annotations

from drawing.pen import Sheet


def sheet() -> Sheet:
    s = Sheet("thermistor", "Thermistor at the cell", 6)
    s.builds = "full"
    s.box("Full build, may be left out: the cell's temperature", (12, 10), (104, 44))
    s.power("3V3A", (26, 18))
    s.wire((26, 18), (26, 19))
    s.wire((26, 19), (40, 19), (40, 27))
    node = s.two("divider 10k", "R90", (26, 19), "down")
    s.wire(node, (26, 26), (46, 26))
    bead = s.two("thermistor", "TH1", (26, 27), "down")
    s.wire((26, 26), (26, 27))
    s.power("GND", bead)
    s.wire((35, 26), (35, 28))
    s.power("GND", s.two("C 10n", "C91", (35, 28), "down"))
    adc = s.part("adc", "U7", (66, 28), texts=((-2.6, -4.6), (-2.6, -3.6), (1.0, -3.6)))
    s.wire((46, 26), adc.pin("AIN0"))
    x, y = adc.pin("AIN1")
    s.wire((40, 27), (x, y))
    for name in ("AIN2", "AIN3"):
        s.label("GND", adc.pin(name), "left")
    x, y = adc.pin("VDD")
    s.wire((x, y), (x + 2, y), (x + 2, y - 2))
    s.power("3V3A", (x + 2, y - 2))
    x, y = adc.pin("GND")
    s.wire((x, y), (x, y + 2))
    s.power("GND", (x, y + 2))
    at = adc.pin("ADDR")
    s.label("3V3A", at, "right")
    for name in ("SDA", "SCL"):
        at = adc.pin(name)
        s.wire(at, (at[0] + 4, at[1]))
        s.label(name, (at[0] + 4, at[1]))
    s.loose(adc.pin("RDY"))
    s.power("3V3A", (92, 32))
    s.power("GND", s.two("C 100n", "C92", (92, 32), "down"))
    s.note("TH1: an insulated bead on two wires, taped to the cell's middle", (14, 40))
    s.note("U7's address pin is at its supply: 0x49, beside U6", (56, 42))
    return s
