# SPDX-License-Identifier: MIT
"""What is committed is what the drawing gives, and the picture can be read."""

import csv
import io
import re
from pathlib import Path

import pytest

import make
from tools.page import Page, Words, clashes, lay_out
from tools.sexp import read

SHEETS = sorted((make.HERE / "rig").glob("*.kicad_sch"))
PAGES = {path.stem: lay_out(read(path.read_text(encoding="utf-8"))) for path in SHEETS}
WORDS = {name: [words.text for words in page.words] for name, page in PAGES.items()}


def test_nothing_is_stale() -> None:
    assert make.stale() == []


def test_a_change_of_what_was_made_is_seen(tmp_path: Path) -> None:
    make.make(tmp_path)
    assert make.stale(tmp_path) == []
    drawn = tmp_path / "rig" / "force.kicad_sch"
    drawn.write_text(drawn.read_text(encoding="utf-8").replace("4.7k", "47k"), encoding="utf-8")
    (tmp_path / "rig" / "old.svg").write_text("<svg/>", encoding="utf-8")
    (tmp_path / "bom.csv").unlink()
    assert make.stale(tmp_path) == ["bom.csv", "rig/force.kicad_sch", "rig/old.svg"]


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_no_words_overlap(path: Path) -> None:
    assert clashes(PAGES[path.stem]) == []


def test_overlapping_words_are_seen() -> None:
    page = Page("two words, a line and the edge")
    page.words = [
        Words("R1", (100.0, 100.0), 1.27, "start"),
        Words("R2", (101.0, 100.5), 1.27, "start"),
        Words("C1", (150.0, 100.0), 1.27, "middle"),
        Words("far out", (290.0, 50.0), 1.27, "start"),
        Words("low", (200.0, 180.0), 1.27, "start"),
    ]
    page.wires = [[(140.0, 100.2), (160.0, 100.2)], [(140.0, 102.0), (160.0, 102.0)]]
    page.circles = [((99.0, 100.0), 1.27), ((102.0, 98.5), 0.6)]
    page.crosses = [(150.0, 101.3)]
    assert clashes(page) == [
        "'R1' on 'R2'",
        "'R1' on a circle at (99.0, 100.0)",
        "'C1' on a line at (140.0, 100.2)",
        "'C1' on a cross at (150.0, 101.3)",
        "'far out' runs off the paper",
        "'low' in KiCad's title block",
    ]


def test_what_a_part_must_bear_stands_on_the_drawing() -> None:
    shown = {"R": ["power"], "C": ["voltage"], "F": ["current", "voltage"]}
    for symbol in ("D_SCHOTTKY", "D_SERIES", "NMOS", "NPN"):
        shown[symbol] = ["voltage", "current"]
    words = [text for path in SHEETS for text in WORDS[path.stem]]
    parts = make.netlist().parts.values()
    for part in parts:
        limits = part.fields["Limits"].split()
        for quantity in shown.get(part.symbol, []):
            assert any(f"{part.rating[quantity]:g}" == each.rstrip("WVA") for each in limits)
        if part.symbol in ("R", "C"):
            assert part.tolerance is not None
    # Once for each part that has limits, however many of them are alike.
    for text in {part.fields["Limits"] for part in parts} - {""}:
        alike = [part for part in parts if part.fields["Limits"] == text]
        assert words.count(text) >= len(alike)


def test_the_print_has_every_page_and_word() -> None:
    data = make.print_of(make.HERE / "rig")
    # ISO 32000-1, 7.5.4 and 7.5.5: a table of 20 bytes an object at the place named last.
    table = int(data.split(b"startxref\n")[1].split()[0])
    head, *entries = data[table:].split(b"trailer")[0].splitlines(keepends=True)[1:]
    assert head == b"0 %d\n" % len(entries)
    for number, entry in enumerate(entries):
        assert len(entry) == 20
        if number:
            assert data[int(entry[:10]) :].startswith(b"%d 0 obj\n" % number)
    lengths = re.findall(rb"<< /Length (\d+) >>\nstream\n(.*?)\nendstream", data, re.S)
    assert [int(length) for length, _ in lengths] == [len(drawn) for _, drawn in lengths]
    titles = ["rig", "force", "channels", "null", "board", "thermistor"]
    for name, (_, drawn) in zip(titles, lengths, strict=True):
        printed = re.findall(r"\((.*)\) Tj", drawn.decode("cp1252"))
        assert printed[:-1] == WORDS[name]


def test_every_part_is_bought_once() -> None:
    rows = list(csv.DictReader(io.StringIO((make.HERE / "bom.csv").read_text(encoding="utf-8"))))
    parts = make.netlist().parts
    bought = [reference for row in rows for reference in row["References"].split()]
    points = [name for name, part in parts.items() if part.symbol == "TEST_POINT"]
    assert sorted([*bought, *points]) == sorted(parts)
    for row in rows:
        assert all(row[column] for column in row if column != "Tolerance"), row
        assert row["Alternative 1"] != row["Alternative 2"]
        references = row["References"].split()
        for build in ("full", "base"):
            fitted = sum(build in parts[reference].builds for reference in references)
            assert int(row[f"Quantity {build}"]) == fitted
