# SPDX-License-Identifier: MIT
"""`sagline drawer`: the same line by line, on a tray of simulated cells."""

import io
import json

import pytest

from sagline.cli import main

TRAY = "virtual://tray?cells=lr6,cr2032&seed=3"


@pytest.fixture
def say(capsys):
    """Run `sagline drawer ...`; return status, words, errors."""

    def say_(*arguments):
        status = main(["drawer", *arguments])
        said = capsys.readouterr()
        return status, said.out, said.err

    return say_


def test_a_tray_from_the_first_label_to_groups_and_undo(say, monkeypatch):
    # Nobody is there to say `go`: the coin cell is left out, unloaded.
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    new = ("--rig", TRAY, "--designation", "lr6", "--first-label", "a-09", "--name", "one")
    status, out, _ = say("measure", *new)
    assert status == 0
    lines = out.splitlines()
    assert lines[1] == "Next: a-09. Put it in."
    assert lines.index("Next: a-10. Put it in.") > lines.index("  Take a-09 out.")
    assert "a-10 is not loaded yet: 3." in out and "LR6 (alkaline AA) has at most 1.65 V" in out
    assert "Say skip, or cell NAME, or take it out." in out
    assert max(map(len, (line for line in lines if line.startswith("a-")))) <= 150

    status, out, _ = say("show", "--group", "0.05", "--sort", "r", "--json")
    shown = json.loads(out)
    measured, left_out = shown["rows"]
    assert (status, shown["next_label"]) == (0, "a-11")
    assert (measured["label"], measured["state"]) == ("a-09", "measured")
    assert 0.0 < measured["r_u95_ohm"] < 0.05 * measured["r_ohm"] and measured["load_ohm"] > 3.0
    assert (left_out["state"], left_out["r_ohm"]) == ("above band", None)
    assert [group["labels"] for group in shown["groups"]] == [["a-09"]]

    assert say("reference", "--row", "a-09")[1].startswith("LR6 ")
    status, out, _ = say("show")
    assert "itself" in out and "LABEL" in out and "a-10: 3." in out
    status, out, _ = say("rename", "a-09", "kitchen")
    assert out == "a-09 is kitchen now. Next label: a-11.\n"
    said = [say("undo")[1] for _ in range(3)]
    assert "a-09 called kitchen" in said[0] and "a-10, 3." in said[1] and "run of a-09" in said[2]
    assert "Next label: a-09." in said[2]
    status, _, err = say("undo")
    assert status == 2 and "nothing to undo" in err
    assert "one" in say("list")[1] and "0 cells  simulated" in say("list")[1]


def test_what_makes_no_sense_is_refused_before_anything_is_written(say, sagline_home):
    for wrong, word in (
        (("--designation", "XX9"), "not in the table"),
        (("--resume", "no-such"), "no drawer"),
        (("--resume", "a", "--name", "b"), "as it was begun"),
        (("--name", "../b"), "cannot be a drawer's name"),
        (("--temperature", "300"), "no temperature"),
    ):
        status, _, err = say("measure", "--rig", TRAY, *wrong)
        assert status == 2 and word in err, err
    assert not (sagline_home / "drawers").exists() or not list((sagline_home / "drawers").iterdir())
    assert say("show")[0] == 2 and "no drawer yet" in say("show")[2]
