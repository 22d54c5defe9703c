# SPDX-License-Identifier: MIT
"""Notes beside runs, one cell over time, words found anywhere: by the command line."""

import json
import re

import pytest

from sagline.cli import main
from sagline.log.acts import change, delete, take_back
from sagline.log.choice import usual_log
from sagline.log.listing import Filters, list_runs
from sagline.log.overtime import BAR
from sagline.log.store import Log

MEASURE = ["measure", "--designation", "LR6", "--repeats", "2", "--label"]


@pytest.fixture
def ids(capsys):
    """Three runs: two of one cell, which is worn at the second, and one of another."""
    for cell, label in (("lr6", "torch"), ("lr6-worn", "torch"), ("lr6", "spare")):
        assert main([*MEASURE, label, "--rig", f"virtual://{cell}?seed=4"]) == 0
    capsys.readouterr()
    with Log(usual_log(demo=True)) as log:
        return [row.id for row in reversed(list_runs(log, Filters()))]


def said(capsys, *arguments):
    assert main(["log", *arguments, "--demo"]) == 0
    return capsys.readouterr().out


def test_a_note_is_written_found_shown_replaced_and_taken_away(ids, capsys):
    first = ids[0][-8:]
    assert said(capsys, "note", first, "warm from use") == (
        f"{first} is now 'warm from use'; it was without a note.\n"
    )
    assert "note      warm from use" in said(capsys, "show", first)
    assert json.loads(said(capsys, "show", first, "--json"))["note"] == "warm from use"
    assert first in said(capsys, "list", "--text", "WARM lr6")
    assert "No run" in said(capsys, "list", "--text", "warm spare")
    found = json.loads(said(capsys, "note", first, "cold", "--json"))
    assert found == {"id": ids[0], "note": "cold", "before": "warm from use"}
    said(capsys, "note", first, "")
    assert json.loads(said(capsys, "show", first, "--json"))["note"] is None
    assert main(["log", "note", first, "two\nlines", "--demo"]) == 2
    assert "one line of plain text" in capsys.readouterr().err


def test_what_was_done_is_taken_back(ids):
    path = usual_log(demo=True)
    with Log(path, write=True) as log:
        acts = [change(log, ids[0], "label", "shelf").done(), delete(log, ids[:2])]
    with Log(path) as log:
        assert [row.label for row in list_runs(log, Filters())] == ["spare"]
    for done in reversed(acts):
        assert take_back(path, done).startswith("Undone: ")
    with Log(path) as log:
        assert [row.label for row in list_runs(log, Filters())] == ["spare", "torch", "torch"]


def test_one_cell_over_time(ids, capsys):
    text = said(capsys, "history", ids[1][-8:])
    assert text.startswith("torch: 2 runs")
    lines = [line for line in text.split("\n") if "●" in line]
    assert len(lines) == 2 and max(map(len, text.split("\n"))) <= 79
    # The worn cell has the larger r: its interval lies to the right, and ends the scale.
    assert lines[0].index("●") < lines[1].index("─")
    assert lines[1].rstrip().endswith(" %")
    at = lines[0].index("±") + len("± 0.0017  ")
    assert len(lines[1][at : at + BAR].rstrip()) >= BAR - 2
    document = json.loads(said(capsys, "history", ids[0][-8:], "--json"))
    assert [run["id"] for run in document["runs"]] == ids[:2]
    change_percent = float(re.search(r"\+([\d.]+) %", lines[1]).group(1))
    first, second = (run["r_ohm"] for run in document["runs"])
    assert change_percent == pytest.approx(100 * (second / first - 1), abs=0.06)


def test_a_run_without_label_has_no_history(ids, capsys):
    said(capsys, "label", ids[2][-8:], "")
    assert main(["log", "history", ids[2][-8:], "--demo"]) == 2
    assert "has no label" in capsys.readouterr().err
