# SPDX-License-Identifier: MIT
"""`sagline log`: runs listed, shown, labelled, deleted and restored, computed again, merged."""

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from uuid6 import uuid7

import sagline
from sagline.cli import main
from sagline.computing import with_terminal
from sagline.device.procedure import run
from sagline.device.progress import Finished, RepeatDone
from sagline.device.settings import Settings
from sagline.log.keeper import Keeper
from sagline.log.listing import Filters, list_runs
from sagline.log.merging import equal_labels, merge
from sagline.log.opening import LogError
from sagline.log.recomputing import recompute
from sagline.log.store import Log
from sagline.wording import report_lines


def keep(path, label, *, cell="lr6", stop_after=None):
    """Measure into `path`; the run ends after `stop_after` repeats, as where the host dies."""
    keeper = Keeper(path)
    with sagline.open_rig(f"virtual://{cell}?seed=3") as rig:
        designation = {"lr6": "LR6", "6lr61": "6LR61"}[cell]
        running = run(rig, Settings(designation=designation, repeats=2, label=label))
        for item in keeper.keep(running):
            if isinstance(item, RepeatDone) and item.repeat == stop_after:
                # No ending is written: the connection just goes.
                assert keeper._log is not None
                keeper._log.close()
                keeper._record = None
                running.close()
                break
            if isinstance(item, Finished):
                break


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A log of three runs: kitchen 1, block, and an interrupted one."""
    path = tmp_path_factory.mktemp("made") / "made.sqlite"
    keep(path, "kitchen 1")
    keep(path, "block", cell="6lr61")
    keep(path, "cut off", stop_after=1)
    return path


@pytest.fixture
def path(made, tmp_path):
    return Path(shutil.copy(made, tmp_path / "log.sqlite"))


@pytest.fixture
def ids(path):
    with Log(path) as log:
        return {row.label: row.id for row in list_runs(log, Filters())}


@pytest.fixture
def log_(path, capsys):
    """Run `sagline log VERB ...` on the log; return status, words, errors."""

    def run_(*arguments):
        status = main(["log", *arguments, "--log", str(path)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return run_


def contents(path):
    """Everything in the log, table by table."""
    with Log(path) as log:
        tables = ("record", "header", "step", "ending", "result", "mark")
        return {name: log.db.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall()
                for name in tables}  # fmt: skip


def test_a_list_has_a_row_a_run_the_newest_last(log_, ids):
    status, out, err = log_("list")
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert [line.split()[0] for line in lines[1:]] == [
        ids[label][-8:] for label in ("kitchen 1", "block", "cut off")
    ]
    assert "±" in lines[1] and "LR6" in lines[1] and lines[1].endswith("kitchen 1")
    assert "interrupted, 1 repeat" in lines[3]
    assert max(map(len, lines)) <= 80


def test_a_list_is_chosen_by_label_designation_rig_and_time(path):
    tomorrow = datetime.now(UTC) + timedelta(days=1)
    with Log(path) as log:

        def labels(**filters):
            return [row.label for row in list_runs(log, Filters(**filters))]

        assert labels(label="KITCH") == ["kitchen 1"]
        with Log(path, write=True) as other:
            other.mark([list_runs(log, Filters(label="block"))[0].id], "label", "Zelle Ä")
        # A with a combining diaeresis, as macOS writes it.
        assert labels(label="zelle a\u0308") == labels(label="ä") == ["Zelle Ä"]
        with Log(path, write=True) as other:
            other.mark([list_runs(log, Filters(label="Zelle"))[0].id], "label", "block")
        assert labels(designation="6lr") == ["block"]
        assert labels(rig="lr6-3") == ["cut off", "kitchen 1"]
        assert labels(rig="nothing") == []
        assert labels(since=tomorrow) == []
        assert labels(until=tomorrow) == ["cut off", "block", "kitchen 1"]
        assert labels(label="%") == [], "no wildcard"
        assert len(list_runs(log, Filters(), limit=2)) == 2


def test_json_of_a_list_has_the_figures(log_):
    _, out, _ = log_("list", "--json", "--designation", "6LR61")
    (row,) = json.loads(out)["runs"]
    assert row["state"] == "complete"
    assert row["r_ohm"] == pytest.approx(1.9, rel=0.1)
    assert 0.0 < row["r_u95_ohm"] < 0.5


def test_show_prints_record_and_result(log_, ids):
    status, out, _ = log_("show", ids["kitchen 1"][-8:])
    assert status == 0
    assert "2 of 2 repeats on 3.3 Ω" in out
    assert "r(0.1 s) =" in out
    _, out, _ = log_("show", ids["cut off"], "--json")
    said = json.loads(out)
    assert (said["state"], said["results"], said["record"]["repeats_measured"]) == (
        "interrupted",
        [],
        1,
    )


def test_runs_are_compared_the_smallest_r_first(path, tmp_path, log_, ids):
    other = tmp_path / "worn.sqlite"
    with sagline.open_rig("virtual://lr6-worn?seed=3") as rig:
        list(Keeper(other).keep(run(rig, Settings(designation="LR6", repeats=2, label="worn"))))
    assert log_("merge", str(other))[0] == 0
    with Log(path) as log:
        worn = next(row.id for row in list_runs(log, Filters(label="worn")))
    status, out, err = log_("compare", worn, ids["kitchen 1"])
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    rows = [line.split() for line in out.splitlines()[2:4]]
    assert [row[0] for row in rows] == [ids["kitchen 1"][-8:], worn[-8:]]
    assert rows[0][-2:] == ["kitchen", "1"] and float(rows[1][-2]) > 1.0, "r 0.16 and 0.42 ohm"
    assert "No temperature is known" in out
    found = json.loads(log_("compare", worn, ids["kitchen 1"], "--json")[1])["comparison"]
    assert found["t_s"] == 0.1 and found["pairs"][0]["en"] > 1.0
    assert found["pairs"][0]["difference_ohm"] == pytest.approx(
        found["rows"][1]["r_ohm"] - found["rows"][0]["r_ohm"]
    )


def test_what_is_not_to_be_compared_is_refused(log_, ids):
    status, out, err = log_("compare", ids["kitchen 1"], ids["block"])
    assert (status, out) == (4, "") and "3.3, 68 Ω" in err
    status, _, err = log_("compare", ids["kitchen 1"], ids["kitchen 1"], "--json")
    assert status == 4 and json.loads(err)["error"]["code"] == "nothing_to_compare"
    assert log_("compare", ids["kitchen 1"], ids["cut off"])[0] == 2
    status, _, err = log_("compare", ids["kitchen 1"], ids["block"], "--at", "0.2")
    assert status == 2 and "--times 0.2" in err
    # What the remedy says is done, and then only the loads stand in the way.
    log_("recompute", ids["kitchen 1"], ids["block"], "--times", "0.2")
    status, _, err = log_("compare", ids["kitchen 1"], ids["block"], "--at", "0.2")
    assert status == 4 and "loads were different" in err


def test_a_result_without_its_readings_is_shown_without_the_working(path, ids):
    with Log(path) as log:
        record = log.record(ids["kitchen 1"])
        (stored,) = log.results(record.id)
    assert stored.terminal is None
    assert not any("(E − V) / I" in line for line in report_lines(stored))
    found = with_terminal(record, stored)
    assert found == stored and found.terminal.repeats == 2
    assert any("(E − V) / I" in line for line in report_lines(found))
    assert with_terminal(record.with_steps([], None), stored).terminal is None


def test_an_interrupted_run_says_how_to_compute_what_there_is(log_, ids, path):
    _, out, _ = log_("show", ids["cut off"])
    assert f"sagline log recompute --log '{path}' {ids['cut off'][-8:]}" in out
    status, out, _ = log_("recompute", ids["cut off"])
    assert status == 0
    assert out.startswith(f"{ids['cut off'][-8:]}  r 0.1")
    _, out, _ = log_("show", ids["cut off"])
    assert "1 of 2 repeats" in out and "state     interrupted" in out
    assert "r(0.1 s) =" in out


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ("zz", "bad_id"),
        ("", "bad_id"),
        ("%", "bad_id"),
        ("ffffff0", "unknown_id"),
        ("0", "several_ids"),
    ],
)
def test_an_id_that_means_no_run_or_several(log_, given, code):
    status, _, err = log_("show", given, "--json")
    assert (status, json.loads(err)["error"]["code"]) == (2, code)


def test_a_label_is_changed_and_changed_back(log_, ids, path):
    first = contents(path)
    assert log_("label", ids["block"], "loan")[:2] == (
        0, f"{ids['block'][-8:]} is now 'loan'; it was 'block'.\n",
    )  # fmt: skip
    assert "loan" in log_("list")[1]
    assert json.loads(log_("show", ids["block"], "--json")[1])["results"][0]["label"] == "loan"
    log_("label", ids["block"], "block")
    after = contents(path)
    assert len(after.pop("mark")) == 2
    assert first.pop("mark") == []
    assert after == first


def test_a_label_steers_no_terminal(log_, ids, path):
    """One of a log that something else has written; our own refuse such text."""
    assert log_("label", ids["block"], "\x1b[2Jgone")[0] == 2
    with Log(path, write=True) as log:
        log.mark([ids["block"]], "label", "\x1b[2Jgone\r\x07")
    for verb in (("list",), ("show", ids["block"])):
        out = log_(*verb)[1]
        assert "gone" in out
        assert out.replace("\n", "").isprintable()


def test_delete_marks_and_restore_undoes(log_, ids, path):
    before = contents(path)
    status, out, _ = log_("delete", ids["block"], ids["cut off"])
    assert status == 0
    undo = f"sagline log restore --log '{path}' {ids['block'][-8:]} {ids['cut off'][-8:]}"
    assert undo in out
    assert "complete; deleted" in log_("show", ids["block"])[1]
    assert json.loads(log_("show", ids["block"], "--json")[1])["deleted"]
    assert len(log_("list")[1].splitlines()) == 2
    assert len(log_("list", "--deleted")[1].splitlines()) == 3
    assert log_("restore", ids["block"], ids["cut off"])[0] == 0
    after = contents(path)
    assert len(after.pop("mark")) == len(before.pop("mark")) + 4
    assert after == before


def test_delete_takes_all_or_none(log_, ids):
    assert log_("delete", ids["block"], "ffffff0")[0] == 2
    assert "block" in log_("list")[1]


def test_recompute_adds_beside_and_only_what_is_new(log_, ids, path):
    before = contents(path)
    status, out, _ = log_("recompute", ids["block"])
    assert (status, "already" in out) == (0, True)
    assert contents(path) == before
    status, out, _ = log_("recompute", ids["block"], "--times", "0.1,0.2", "--json")
    (row,) = json.loads(out)["results"]
    assert row["added"]
    assert [at["t_s"] for at in row["result"]["r_at"]] == [0.1, 0.2, 1e-4]
    after = contents(path)
    assert set(before["result"]) < set(after["result"])
    assert len(after["result"]) == len(before["result"]) + 1
    assert log_("recompute", ids["block"], "--times", "0.1,0.2")[1].endswith("already\n")
    assert "2 results" in log_("show", ids["block"])[1]


def test_another_time_does_not_take_the_place_of_the_one_asked_for(log_, ids):
    before = log_("list")[1]
    shown = log_("show", ids["block"])[1].split("\n\n")[1]
    log_("recompute", ids["block"], "--times", "0.05")
    assert log_("list")[1] == before
    assert log_("show", ids["block"])[1].split("\n\n")[1] == shown
    other = json.loads(log_("show", ids["block"], "--json")[1])["results"][-1]
    assert "r(0.05 s) =" in log_("show", other["id"])[1]


def test_a_result_of_a_run_that_was_cut_off_says_so(log_, ids):
    _, out, _ = log_("recompute", ids["cut off"], "--json")
    (row,) = json.loads(out)["results"]
    said = {warning["code"]: warning["text"] for warning in row["result"]["warnings"]}
    assert said["run_cut_off"] == "The run was interrupted after repeat 1 of 2."


def test_recompute_wants_ids_or_filters(log_, ids):
    assert log_("recompute", ids["block"], "--label", "x")[0] == 2
    assert log_("recompute", "--label", "nowhere")[:2] == (0, "No run is as you ask.\n")
    assert log_("list", "--limit", "9" * 30)[0] == 0


def test_recompute_tells_which_run_yields_no_figure(log_, ids):
    status, out, _ = log_("recompute", "--times", "0.9")
    assert status == 4
    assert out.count("no figure") == 3


def test_a_result_of_another_method_stays_beside(path, ids):
    with Log(path, write=True) as log:
        (old,) = log.results(ids["block"])
        log.db.execute("DELETE FROM result WHERE record_id = ?", (ids["block"],))
        other = old.model_copy(update={"id": str(uuid7()), "method": "window-0"})
        log.add_result(ids["block"], other)
        done = recompute(log, ids["block"])
        assert done.added
        assert [r.method for r in log.results(ids["block"])] == ["window-0", old.method]
        assert done.result.r_ohm == old.r_ohm


def test_merging_takes_everything_once(path, tmp_path, log_):
    other = tmp_path / "other.sqlite"
    keep(other, "bench 7")
    mine = contents(path)
    status, out, _ = log_("merge", str(other))
    assert (status, out) == (0, f"1 run and 1 result came in from {other}.\n")
    merged = contents(path)
    for table, rows in contents(other).items():
        assert set(merged[table]) == set(mine[table]) | set(rows), table
    log_("merge", str(other))
    assert contents(path) == merged


def test_merging_brings_marks_and_later_steps(path, tmp_path, ids):
    other = Path(shutil.copy(path, tmp_path / "other.sqlite"))
    with Log(other, write=True) as log:
        log.mark([ids["block"]], "label", "block B")
        log.mark([ids["kitchen 1"]], "deleted", "yes")
        recompute(log, ids["cut off"])
    with Log(path, write=True) as log:
        log.mark([ids["kitchen 1"]], "label", "kitchen one")
        assert equal_labels(log, other) == []
        merged = merge(log, other)
        assert (merged.records, merged.results, merged.marks) == (0, 1, 2)
        assert {row.label for row in list_runs(log, Filters())} == {"block B", "cut off"}
        assert [row.label for row in list_runs(log, Filters(deleted=True))] == ["kitchen one"]


@pytest.mark.parametrize(("choice", "labels"), [("same", ["kitchen 1"] * 2),
                         ("apart", ["kitchen 1 (other)", "kitchen 1"])])  # fmt: skip
def test_equal_labels_are_asked_about(path, tmp_path, log_, choice, labels):
    other = tmp_path / "other.sqlite"
    keep(other, "kitchen 1")
    before = contents(path)
    status, _, err = log_("merge", str(other), "--json")
    assert (status, json.loads(err)["error"]["code"]) == (2, "equal_labels")
    assert contents(path) == before
    assert log_("merge", str(other), "--equal-labels", choice)[0] == 0
    with Log(path) as log:
        assert [row.label for row in list_runs(log, Filters(label="kitchen"))] == labels


def test_two_cells_never_get_one_label_unasked(path, tmp_path, log_):
    """Every bench calls its log the same: the third one's cell needs a number."""
    for bench in ("b", "c"):
        keep(tmp_path / bench / "log.sqlite", "kitchen 1")
        asked = ("merge", str(tmp_path / bench / "log.sqlite"), "--equal-labels", "apart")
        assert log_(*asked)[0] == 0
    with Log(path) as log:
        labels = [row.label for row in list_runs(log, Filters(label="kitchen"))]
    assert labels == ["kitchen 1 (log 2)", "kitchen 1 (log)", "kitchen 1"]


