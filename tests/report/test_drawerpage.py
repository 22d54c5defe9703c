# SPDX-License-Identifier: MIT
"""A drawer as a page: HTML by the book, every cell in its place, harmless whatever a label says."""

import io
import json
import re
from pathlib import Path

import html5lib
import pytest

from sagline.cli import main
from sagline.report.ofdrawer import MOST_LINES
from sagline.report.plot import Interval, intervals

EVIL = "<script>alert(1)</script> =cmd()"
TRAY = "virtual://tray?cells=lr6,lr6-worn,cr2032&seed=3"


@pytest.fixture
def drawer(sagline_home: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> list[dict]:
    """A drawer of two alkaline cells, one with a label that means no good, and one left out."""
    # Nobody is there to say `go`: the coin cell is left out, unloaded.
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    new = ["--rig", TRAY, "--designation", "LR6", "--first-label", "a-01", "--name", "one"]
    assert main(["drawer", "measure", *new]) == 0
    assert main(["drawer", "rename", "a-01", EVIL]) == 0
    assert main(["drawer", "reference", "--row", EVIL]) == 0
    capsys.readouterr()
    assert main(["drawer", "show", "--json"]) == 0
    return json.loads(capsys.readouterr().out)["rows"]


def read(page: str) -> tuple[str, list[list[str]]]:
    """The page's text and the cells of its table. Raises html5lib's ParseError for no HTML."""
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    assert {element.tag for element in tree.iter()} & {"script", "link", "img", "iframe"} == set()
    body = tree.find("body")
    assert body is not None
    table = [["".join(cell.itertext()) for cell in row] for row in tree.iter("tr")]
    return re.sub(r"\s+", " ", " ".join(body.itertext())), table


def test_a_page_has_every_cell_with_its_figures_or_its_reason(drawer, tmp_path, capsys) -> None:
    out = tmp_path / "drawer.html"
    assert main(["drawer", "report", "--out", str(out), "--group", "0.05", "--sort", "r"]) == 0
    page = out.read_text(encoding="utf-8")
    words, (heads, *table) = read(page)
    table, groups = table[:3], table[4:]
    assert heads[0] == "label" and "r(0.1 s) / Ω" in heads
    first, worn, left_out = drawer
    assert [row[0] for row in table] == [EVIL, worn["label"], left_out["label"]]
    for row, known in zip(table, (first, worn), strict=False):
        r_text, u_text = row[heads.index("r(0.1 s) / Ω")].split("\xa0±\xa0")
        assert float(r_text) == pytest.approx(known["r_ohm"], rel=0.01)
        assert float(u_text) == pytest.approx(known["r_u95_ohm"], rel=0.06)
        assert row[-1] == known["record_id"][-8:]
    assert [row[5] for row in table] == ["group A", "group B", "above band"]
    assert table[2][3] == "" and "open" in table[2][2]
    assert table[0][4] == "itself" and "E_n" in table[1][4]
    assert "r(0.1 s) of LR6 on 3.3 Ω" in words and "CR2032" not in words
    assert "2 groups, r within 5 % of the smallest." in words
    assert [(row[0], row[3], row[4]) for row in groups] == [("A", "1", EVIL), ("B", "1", "a-02")]
    assert "3 cells, simulated" in words and "Drawer one, simulated" in words
    assert page.count("<figure>") == 1


def test_a_filter_chooses_and_an_empty_page_says_so(drawer, tmp_path) -> None:
    out = tmp_path / "some.html"
    assert main(["drawer", "report", "--out", str(out), "--filter", "above band"]) == 0
    _, table = read(out.read_text(encoding="utf-8"))
    assert len(table) == 2
    assert main(["drawer", "report", "--out", str(out), "--filter", "zzz", "--force"]) == 0
    assert "There is no cell in it." in read(out.read_text(encoding="utf-8"))[0]


def test_nothing_is_overwritten_unasked_and_json_says_what_was(drawer, tmp_path, capsys) -> None:
    out = tmp_path / "kept.html"
    out.write_text("mine")
    assert main(["drawer", "report", "--out", str(out)]) == 2
    assert out.read_text() == "mine" and "--force" in capsys.readouterr().err
    assert main(["drawer", "report", "--out", str(out), "--force", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"written": [str(out)]}


@pytest.mark.parametrize("options", [["--drawer", "none"], ["--group-volts", "0.01"]])
def test_a_wrong_wish_writes_nothing(drawer, tmp_path, options) -> None:
    out = tmp_path / "no.html"
    assert main(["drawer", "report", "--out", str(out), *options]) == 2
    assert not out.exists()


def test_drawings_of_many_cells_share_an_axis() -> None:
    lines = [Interval(str(n), 0.1 + 0.01 * n, 0.005) for n in range(MOST_LINES + 5)]
    own, further = lines[:MOST_LINES], lines[MOST_LINES:]
    parts = [intervals("t", "x", some, 0.2, lines) for some in (own, further)]
    axes = [re.findall(r'<text x="([\d.]+)" y="[\d.]+" text-anchor="middle">', part)
            for part in parts]  # fmt: skip
    assert axes[0] == axes[1] and len(axes[0]) > 3
    for part, some in zip(parts, (own, further), strict=True):
        at = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', part)]
        assert len(at) == len(some) and at == sorted(at) and 0.0 < at[0] < at[-1] < 640.0


def test_a_long_name_keeps_both_its_ends() -> None:
    name = "kitchen drawer, second tray from the left 07"
    drawing = intervals("t", "x", [Interval(name, 1.0, 0.1)], 1.0)
    found = re.search(r">(kitchen[^<]*left 07)<", drawing)
    assert found is not None and len(found[1]) < 26 and "…" in found[1]
