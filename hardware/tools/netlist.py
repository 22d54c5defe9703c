# SPDX-License-Identifier: MIT
"""The netlist that a KiCad schematic means: parts with their fields, nets with their pins.

Reads files of KiCad 6 and newer, as far as the rig's drawing goes: wires, junctions, global
labels, power symbols, parts of several units, pages in one level below the root. A wire, a pin
or a label meets another where their ends coincide, or where a label or a wire's end lies upon a
wire. Buses, local and hierarchical labels and mirrored symbols are refused, not overlooked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from tools.geometry import Joints, Point, pin_points
from tools.sexp import Expression, every, first, numbers, read

_RATING = re.compile(r"^(\w+) ([\d.]+) (\S+)$")
_PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
_VALUE = re.compile(r"^([\d.]+)([pnumkM]?)$")
_REFUSED = ("label", "hierarchical_label", "bus", "bus_entry")

Node = tuple[str, str]
"""Reference and pin number."""


@dataclass(frozen=True)
class Pin:
    """One pin of a part; `kind` is KiCad's electrical type."""

    number: str
    name: str
    kind: str


@dataclass(frozen=True)
class Part:
    """One part, whatever number of units it is drawn in; `fields` as on the drawing."""

    reference: str
    symbol: str
    fields: dict[str, str]
    pins: dict[str, Pin] = field(default_factory=dict)

    @property
    def value(self) -> str:
        """The value without its tolerance."""
        return self.fields["Value"].split()[0]

    @property
    def tolerance(self) -> float | None:
        """Relative, None where the drawing gives none."""
        words = self.fields["Value"].split()
        return float(words[1].rstrip("%")) / 100.0 if len(words) > 1 else None

    @property
    def number(self) -> float:
        """The value in ohms or farads. Raises ValueError where it is no number."""
        match = _VALUE.match(self.value)
        if match is None:
            raise ValueError(f"{self.reference}: {self.value} is no number")
        return float(match[1]) * _PREFIX[match[2]]

    @property
    def rating(self) -> dict[str, float]:
        """Quantity to number, in the units that stand in the field. Raises ValueError."""
        found = {}
        for text in filter(None, self.fields.get("Rating", "").split(", ")):
            match = _RATING.match(text)
            if match is None:
                raise ValueError(f"{self.reference}: no rating: {text!r}")
            found[match[1]] = float(match[2])
        return found

    @property
    def builds(self) -> tuple[str, ...]:
        """The builds in which it is fitted."""
        return tuple(self.fields["Builds"].split())


@dataclass(frozen=True)
class Netlist:
    """Parts by reference, nets by name, and the pins that are unconnected on purpose."""

    parts: dict[str, Part]
    nets: dict[str, frozenset[Node]]
    loose: frozenset[Node] = frozenset()

    def net(self, reference: str, pin: str) -> str | None:
        """The net of a pin, by number or, where that is one pin's alone, by name.

        Raises KeyError for a pin that the part has not.
        """
        number = self.pin(reference, pin).number
        for name, nodes in self.nets.items():
            if (reference, number) in nodes:
                return name
        return None

    def pin(self, reference: str, pin: str) -> Pin:
        """A pin by number or name. Raises KeyError."""
        pins = self.parts[reference].pins
        if pin in pins:
            return pins[pin]
        named = [each for each in pins.values() if each.name == pin]
        if len(named) != 1:
            raise KeyError(f"{reference} has {len(named)} pins {pin}")
        return named[0]

    def ends(self, reference: str) -> tuple[str | None, str | None]:
        """The nets of a part's pins 1 and 2."""
        return self.net(reference, "1"), self.net(reference, "2")

    def on(self, net: str | None, symbol: str = "") -> list[str]:
        """References of the parts (of one symbol) that have a pin on a net, in order."""
        nodes = self.nets.get(net or "", frozenset())
        return sorted(
            {ref for ref, _ in nodes if not symbol or self.parts[ref].symbol == symbol}, key=order
        )

    def between(self, a: str | None, b: str | None, symbol: str = "") -> list[str]:
        """Parts that have a pin on each of two nets."""
        return [ref for ref in self.on(a, symbol) if ref in self.on(b, symbol)]

    def build(self, name: str) -> Netlist:
        """The netlist of one build: parts that are left out are gone, nets of them too."""
        parts = {ref: part for ref, part in self.parts.items() if name in part.builds}
        nets = {}
        for net, nodes in self.nets.items():
            left = frozenset(node for node in nodes if node[0] in parts)
            if left:
                nets[net] = left
        return Netlist(parts, nets, frozenset(node for node in self.loose if node[0] in parts))


