# SPDX-License-Identifier: MIT
"""The parts list, a line for each kind of part, and what is wired to what."""

from __future__ import annotations

import csv
import io
from collections import defaultdict

from tools.netlist import Netlist, Part, order

COLUMNS = (
    "References", "Quantity full", "Quantity base", "Value", "Tolerance", "Must be rated for",
    "Package", "Description", "Alternative 1", "Alternative 2", "Why",
)  # fmt: skip
_UNLISTED = "TEST_POINT"


def bom(netlist: Netlist) -> str:
    """CSV: loads first, then by reference; test points are not bought."""
    lines: dict[tuple[str, ...], list[Part]] = defaultdict(list)
    for part in sorted(netlist.parts.values(), key=lambda part: order(part.reference)):
        if part.symbol != _UNLISTED:
            lines[_kind(part)].append(part)
    rows = []
    for parts in lines.values():
        one = parts[0]
        first, second = one.fields["Alternatives"].split(" | ")
        value, *tolerance = one.fields["Value"].split()
        rows.append(
            (
                " ".join(part.reference for part in parts),
                *(sum(build in part.builds for part in parts) for build in ("full", "base")),
                value, " ".join(tolerance), one.fields["Rating"], one.fields["Package"],
                one.fields["Description"], first, second, one.fields["Why"],
            )
        )  # fmt: skip
    return _csv(COLUMNS, rows)


def _kind(part: Part) -> tuple[str, ...]:
    return tuple(part.fields[name] for name in ("Value", "Rating", "Package", "Description"))


def wiring(netlist: Netlist) -> str:
    """CSV: a net a line, every pin on it as part, pin number and pin name."""
    rows = []
    for net, nodes in sorted(netlist.nets.items()):
        pins = []
        for reference, number in sorted(nodes, key=lambda node: (order(node[0]), order(node[1]))):
            name = netlist.parts[reference].pins[number].name
            pins.append(f"{reference}.{number}" + ("" if name == "~" else f" ({name})"))
        rows.append((net, len(pins), "; ".join(pins)))
    return _csv(("Net", "Pins", "Connects"), rows)


def header(netlist: Netlist, board: str) -> str:
    """CSV: what the board's pins are wired to, in the order of their numbers."""
    rows = []
    for number, pin in sorted(netlist.parts[board].pins.items(), key=lambda each: int(each[0])):
        rows.append((number, pin.name, netlist.net(board, number) or "not connected"))
    return _csv(("Pin", "Name", "Net"), rows)


def _csv(columns: tuple[str, ...], rows: list[tuple]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()
