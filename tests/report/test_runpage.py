# SPDX-License-Identifier: MIT
"""Pages to print: read by a strict HTML reader, harmless whatever a label says, with the numbers
of the result."""

import re
from pathlib import Path

import html5lib
import pytest

from sagline.cli import main
from sagline.log.choice import usual_log
from sagline.log.listing import Filters, list_runs
from sagline.log.store import Log
from sagline.report.markup import Html, tag, text
from sagline.report.plot import Curve, Dot, plot, shares
from sagline.results import Result
from sagline.wording import figure

EVIL = "<script>alert(1)</script>\"' =cmd()|' /C calc'!A0 &amp;"


@pytest.fixture
def made(sagline_home: Path, capsys) -> tuple[str, Result]:
    """A simulated run with a V-I line and a label that means no good; its id and result."""
    address = "virtual://lr6?seed=7"
    assert main(["measure", "--rig", address, "--designation", "LR6", "--load", "all",
                 "--label", EVIL, "--operator", "A & B"]) == 0  # fmt: skip
    capsys.readouterr()
    with Log(usual_log(demo=True)) as log:
        (row,) = list_runs(log, Filters())
        return row.id, log.results(row.id)[0]


def page_of(record_id: str, tmp_path: Path, *options: str) -> str:
    out = tmp_path / f"page{len(list(tmp_path.glob('page*')))}.html"
    assert main(["log", "report", "--demo", record_id, "--out", str(out), *options]) == 0
    return out.read_text(encoding="utf-8")


def words_of(page: str) -> str:
    """The page's text as a reader sees it. Raises html5lib's ParseError for what is no HTML."""
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    body = tree.find("body")
    assert body is not None
    return re.sub(r"\s+", " ", " ".join(body.itertext()))


@pytest.mark.parametrize("options", [(), ("--student",), ("--answers",), ("--blank",)])
def test_every_page_is_html_by_the_book_and_needs_nothing_else(made, tmp_path, options) -> None:
    page = page_of(made[0], tmp_path, *options)
    words = words_of(page)
    assert EVIL in words
    tree = html5lib.parse(page, namespaceHTMLElements=False)
    assert {element.tag for element in tree.iter()} & {"script", "link", "img", "iframe"} == set()
    for element in tree.iter():
        for name in element.attrib:
            assert not str(name).lower().startswith("on") and name not in ("href", "src")
    assert "url(" not in page and "@import" not in page


def test_the_whole_report_has_the_figures_of_the_result(made, tmp_path) -> None:
    record_id, result = made
    words = words_of(page_of(record_id, tmp_path))
    assert result.emf_v is not None and result.line is not None
    assert f"r(0.1 s) = {figure(result.r_ohm, 'Ω')}" in words
    assert f"E = {figure(result.emf_v, 'V')}" in words
    assert f"r = {figure(result.line.r_ohm, 'Ω')}" in words
    for row in result.budget:
        assert (row.source in words) or row.share < 1e-3
    assert ".." not in words
    for warning in result.warnings:
        assert warning.remedy in words
    assert record_id in words and result.id in words and result.method in words
    assert re.search(r"SHA-256 of the record: [0-9a-f]{64}\.", words)
    assert words.count("Conclusions") == 1


def test_a_student_is_given_what_was_read_and_no_r(made, tmp_path) -> None:
    record_id, result = made
    words = words_of(page_of(record_id, tmp_path, "--student"))
    assert "V_open" in words and "R_x" in words and "How sure is it?" in words
    for quantity in (result.r_ohm, *result.r_at):
        assert f"{quantity.value:.3f}" not in words
    assert "What u(r)" not in words and "Power against R" not in words
    answers = words_of(page_of(record_id, tmp_path, "--answers"))
    assert "V_open" in answers and f"r(0.1 s) = {figure(result.r_ohm, 'Ω')}" in answers
    assert "with answers" in answers


def test_a_blank_sheet_has_no_reading(made, tmp_path) -> None:
    words = words_of(page_of(made[0], tmp_path, "--blank"))
    assert "r = R (E / V − 1)" in words
    result = made[1]
    for quantity in (result.r_ohm, result.emf_v):
        assert f"{quantity.value:.3f}" not in words