def order(reference: str) -> tuple[str, int]:
    """Letters, then the number as a number."""
    letters = reference.rstrip("0123456789")
    return letters, int(reference[len(letters) :] or 0)


def load(path: Path) -> Netlist:
    """The netlist of a root file and its pages.

    Raises ValueError where the drawing uses what this reader does not know, or contradicts
    itself: two values of one part, or two names for one net.
    """
    root = read(path.read_text(encoding="utf-8"))
    pages = [path.name]
    for sheet in every(root, "sheet"):
        names = {str(each[1]): str(each[2]) for each in every(sheet, "property")}
        pages.append(names.get("Sheet file") or names["Sheetfile"])
    return collect(read((path.parent / page).read_text(encoding="utf-8")) for page in pages)


def collect(pages: Iterable[Expression]) -> Netlist:
    """The netlist of pages that are read already; raises as `load`."""
    parts: dict[str, Part] = {}
    joints = Joints()
    for index, page in enumerate(pages):
        _page(index, page, parts, joints)
    nets, loose = joints.nets()
    return Netlist(parts, nets, loose)


def _page(index: int, page: Expression, parts: dict[str, Part], joints: Joints) -> None:
    for name in _REFUSED:
        if any(every(page, name)):
            raise ValueError(f"this reader knows no {name}")
    library = {str(symbol[1]): symbol for symbol in every(first(page, "lib_symbols"), "symbol")}
    for wire in every(page, "wire"):
        a, b = (tuple(numbers(xy)) for xy in every(first(wire, "pts"), "xy"))
        joints.wire(index, _point(a), _point(b))
    for label in every(page, "global_label"):
        joints.name(index, _point(numbers(first(label, "at"))), str(label[1]))
    for mark in every(page, "no_connect"):
        joints.loose(index, _point(numbers(first(mark, "at"))))
    for symbol in every(page, "symbol"):
        if any(every(symbol, "mirror")):
            raise ValueError("this reader knows no mirrored symbol")
        _symbol(index, symbol, library, parts, joints)


def _symbol(index, symbol, library, parts: dict[str, Part], joints: Joints) -> None:
    lib_id = str(first(symbol, "lib_id")[1])
    fields = {str(each[1]): str(each[2]) for each in every(symbol, "property")}
    unit = int(str(first(symbol, "unit")[1]))
    pins = pin_points(symbol, library[lib_id], unit)
    if any(every(library[lib_id], "power")):
        for _, at in pins:
            joints.name(index, at, fields["Value"])
        return
    reference = fields["Reference"]
    known = parts.get(reference)
    if known is None:
        known = Part(reference, lib_id.split(":")[-1], fields)
    elif known.fields != fields:
        raise ValueError(f"{reference} is drawn with two sets of fields")
    found = {}
    for pin, at in pins:
        number, name = str(first(pin, "number")[1]), str(first(pin, "name")[1])
        if number in known.pins:
            raise ValueError(f"pin {number} of {reference} is drawn twice")
        found[number] = Pin(number, name, str(pin[1]))
        joints.pin(index, at, (reference, number))
    parts[reference] = replace(known, pins=known.pins | found)


def _point(values: Iterable[float]) -> Point:
    x, y = list(values)[:2]
    return round(x, 2), round(y, 2)
