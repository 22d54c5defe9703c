# SPDX-License-Identifier: MIT
"""The door for programs in Python: README's example as a notebook runs it, HTML, tables."""

import ast
import re
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

import sagline
from sagline.errors import NoRig
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

README = Path(__file__).parents[2] / "README.md"
# Elements of HTML that have no end.
VOID = {"br", "hr", "img", "input", "meta", "link"}


@pytest.fixture(scope="module")
def result():
    with sagline.open_rig("virtual://lr6?seed=7") as rig:
        return rig.measure(designation="LR6", repeats=3, label="<b>kitchen</b> & co")


def run_cell(source, names):
    """Run a cell; return what its last expression gives, as a notebook does."""
    tree = ast.parse(source)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "cell", "exec"), names)
    if last is not None:
        assert isinstance(last, ast.Expr)
        return eval(compile(ast.Expression(last.value), "cell", "eval"), names)
    return None


def test_the_readmes_example_runs_cell_by_cell(capsys):
    cells = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.S)
    assert len(cells) == 3
    names: dict = {}
    shown = [run_cell(cell, names) for cell in cells]
    html = shown[0]._repr_html_()
    assert "kitchen-3" in html
    said = capsys.readouterr().out
    r = names["result"].r_ohm
    assert f"r(0.1 s) = {r.value:.4f} Ω" in said
    # The seed is one of the twenty in which the interval just misses the truth.
    true = truth(CELLS["lr6"])["truth"]["r_at"][0]["value"]
    assert abs(r.value - true) < 1.5 * 0.5 * (r.high95 - r.low95)
    assert "count  5.000000" in said


class Markup(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.text, self.fetched = [], "", []

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.open.append(tag)
        self.fetched += [value for name, value in attrs if name in ("src", "href")]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_html_is_whole_fetches_nothing_and_shows_text_as_text(result):
    parser = Markup()
    parser.feed(result._repr_html_())
    assert parser.open == []
    assert parser.fetched == []
    assert "<b>kitchen</b> & co · LR6" in parser.text
    assert "(E − V) / I" in parser.text
    assert "95 %" in parser.text


def test_a_table_has_a_row_a_repeat(result):
    frame = result.to_frame()
    assert list(frame.index) == [1, 2, 3]
    assert list(frame.columns) == ["r_ohm", "emf_v", "kept", "reason"]
    assert frame.r_ohm.mean() == pytest.approx(result.r_ohm.value, rel=1e-5)
    assert frame.dtypes["kept"].kind == "b"


def test_without_pandas_the_remedy_is_said(result, monkeypatch):
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ImportError, match="pip install pandas"):
        result.to_frame()


def test_a_rig_is_found_as_on_the_command_line(sagline_home):
    sagline_home.mkdir()
    (sagline_home / "config.toml").write_text('[rigs]\nbench = "virtual://lr6?seed=5"\n')
    with sagline.open_rig("bench") as rig:
        assert rig.identity.serial == "lr6-5"
    with pytest.raises(NoRig, match="lr6"):
        sagline.open_rig("lr6")