def test_a_cell_that_came_before_is_no_equal_label(path, tmp_path, log_):
    other = tmp_path / "other.sqlite"
    keep(other, "theirs")
    assert log_("merge", str(other))[0] == 0
    keep(other, "theirs")
    assert log_("merge", str(other))[0] == 0
    with Log(path) as log:
        assert [row.label for row in list_runs(log, Filters(label="theirs"))] == ["theirs"] * 2


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo terminals are a thing of Unix")
@pytest.mark.parametrize(("typed", "labels"), [(b"?\ny\n", {"kitchen 1"}),
                         (b"no\n", {"kitchen 1", "kitchen 1 (other)"})])  # fmt: skip
def test_a_person_at_a_terminal_is_asked(path, tmp_path, typed, labels):
    import pty

    other = tmp_path / "other.sqlite"
    keep(other, "kitchen 1")
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "sagline", "log", "merge", str(other), "--log", str(path)],
        stdin=theirs, stdout=subprocess.PIPE, stderr=theirs,
    )  # fmt: skip
    os.write(ours, typed)
    process.communicate(timeout=60)
    os.close(ours)
    os.close(theirs)
    assert process.returncode == 0
    with Log(path) as log:
        assert {row.label for row in list_runs(log, Filters(label="kitchen"))} == labels


