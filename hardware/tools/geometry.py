# SPDX-License-Identifier: MIT
"""Where pins lie on the page, and what touches what."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from tools.sexp import Expression, every, first, numbers

Point = tuple[float, float]
Place = tuple[int, Point]
"""Page and millimetres."""


def transform(symbol: Expression, at: Point) -> Point:
    """A point of the symbol's own (y upwards) on the page (y downwards), in mm."""
    x0, y0, degrees = (*numbers(first(symbol, "at")), 0.0)[:3]
    x, y = at
    for _ in range(int(degrees) // 90 % 4):
        x, y = -y, x
    return round(x0 + x, 2), round(y0 - y, 2)


def bodies(library: Expression, unit: int) -> Iterator[Expression]:
    """The parts of a library symbol that are drawn for a unit: those of all, and its own."""
    for body in every(library, "symbol"):
        if str(body[1]).rsplit("_", 2)[1] in ("0", str(unit)):
            yield body


def pin_points(
    symbol: Expression, library: Expression, unit: int
) -> list[tuple[Expression, Point]]:
    """Each pin of a placed symbol, and where its outer end lies."""
    found = []
    for body in bodies(library, unit):
        for pin in every(body, "pin"):
            x, y = numbers(first(pin, "at"))[:2]
            found.append((pin, transform(symbol, (x, y))))
    return found


class Joints:
    """What touches what, page by page, until `nets` is asked for."""

    def __init__(self) -> None:
        self._wires: list[tuple[Place, Place]] = []
        self._names: list[tuple[Place, str]] = []
        self._pins: list[tuple[Place, tuple[str, str]]] = []
        self._loose: set[Place] = set()

    def wire(self, page: int, a: Point, b: Point) -> None:
        self._wires.append(((page, a), (page, b)))

    def name(self, page: int, at: Point, net: str) -> None:
        self._names.append(((page, at), net))

    def pin(self, page: int, at: Point, node: tuple[str, str]) -> None:
        self._pins.append(((page, at), node))

    def loose(self, page: int, at: Point) -> None:
        self._loose.add((page, at))

    def nets(self) -> tuple[dict[str, frozenset], frozenset]:
        """Nets by name with their nodes, and the nodes marked as unconnected.

        A net without a name is called by its first pin. A pin that touches nothing is in no net.
        Raises ValueError for a net with two names and for a mark on a connected pin.
        """
        group: dict[object, object] = {}

        def find(item: object) -> object:
            group.setdefault(item, item)
            while group[item] != item:
                group[item] = group[group[item]]
                item = group[item]
            return item

        def join(a: object, b: object) -> None:
            group[find(a)] = find(b)

        ends = {end for wire in self._wires for end in wire}
        ends.update(place for place, _ in self._names)
        for a, b in self._wires:
            join(a, b)
            for end in ends:
                if _upon(a, end, b):
                    join(end, a)
        for place, net in self._names:
            join(place, net)
        members: dict[object, list[tuple[str, str]]] = defaultdict(list)
        for place, node in self._pins:
            members[find(place)].append(node)
        names: dict[object, set[str]] = defaultdict(set)
        for place, net in self._names:
            names[find(place)].add(net)
        marked = {find(place) for place in self._loose}
        nets, loose = {}, set()
        for root, nodes in members.items():
            called = names.get(root, set())
            if len(called) > 1:
                raise ValueError(f"one net, two names: {sorted(called)}")
            if root in marked:
                if len(nodes) > 1 or called:
                    raise ValueError(f"marked as unconnected, but connected: {sorted(nodes)}")
                loose.update(nodes)
            elif len(nodes) > 1 or called:
                name = called.pop() if called else "-".join(sorted(nodes)[0])
                nets[name] = frozenset(nodes)
        return nets, frozenset(loose)


def _upon(a: Place, end: Place, b: Place) -> bool:
    if not a[0] == end[0] == b[0]:
        return False
    (x0, x1), (y0, y1) = sorted((a[1][0], b[1][0])), sorted((a[1][1], b[1][1]))
    x, y = end[1]
    return x0 <= x <= x1 and y0 <= y <= y1 and (x0 == x1 or y0 == y1)
