# SPDX-License-Identifier: MIT
"""A run is kept while it goes on, and comes out of the log as it went in."""

import json
import sqlite3
import subprocess
import sys

import pytest

import sagline
from sagline.cli import main
from sagline.computing import result_of
from sagline.device.procedure import run
from sagline.device.progress import Finished, RepeatDone, Stepping
from sagline.device.settings import Settings
from sagline.errors import Refused
from sagline.log.keeper import Keeper
from sagline.log.store import Log

LR6 = "virtual://lr6?seed=4"


def kept(path, address=LR6, **settings):
    """Measure into the log at `path`; return what the run said."""
    settings = {"designation": "LR6", "repeats": 2, **settings}
    with sagline.open_rig(address) as rig:
        return list(Keeper(path).keep(run(rig, Settings(**settings))))


def only_id(log):
    ((record_id,),) = log.db.execute("SELECT id FROM record").fetchall()
    return record_id


def test_what_went_in_comes_out(tmp_path):
    items = kept(tmp_path / "log.sqlite", label="kitchen 3", operator="A. Volta")
    steps = [item.step for item in items if isinstance(item, RepeatDone)]
    finished = items[-1]
    assert isinstance(finished, Finished)
    with Log(tmp_path / "log.sqlite") as log:
        record_id = only_id(log)
        record = log.record(record_id)
        assert record.steps == steps
        assert (record.state, record.label, record.operator) == (
            "complete", "kitchen 3", "A. Volta",
        )  # fmt: skip
        assert log.results(record_id) == [finished.result]
        assert log.find(record_id[-8:]) == log.find(finished.result.id) == record_id


def test_the_record_gives_the_same_result_again(tmp_path):
    finished = kept(tmp_path / "log.sqlite", "virtual://6lr61?seed=2", designation="6LR61")[-1]
    assert isinstance(finished, Finished)
    with Log(tmp_path / "log.sqlite") as log:
        again = result_of(log.record(only_id(log)))
    first, second = finished.result.to_dict(), again.to_dict()
    assert first.pop("id") != second.pop("id")
    assert first == second


def test_every_repeat_is_in_the_log_before_it_is_reported(tmp_path):
    path = tmp_path / "log.sqlite"
    with sagline.open_rig(LR6) as rig:
        for item in Keeper(path).keep(run(rig, Settings(designation="LR6", repeats=3))):
            if isinstance(item, RepeatDone):
                other = sqlite3.connect(path)
                assert other.execute("SELECT max(n) FROM step").fetchone()[0] == item.repeat
                other.close()


def test_a_stopped_run_is_kept_as_far_as_it_came(tmp_path):
    with sagline.open_rig(LR6) as rig:
        running = Keeper(tmp_path / "log.sqlite").keep(run(rig, Settings(designation="LR6")))
        for item in running:
            if isinstance(item, Stepping) and item.repeat == 3 and item.phase == "load on":
                break
        running.close()
        assert rig._link._port.hardware.conducting() == 0
    with Log(tmp_path / "log.sqlite") as log:
        record = log.record(only_id(log))
    assert (record.state, len(record.steps)) == ("stopped", 2)
    assert result_of(record).r_ohm.value == pytest.approx(0.16, abs=0.02)


def test_a_failed_run_says_why(tmp_path):
    with pytest.raises(Refused):
        kept(tmp_path / "log.sqlite", f"{LR6}&fault=over_voltage:2", repeats=3)
    with Log(tmp_path / "log.sqlite") as log:
        record = log.record(only_id(log))
    assert record.ending is not None
    assert (record.ending.how, record.ending.code, len(record.steps)) == ("failed", "board_101", 1)


def test_measure_keeps_a_simulated_run_in_the_demo_log(sagline_home, capsys):
    assert main(["measure", "--rig", LR6, "--repeats", "2", "--designation", "LR6"]) == 0
    said = capsys.readouterr().out.splitlines()[-1]
    with Log(sagline_home / "demo-log.sqlite") as log:
        record_id = only_id(log)
    known = record_id[-8:]
    assert said == f"Kept in the log as {known}: `sagline log show --demo {known}`"
    assert not (sagline_home / "log.sqlite").exists()


def test_python_keeps_a_simulated_run_only_where_told(sagline_home, tmp_path):
    with sagline.open_rig(LR6) as rig:
        rig.measure(designation="LR6", repeats=1)
        assert not sagline_home.exists()
        result = rig.measure(designation="LR6", repeats=1, log=tmp_path / "mine.sqlite")
    with Log(tmp_path / "mine.sqlite") as log:
        assert log.results(only_id(log)) == [result]


def test_a_run_that_the_log_does_not_take_is_rescued_and_can_be_taken_in(tmp_path, capsys):
    path = tmp_path / "log.sqlite"
    kept(path)
    with Log(path, write=True) as log:
        log.db.execute("PRAGMA user_version = 99")
    asked = ["--rig", LR6, "--designation", "LR6", "--repeats", "2", "--label", "here", "--json"]
    assert main(["measure", *asked, "--log", str(path)]) == 5
    said = capsys.readouterr()
    result = json.loads(said.out)
    remedy = json.loads(said.err)["error"]["remedy"]
    (rescued,) = tmp_path.glob("sagline-*.sqlite")
    assert f"sagline log merge '{rescued}' --log '{path}'" in remedy
    other = tmp_path / "other.sqlite"
    kept(other)
    assert main(["log", "merge", str(rescued), "--log", str(other)]) == 0
    with Log(other) as log:
        record = log.record(log.find(result["id"]))
        assert (record.state, record.label, len(record.steps)) == ("complete", "here", 2)
        (kept_result,) = [one.to_dict() for one in log.results(record.id)]
    # What was printed says in addition that it was not kept.
    assert result["warnings"].pop()["code"] == "not_stored"
    assert kept_result == result


def measured_under(limit, path):
    """Measure in a process of its own in which no file may outgrow `limit` bytes."""
    code = (
        "import resource, signal, sys; from sagline.cli import main;"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}));"
        "sys.exit(main(sys.argv[1:]))"
    )
    return subprocess.run(
        [sys.executable, "-c", code, "measure", "--rig", LR6, "--repeats", "3",
         "--designation", "LR6", "--log", str(path), "--json"],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="limits of a process are a thing of Unix")
def test_a_result_that_cannot_be_stored_is_printed_and_the_log_stays_whole(tmp_path):
    path = tmp_path / "log.sqlite"
    kept(path)
    with Log(path) as log:
        before = log.record(only_id(log))
    run_ = measured_under(path.stat().st_size + 8192, path)
    assert run_.returncode == 5
    assert json.loads(run_.stdout)["r_ohm"]["value"] == pytest.approx(0.16, abs=0.02)
    error = json.loads(run_.stderr)["error"]
    assert str(path) in error["message"]
    assert error["remedy"]
    with Log(path) as log:
        assert log.db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert log.record(before.id) == before