def test_two_contents_under_one_id_are_refused(path, tmp_path, ids):
    other = Path(shutil.copy(path, tmp_path / "other.sqlite"))
    with Log(other, write=True) as log:
        log.db.execute("UPDATE step SET document = x'00' WHERE record_id = ?", (ids["block"],))
    before = contents(path)
    with Log(path, write=True) as log, pytest.raises(LogError) as caught:
        merge(log, other)
    assert caught.value.code == "two_contents"
    assert contents(path) == before


def test_simulated_runs_do_not_get_among_real_ones_unasked(path, sagline_home, capsys):
    assert main(["log", "merge", str(path), "--json"]) == 2
    assert json.loads(capsys.readouterr().err)["error"]["code"] == "simulated_runs"
    assert not sagline_home.exists()
    assert main(["log", "merge", str(path), "--demo"]) == 0
    assert main(["log", "list", "--demo"]) == 0
    assert "block" in capsys.readouterr().out


def test_a_log_beside_which_nothing_can_be_written_is_read_and_merged(path, tmp_path, log_):
    """As on a medium for reading only: a folder stands where SQLite would make its file."""
    stick = tmp_path / "stick"
    stick.mkdir()
    other = Path(shutil.copy(path, stick / "log.sqlite"))
    (stick / "log.sqlite-shm").mkdir()
    with Log(other) as log:
        assert [row.label for row in list_runs(log, Filters())] == ["cut off", "block", "kitchen 1"]
    into = tmp_path / "into.sqlite"
    assert main(["log", "merge", str(other), "--log", str(into)]) == 0
    merged, wanted = contents(into), contents(other)
    assert merged == wanted


def test_a_log_is_not_merged_into_itself(log_, path):
    status, _, err = log_("merge", str(path), "--json")
    assert (status, json.loads(err)["error"]["code"]) == (2, "same_log")


@pytest.mark.parametrize("verb", ["list", "delete ab", "label ab x", "recompute", "show ab"])
def test_where_there_is_no_log_none_is_made(sagline_home, capsys, verb):
    name, *rest = verb.split()
    assert main(["log", name, *rest]) == 2
    assert "no log" in capsys.readouterr().err
    assert not sagline_home.exists()


def test_real_and_demo_logs_are_two(sagline_home, capsys):
    keep(sagline_home / "demo-log.sqlite", "shown")
    assert main(["log", "list"]) == 2
    assert main(["log", "list", "--demo"]) == 0
    assert "shown" in capsys.readouterr().out
    assert main(["log", "list", "--demo", "--log", "x"]) == 2
