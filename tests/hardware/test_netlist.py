# SPDX-License-Identifier: MIT
"""The reader of the schematic, on small drawings whose nets are told by eye."""

import re

import pytest

from drawing.pen import Sheet
from tools.netlist import Netlist, collect
from tools.sexp import read, write


def netlist(*sheets: Sheet) -> Netlist:
    return collect(read(write(sheet.expression())) for sheet in sheets)


def nets(*sheets: Sheet) -> set[frozenset[str]]:
    return {frozenset(".".join(node) for node in nodes) for nodes in netlist(*sheets).nets.values()}


def test_a_chain_and_its_ends() -> None:
    s = Sheet("a", "chain", 1)
    at = s.two("R 10k", "R1", (10, 10), "right")
    assert at == (13, 10)
    s.two("R 1k", "R2", at, "down")
    s.label("END", (13, 13), "right")
    assert nets(s) == {frozenset({"R1.2", "R2.1"}), frozenset({"R2.2"})}
    assert netlist(s).net("R2", "2") == "END"
    assert netlist(s).net("R1", "1") is None


@pytest.mark.parametrize(
    ("way", "far"), [("down", (10, 13)), ("up", (10, 7)), ("right", (13, 10)), ("left", (7, 10))]
)
def test_a_turned_part_keeps_its_pins(way: str, far: tuple[float, float]) -> None:
    # Pin 1 stays where the part was begun: a diode the wrong way round would be found here.
    s = Sheet("a", "turned", 1)
    s.two("blocking", "D1", (10, 10), way)
    s.label("CATHODE", (10, 10), "left")
    s.label("ANODE", far, "right")
    assert netlist(s).net("D1", "K") == "CATHODE"
    assert netlist(s).net("D1", "A") == "ANODE"


def test_wires_that_cross_are_apart_and_wires_that_meet_are_joined() -> None:
    s = Sheet("a", "crossing", 1)
    s.two("R 1k", "R1", (7, 10), "right")
    s.two("R 1k", "R2", (20, 10), "right")
    s.two("R 1k", "R3", (15, 5), "down")
    s.two("R 1k", "R4", (15, 12), "down")
    s.two("R 1k", "R5", (18, 12), "down")
    s.wire((10, 10), (20, 10))
    s.wire((15, 8), (15, 12))
    s.wire((18, 12), (18, 10))
    found = nets(s)
    assert frozenset({"R1.2", "R2.1", "R5.1"}) in found
    assert frozenset({"R3.2", "R4.1"}) in found


def test_names_join_pages_and_supplies() -> None:
    one, other = Sheet("a", "one", 1), Sheet("b", "other", 2)
    one.two("R 1k", "R1", (10, 10), "down")
    one.label("BUS", (10, 10), "left")
    one.power("GND", (10, 13))
    other.two("R 1k", "R2", (30, 30), "down")
    other.label("BUS", (30, 30), "left")
    other.power("GND", (30, 33))
    # The same place on another page is another place.
    other.two("R 1k", "R3", (10, 10), "down")
    assert nets(one, other) == {frozenset({"R1.1", "R2.1"}), frozenset({"R1.2", "R2.2"})}


def test_units_are_one_part() -> None:
    s = Sheet("a", "units", 1)
    s.part("amplifier", "U1", (20, 20), 1)
    s.part("amplifier", "U1", (40, 20), 5)
    found = netlist(s)
    assert set(found.parts["U1"].pins) == {"1", "2", "3", "4", "11"}
    s.part("amplifier", "U1", (60, 20), 1)
    with pytest.raises(ValueError, match="drawn twice"):
        netlist(s)


def test_contradictions_are_refused() -> None:
    s = Sheet("a", "names", 1)
    s.wire((10, 10), (20, 10))
    s.two("R 1k", "R1", (10, 10), "down")
    s.label("ONE", (10, 10), "left")
    s.label("TWO", (20, 10), "right")
    with pytest.raises(ValueError, match="two names"):
        netlist(s)
    s = Sheet("a", "mark", 1)
    s.two("R 1k", "R2", s.two("R 1k", "R1", (10, 10), "down"), "down")
    s.loose((10, 13))
    with pytest.raises(ValueError, match="but connected"):
        netlist(s)
    text = write(Sheet("a", "label", 1).expression())
    with pytest.raises(ValueError, match="knows no label"):
        collect([read(re.sub(r"\)\s*$", '(label "X" (at 0 0 0)))', text))])


def test_values_and_ratings_are_read() -> None:
    s = Sheet("a", "values", 1)
    s.two("divider 82k", "R1", (10, 10), "down")
    s.two("C 220n", "C1", (20, 10), "down")
    found = netlist(s).parts
    assert (found["R1"].number, found["R1"].tolerance) == (82e3, 1e-3)
    assert found["C1"].number == pytest.approx(220e-9)
    assert found["R1"].rating == {"power": 0.125, "tcr": 25.0, "voltage": 100.0}


@pytest.mark.parametrize("text", ["(a", "(a))", "a", "(a) (b)", '("a'])
def test_text_that_is_no_expression_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        read(text)


def test_an_expression_is_read_as_it_was_written() -> None:
    text = write(["a", ["b", 1.5, -0.25], ["c", *["long"] * 40]])
    assert read(text) == ["a", ["b", "1.5", "-0.25"], ["c", *["long"] * 40]]
