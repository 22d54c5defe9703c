# SPDX-License-Identifier: MIT
"""What a symbol is: graphics and pins, in millimetres about its origin, y upwards."""

from __future__ import annotations

from dataclasses import dataclass, field

Point = tuple[float, float]


@dataclass(frozen=True)
class SymbolPin:
    """`at` is where a wire meets it, `towards` the degrees in which it runs to the body."""

    number: str
    name: str
    at: Point
    towards: int
    length: float
    kind: str = "passive"


@dataclass(frozen=True)
class Symbol:
    """Graphics and pins by unit; unit 0 is common to all. Pin names are drawn if `named`."""

    name: str
    prefix: str
    pins: dict[int, tuple[SymbolPin, ...]]
    lines: tuple[tuple[Point, ...], ...] = ()
    circles: tuple[tuple[Point, float], ...] = ()
    named: bool = False
    power: bool = False
    boxes: dict[int, tuple[Point, Point]] = field(default_factory=dict)
    unit_lines: dict[int, tuple[tuple[Point, ...], ...]] = field(default_factory=dict)

    def pin(self, unit: int, name: str) -> SymbolPin:
        """A unit's pin by name or number. Raises KeyError."""
        for pin in (*self.pins.get(0, ()), *self.pins.get(unit, ())):
            if name in (pin.name, pin.number):
                return pin
        raise KeyError(f"{self.name} unit {unit} has no pin {name}")