def test_the_citation_changes_with_the_record_and_with_nothing_else(made, tmp_path) -> None:
    def hash_of(page: str) -> str:
        found = re.search(r"record: ([0-9a-f]{64})", page)
        assert found is not None
        return found[1]

    one, two = (hash_of(page_of(made[0], tmp_path)) for _ in range(2))
    assert one == two
    assert main(["log", "label", "--demo", made[0], "other"]) == 0
    assert hash_of(page_of(made[0], tmp_path)) != one


def test_readings_by_hand_have_a_report_too(sagline_home, tmp_path, capsys) -> None:
    assert main(["hand", "voltmeter", "--open", "1.58", "--loaded", "1.52", "--load", "4.1",
                  "--label", EVIL]) == 0  # fmt: skip
    with Log(usual_log(demo=False)) as log:
        (row,) = list_runs(log, Filters())
    out = tmp_path / "hand.html"
    assert main(["log", "report", row.id, "--out", str(out)]) == 0
    words = words_of(out.read_text(encoding="utf-8"))
    assert EVIL in words and "The working" in words and "What u(r) is made of" in words
    assert main(["log", "report", row.id, "--out", str(tmp_path / "x.html"), "--student"]) == 2
    assert "no readings of a rig" in capsys.readouterr().err


def test_nothing_is_overwritten_unasked(made, tmp_path, capsys) -> None:
    out = tmp_path / "kept.html"
    out.write_text("mine")
    assert main(["log", "report", "--demo", made[0], "--out", str(out)]) == 2
    assert out.read_text() == "mine" and "--force" in capsys.readouterr().err
    assert main(["log", "report", "--demo", made[0], "--out", str(out), "--force"]) == 0
    assert out.read_text().startswith("<!DOCTYPE html>")


def test_what_is_no_markup_is_escaped_wherever_it_stands() -> None:
    assert text("<b>&\"'") == "&lt;b&gt;&amp;&quot;&#x27;"
    assert tag("td", "<i>", title='a"b<') == '<td title="a&quot;b&lt;">&lt;i&gt;</td>'
    assert tag("p", Html("<b>x</b>"), None) == "<p><b>x</b></p>"
    assert tag("br") == "<br>" and tag("line", x1=0.5, class_="a") == '<line x1="0.5" class="a"/>'


def places(drawing: str, name: str) -> list[list[float]]:
    """The points of every polyline of a class."""
    found = re.findall(rf'<polyline points="([^"]+)" class="{name}"', drawing)
    return [[float(one) for one in re.split(r"[ ,]", points)] for points in found]


def test_a_drawing_is_true_to_scale_and_stays_in_its_frame() -> None:
    points = [(0.0, 1.0), (1.0, 2.0), (3.0, 4.0)]
    drawing = plot("t", "x", "y", [Curve(points)], [Dot(1.0, 2.0, 0.5)])
    (line,) = places(drawing, "curve")
    x, y = line[::2], line[1::2]
    assert x[2] - x[1] == pytest.approx(2.0 * (x[1] - x[0]), abs=0.05)
    assert y[1] - y[2] == pytest.approx(2.0 * (y[0] - y[1]), abs=0.05)
    assert all(0.0 <= one <= 640.0 for one in x) and all(0.0 <= one <= 340.0 for one in y)
    number = r'="([\d.]+)"'
    error = rf'<line x1{number} x2{number} y1{number} y2{number} class="error"'
    bars = re.findall(error, drawing)
    upright = next([float(one) for one in bar] for bar in bars if bar[0] == bar[1])
    assert abs(upright[2] - upright[3]) == pytest.approx(y[0] - y[1], abs=0.05)
    with pytest.raises(ValueError, match="needs a point"):
        plot("t", "x", "y", [])


def test_a_drawing_of_very_many_points_keeps_both_ends() -> None:
    many = [(n / 1e4, float(n % 7)) for n in range(10_001)]
    (line,) = places(plot("t", "x", "y", [Curve(many)]), "curve")
    (ends,) = places(plot("t", "x", "y", [Curve([many[0], many[-1], (0.5, 6.0)])]), "curve")
    assert len(line) <= 1200 and line[0] == ends[0] and line[-2] == ends[2]


def test_bars_are_as_long_as_their_shares() -> None:
    drawing = shares("s", [("a", 0.6), ("b", 0.3), ("<", 0.1)])
    widths = [float(one) for one in re.findall(r'<rect [^>]*width="([\d.]+)"', drawing)]
    assert widths == pytest.approx([2.0 * widths[1], widths[1], widths[1] / 3.0], abs=0.02)
    assert "&lt;" in drawing
