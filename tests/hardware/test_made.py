# SPDX-License-Identifier: MIT
"""What is committed is what the drawing gives, and the picture can be read."""

import csv
import io
from pathlib import Path

import pytest

import make
from tools.page import Page, Words, clashes, lay_out
from tools.sexp import read

SHEETS = sorted((make.HERE / "rig").glob("*.kicad_sch"))


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
    assert clashes(lay_out(read(path.read_text(encoding="utf-8")))) == []


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
    assert clashes(page) == [
        "'R1' on 'R2'",
        "'C1' on a line at (140.0, 100.2)",
        "'far out' runs off the paper",
        "'low' in KiCad's title block",
    ]


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
