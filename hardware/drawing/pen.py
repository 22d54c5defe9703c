# SPDX-License-Identifier: MIT
"""A sheet to draw on, in steps of 2.54 mm, and the KiCad file that comes of it.

Every identifier is computed from what it names, so that the same drawing gives the same file.
"""

from __future__ import annotations

import itertools
import uuid
from collections import Counter
from dataclasses import dataclass, field

from drawing.stock import KINDS, Kind
from drawing.symbols import SYMBOLS, Symbol
from drawing.texts import from_origin, of_two_pins
from drawing.writing import effects, library_symbol
from tools.sexp import Quoted, Written

STEP_MM = 2.54
TEXT_MM = 1.27
# Width of a character, in its height: that of the picture's typeface.
CHARACTER = 0.84
TURN = {"down": 0, "right": 90, "up": 180, "left": 270}
WAY = {"down": (0, 1), "right": (1, 0), "up": (0, -1), "left": (-1, 0)}

At = tuple[float, float]
_SPACE = uuid.uuid5(uuid.NAMESPACE_URL, "sagline/hardware/rig")


def identifier(*what: object) -> Quoted:
    """The identifier of something, the same each time."""
    return Quoted(uuid.uuid5(_SPACE, "/".join(map(str, what))))


def turned(at: At, degrees: int) -> At:
    """A symbol's own point (y upwards) as seen on the sheet (y downwards) after the turn."""
    x, y = at
    for _ in range(degrees // 90):
        x, y = -y, x
    return x, -y


@dataclass(frozen=True)
class Placed:
    """A symbol on the sheet; `at` in steps."""

    reference: str
    symbol: Symbol
    value: str
    at: At
    turn: int
    unit: int
    kind: Kind | None
    builds: str
    texts: dict[str, At]
    sides: dict[str, str] = field(default_factory=dict)

    def pin(self, name: str) -> At:
        """Where a wire meets a pin, in steps."""
        x, y = turned(self.symbol.pin(self.unit, name).at, self.turn)
        return round(self.at[0] + x / STEP_MM, 3), round(self.at[1] + y / STEP_MM, 3)


class Sheet:
    """One page. `builds` is given to every part drawn while it is set."""

    def __init__(self, name: str, title: str, page: int) -> None:
        self.name, self.title, self.page = name, title, page
        self.builds = "base full"
        self.placed: list[Placed] = []
        self._wires: list[tuple[At, At]] = []
        self._labels: list[tuple[str, At, str]] = []
        self._loose: list[At] = []
        self._notes: list[tuple[str, At, float]] = []
        self._boxes: list[tuple[At, At]] = []
        self._count: Counter[str] = Counter()

    def two(self, kind: str, reference: str, at: At, way: str, text: str = "") -> At:
        """A part of two pins from `at` (pin 1) three steps that way; where its other pin is.

        `text` says on which side reference and value stand: right or left of an upright part.
        """
        x, y = at
        dx, dy = WAY[way]
        middle = (x + 1.5 * dx, y + 1.5 * dy)
        texts = of_two_pins(middle, bool(dx), text == "left")
        self._place(reference, KINDS[kind], middle, TURN[way], 1, *texts)
        return x + 3 * dx, y + 3 * dy

    def part(
        self, kind: str, reference: str, at: At, unit: int = 1, texts: tuple[At, ...] | None = None
    ) -> Placed:
        """A part with more pins, upright, its origin at `at`; texts are placed from there."""
        spots = from_origin(at, KINDS[kind], unit, texts)
        return self._place(reference, KINDS[kind], at, 0, unit, *spots)

    def point(self, reference: str, at: At) -> None:
        """A test point upon a wire's end or corner."""
        spots = {"Reference": (at[0], at[1] - 1.6)}
        self._place(reference, KINDS["test point"], at, 0, 1, spots, {})

    def power(self, name: str, at: At) -> None:
        """A supply or ground where its pin meets `at`."""
        self._count[name] += 1
        reference = f"#{self.name}-{name}-{self._count[name]}"
        spots = {} if name == "GND" else {"Value": (at[0], at[1] - 1.5)}
        self.placed.append(
            Placed(reference, SYMBOLS[name], name, at, 0, 1, None, "base full", spots)
        )

    def wire(self, *points: At) -> None:
        """Wires from point to point, each upright or level. Raises ValueError for a slanted one."""
        for a, b in itertools.pairwise(points):
            if a[0] != b[0] and a[1] != b[1]:
                raise ValueError(f"{self.name}: a slanted wire from {a} to {b}")
            if a != b:
                self._wires.append((a, b))

    def label(self, net: str, at: At, side: str = "right") -> None:
        """A net's name, the same on every sheet; its text runs to that side of `at`."""
        self._labels.append((net, at, side))

    def loose(self, at: At) -> None:
        """This pin stays unconnected on purpose."""
        self._loose.append(at)

    def note(self, text: str, at: At, height_mm: float = TEXT_MM) -> None:
        """Words on the sheet, from `at` to the right."""
        self._notes.append((text, at, height_mm))

    def box(self, title: str, a: At, b: At) -> None:
        """A dashed outline with its title inside the upper left corner."""
        self._boxes.append((a, b))
        self.note(title, (a[0] + 0.4, a[1] + 0.8))

    def _place(self, reference, kind, at, turn, unit, texts, sides) -> Placed:
        symbol, text = SYMBOLS[kind.symbol], kind.text
        placed = Placed(
            reference, symbol, text, at, turn, unit, kind, self.builds, texts, sides
        )  # fmt: skip
        self.placed.append(placed)
        return placed

    def expression(self, *more: Written) -> Written:
        """The sheet; `more` are further items of a page that holds others."""
        names = sorted({placed.symbol.name for placed in self.placed})
        return [
            "kicad_sch",
            ["version", "20211123"],
            ["generator", "sagline"],
            ["uuid", identifier(self.name)],
            ["paper", Quoted("A4")],
            ["title_block", ["title", Quoted(self.title)], ["company", Quoted("sagline")]],
            ["lib_symbols", *(library_symbol(SYMBOLS[name]) for name in names)],
            *self._joined(),
            *self._drawn(),
            *(self._symbol(placed) for placed in self.placed),
            *more,
        ]

    def _joined(self) -> list[Written]:
        ends = [placed.pin(pin.number) for placed in self.placed for pin in self._pins(placed)]
        points = {*ends, *(at for _, at, _ in self._labels)}
        points.update(end for wire in self._wires for end in wire)
        pieces = []
        for a, b in self._wires:
            inside = sorted(point for point in points if _between(a, point, b))
            stops = [a, *(inside if a < b else reversed(inside)), b]
            pieces += list(itertools.pairwise(stops))
        meeting = Counter(end for piece in pieces for end in piece)
        meeting.update(ends)
        items: list[Written] = []
        for at in sorted(at for at, count in meeting.items() if count > 2):
            items.append(
                ["junction", _at(at), ["diameter", 0], ["color", 0, 0, 0, 0],
                 ["uuid", identifier(self.name, "junction", at)]]
            )  # fmt: skip
        for at in self._loose:
            items.append(["no_connect", _at(at), ["uuid", identifier(self.name, "loose", at)]])
        for a, b in pieces:
            items.append(
                ["wire", ["pts", ["xy", *_mm(a)], ["xy", *_mm(b)]], _stroke("default"),
                 ["uuid", identifier(self.name, "wire", a, b)]]
            )  # fmt: skip
        return items

    def _drawn(self) -> list[Written]:
        items: list[Written] = []
        for a, b in self._boxes:
            corners = (a, (b[0], a[1]), b, (a[0], b[1]), a)
            # KiCad 6 takes two points a line, no more.
            for one, other in itertools.pairwise(corners):
                items.append(
                    ["polyline", ["pts", ["xy", *_mm(one)], ["xy", *_mm(other)]], _stroke("dash"),
                     ["uuid", identifier(self.name, "box", one, other)]]
                )  # fmt: skip
        for text, at, height in self._notes:
            items.append(
                ["text", Quoted(text), _at(at, 0), effects(height, "left"),
                 ["uuid", identifier(self.name, "note", at)]]
            )  # fmt: skip
        for net, at, side in self._labels:
            angle = 0 if side == "right" else 180
            justify = "left" if side == "right" else "right"
            items.append(
                ["global_label", Quoted(net), ["shape", "passive"], _at(at, angle),
                 effects(TEXT_MM, justify), ["uuid", identifier(self.name, "label", net, at)]]
            )  # fmt: skip
        return items

    @staticmethod
    def _pins(placed: Placed):
        return (*placed.symbol.pins.get(0, ()), *placed.symbol.pins.get(placed.unit, ()))

    def uuid_of(self, placed: Placed) -> Quoted:
        """A part's identifier on this sheet."""
        return identifier(self.name, placed.reference, placed.unit)

    def _symbol(self, placed: Placed) -> Written:
        kind = placed.kind
        upright = 90 if placed.turn in (90, 270) else 0
        fields = {"Reference": placed.reference, "Value": placed.value}
        fields |= {"Footprint": "", "Datasheet": "~"}
        if kind is not None:
            fields |= {
                "Limits": kind.limits,
                "Rating": kind.rating,
                "Package": kind.package,
                "Description": kind.description,
                "Alternatives": " | ".join(kind.alternatives),
                "Why": kind.why,
                "Builds": placed.builds,
            }
        properties = []
        for index, (name, value) in enumerate(fields.items()):
            spot = placed.texts.get(name)
            at = _at(spot or placed.at, upright if spot else 0)
            # The text is placed by its middle: a turned symbol would turn its beginning too.
            if spot and name in placed.sides:
                half = 0.5 * len(value) * CHARACTER * TEXT_MM / STEP_MM
                shift = half if placed.sides[name] == "left" else -half
                at = _at((spot[0] + shift, spot[1]), upright)
            properties.append(
                ["property", Quoted(name), Quoted(value), ["id", index], at,
                 effects(TEXT_MM, "", hide=spot is None)]
            )  # fmt: skip
        listed = "yes" if kind is not None and placed.symbol.prefix != "TP" else "no"
        return [
            "symbol",
            ["lib_id", Quoted(f"sagline:{placed.symbol.name}")],
            _at(placed.at, placed.turn),
            ["unit", placed.unit],
            ["in_bom", listed],
            ["on_board", "yes"],
            ["uuid", self.uuid_of(placed)],
            *properties,
            *(
                ["pin", Quoted(pin.number), ["uuid", identifier(self.uuid_of(placed), pin.number)]]
                for pin in self._pins(placed)
            ),
        ]


def _between(a: At, point: At, b: At) -> bool:
    if point in (a, b):
        return False
    (x0, x1), (y0, y1) = sorted((a[0], b[0])), sorted((a[1], b[1]))
    return x0 <= point[0] <= x1 and y0 <= point[1] <= y1


def _mm(at: At) -> tuple[float, float]:
    return round(at[0] * STEP_MM, 4), round(at[1] * STEP_MM, 4)


def _at(at: At, *angle: int) -> Written:
    return ["at", *_mm(at), *angle]


def _stroke(kind: str) -> Written:
    return ["stroke", ["width", 0], ["type", kind], ["color", 0, 0, 0, 0]]
