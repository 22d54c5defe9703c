# SPDX-License-Identifier: MIT
"""Symbols that are boxes with named pins: the board and the converter of 16 bits.

Pin numbers are those of the makers' data sheets.
"""

from __future__ import annotations

from drawing.symbol import Symbol, SymbolPin

_IO, _IN, _OUT, _NEEDS, _GIVES = "bidirectional", "input", "output", "power_in", "power_out"


def _rows(side: str, entries: list[tuple[str, str, str] | None], x: float, top: float):
    """Pins one below another at 2.54 mm on a side of a box; None leaves a place empty."""
    towards = 0 if side == "left" else 180
    return tuple(
        SymbolPin(entry[0], entry[1], (x, top - 2.54 * row), towards, 5.08, entry[2])
        for row, entry in enumerate(entries)
        if entry is not None
    )


_PICO_LEFT = [
    "GP0", "GP1", "GND", "GP2", "GP3", "GP4", "GP5", "GND",
    "GP6", "GP7", "GP8", "GP9", "GND", "GP10", "GP11", "GP12",
    "GP13", "GND", "GP14", "GP15",
]  # fmt: skip
# From pin 40 down to pin 21.
_PICO_RIGHT = [
    "VBUS", "VSYS", "GND", "3V3_EN", "3V3", "ADC_VREF", "GP28", "AGND",
    "GP27", "GP26", "RUN", "GP22", "GND", "GP21", "GP20", "GP19",
    "GP18", "GND", "GP17", "GP16",
]  # fmt: skip


def _pico_kind(name: str) -> str:
    if name in ("GND", "AGND"):
        return _NEEDS
    # The board's own reference input: 200 ohm from its 3V3.
    kinds = {"VBUS": _GIVES, "VSYS": "passive", "3V3": _GIVES, "ADC_VREF": "passive"}
    return kinds.get(name, _IN if name in ("3V3_EN", "RUN") else _IO)


CHIPS = (
    Symbol(
        "ADS1115",
        "U",
        {
            1: _rows(
                "left",
                [(str(4 + n), f"AIN{n}", _IN) for n in range(4)],
                -12.7,
                3.81 + 1.27,
            )
            + _rows(
                "right",
                [
                    ("8", "VDD", _NEEDS),
                    ("9", "SDA", _IO),
                    ("10", "SCL", _IN),
                    ("2", "RDY", "open_collector"),
                    ("1", "ADDR", _IN),
                    ("3", "GND", _NEEDS),
                ],
                12.7,
                5.08,
            )
        },
        boxes={1: ((-7.62, 7.62), (7.62, -10.16))},
        named=True,
    ),
    Symbol(
        "PICO",
        "U",
        {
            1: _rows(
                "left",
                [(str(n + 1), name, _pico_kind(name)) for n, name in enumerate(_PICO_LEFT)],
                -17.78,
                25.4,
            )
            + _rows(
                "right",
                [(str(40 - n), name, _pico_kind(name)) for n, name in enumerate(_PICO_RIGHT)],
                17.78,
                25.4,
            )
        },
        boxes={1: ((-12.7, 27.94), (12.7, -25.4))},
        named=True,
    ),
)
