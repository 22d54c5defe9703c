# SPDX-License-Identifier: MIT
"""A log that fails: the result still comes, what the log held stays, and words say what to do."""

import json
import os
import sqlite3
import threading

import pytest

import sagline
from sagline.cli import main
from sagline.device.procedure import run
from sagline.device.progress import Finished, OpenVoltage, Planned, RepeatDone, Stepping
from sagline.device.settings import Settings
from sagline.errors import NotStored, UsageError
from sagline.log import schema
from sagline.log.keeper import Keeper
from sagline.log.opening import LogError
from sagline.log.store import Log

LR6 = "virtual://lr6?seed=4"
BUSY_S = 0.2


def running(rig, **settings):
    return run(rig, Settings(**{"designation": "LR6", "repeats": 2, **settings}))


def kept(keeper, during=None, **settings):
    """Measure under `keeper`, calling `during(item)` at each item; return the result."""
    with sagline.open_rig(LR6) as rig:
        for item in keeper.keep(running(rig, **settings)):
            if during is not None:
                during(item)
            if isinstance(item, Finished):
                return item.result
    raise AssertionError("no result")


def states(path):
    with Log(path) as log:
        rows = log.db.execute("SELECT id FROM record ORDER BY id").fetchall()
        records = [log.record(row[0]) for row in rows]
        assert log.db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return [
            (record.state, len(record.steps), len(log.results(record.id))) for record in records
        ]


@pytest.fixture
def old(tmp_path):
    """A log that holds one run."""
    path = tmp_path / "log.sqlite"
    kept(Keeper(path))
    assert states(path) == [("complete", 2, 1)]
    return path


def fill(db):
    """Leave the log no page: what SQLite says then is what it says of a full disk."""
    pages = db.execute("PRAGMA page_count").fetchone()[0]
    db.execute(f"PRAGMA max_page_count = {pages}")


@pytest.mark.parametrize("when", ["begin", "step", "end"])
def test_a_disk_that_was_full_for_a_while_costs_nothing(old, when):
    keeper = Keeper(old)
    failed = []

    def during(item):
        at = {"begin": OpenVoltage, "step": Planned, "end": RepeatDone}
        if isinstance(item, at[when]) and (when != "end" or item.repeat == item.repeats):
            fill(keeper._log.db)
        elif keeper.failure is not None:
            failed.append(keeper.failure.code)

    assert kept(keeper, during).r_ohm.value == pytest.approx(0.16, abs=0.02)
    # The end comes in one go: it fails and is mended before anything is passed on.
    assert set(failed) == (set() if when == "end" else {"log_full"})
    assert keeper.failure is None
    assert states(old) == [("complete", 2, 1)] * 2


@pytest.mark.parametrize("when", ["begin", "step", "end"])
def test_a_disk_that_stays_full_costs_neither_the_result_nor_what_the_log_holds(
    old, when, monkeypatch
):
    keeper = Keeper(old)
    full = threading.Event()
    opened = keeper._open

    def open_and_fill():
        log = opened()
        if full.is_set():
            fill(log.db)
        return log

    monkeypatch.setattr(keeper, "_open", open_and_fill)

    def during(item):
        at = {"begin": OpenVoltage, "step": Planned, "end": RepeatDone}
        if isinstance(item, at[when]) and (when != "end" or item.repeat == item.repeats):
            full.set()

    assert kept(keeper, during).r_ohm.value == pytest.approx(0.16, abs=0.02)
    assert (keeper.failure.code, keeper.failure.exit_status) == ("log_full", 5)
    assert str(old) in keeper.failure.message
    held = {"begin": [], "step": [("interrupted", 0, 0)], "end": [("interrupted", 2, 0)]}
    assert states(old) == [("complete", 2, 1), *held[when]]


def other_database(path):
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE a (b)")
    db.close()


def claimed_but_empty(path):
    db = sqlite3.connect(path)
    db.execute("PRAGMA application_id = 7")
    db.execute("CREATE TABLE a (b)")
    db.execute("DROP TABLE a")
    db.close()


STRANGERS = {
    "text": (lambda path: path.write_text("shopping list\n"), "log_damaged"),
    "random bytes": (lambda path: path.write_bytes(os.urandom(9000)), "log_damaged"),
    "a database": (other_database, "not_a_log"),
    "an empty database of others": (claimed_but_empty, "not_a_log"),
    "a folder": (lambda path: path.mkdir(), "not_a_log"),
}


@pytest.mark.parametrize("what", STRANGERS)
def test_a_file_that_is_no_log_is_left_as_it_is(what, tmp_path, capsys):
    make, code = STRANGERS[what]
    path = tmp_path / "log.sqlite"
    make(path)
    before = None if path.is_dir() else path.read_bytes()
    said = measured(path, capsys)
    assert said["code"] == code
    with pytest.raises(LogError) as raised:
        Log(path)
    assert (raised.value.code, raised.value.exit_status) == (code, 2)
    assert path.is_dir() if before is None else path.read_bytes() == before


def measured(path, capsys):
    """Measure from the command line into a log that fails; return what is said of it."""
    status = main(["measure", "--rig", LR6, "--repeats", "1", "--designation", "LR6",
                   "--log", str(path), "--json"])  # fmt: skip
    said = capsys.readouterr()
    assert status == 5
    assert json.loads(said.out)["r_ohm"]["value"] == pytest.approx(0.16, abs=0.02)
    error = json.loads(said.err)["error"]
    assert str(path) in error["message"]
    assert error["remedy"]
    return error


def test_a_log_of_a_newer_version_is_not_touched(old, capsys):
    db = sqlite3.connect(old)
    db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    db.close()
    before = old.read_bytes()
    said = measured(old, capsys)
    assert said["code"] == "newer_log"
    assert f"version {schema.VERSION + 1}" in said["message"]
    assert f"knows {schema.VERSION}" in said["message"]
    with pytest.raises(LogError, match=f"version {schema.VERSION + 1}") as raised:
        Log(old)
    assert raised.value.exit_status == 2
    assert old.read_bytes() == before


def test_a_folder_that_cannot_be_made(tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert measured(tmp_path / "file" / "folder" / "log.sqlite", capsys)["code"] == "log_not_opened"


@pytest.mark.parametrize("beside, code", [("-wal", "log_not_opened"), ("-shm", "log_read_only")])
def test_a_log_whose_companion_cannot_be_written(old, beside, code, capsys):
    """A folder stands where SQLite writes: it stops root as well."""
    with Log(old, write=True):
        # The last one to leave clears both companions away.
        pass
    before = old.read_bytes()
    companion = old.with_name(old.name + beside)
    companion.mkdir()
    assert measured(old, capsys)["code"] == code
    companion.rmdir()
    assert old.read_bytes() == before
    assert states(old) == [("complete", 2, 1)]


def test_a_log_opened_for_reading_takes_nothing(old):
    with Log(old) as log:
        (record_id,) = log.db.execute("SELECT id FROM record").fetchone()
        with pytest.raises(NotStored) as raised:
            log.mark([record_id], "label", "other")
    assert raised.value.code == "log_read_only"
    assert states(old) == [("complete", 2, 1)]


# https://www.sqlite.org/vfs.html: unix-none has no shared memory, so SQLite refuses WAL.
@pytest.mark.skipif(not hasattr(os, "fork"), reason="a way of SQLite on Unix")
def test_a_folder_that_refuses_wal_is_told_and_as_safe(tmp_path):
    path = tmp_path / "log.sqlite"
    keeper = Keeper(path, options="vfs=unix-none")
    modes = set()

    def during(_):
        db = keeper._log.db
        names = ("journal_mode", "synchronous")
        modes.add(tuple(db.execute(f"PRAGMA {name}").fetchone()[0] for name in names))

    kept(keeper, during)
    assert keeper.failure is None
    assert str(path) in keeper.remark
    # https://www.sqlite.org/pragma.html#pragma_synchronous: 2 is FULL.
    assert modes == {("delete", 2)}
    assert states(path) == [("complete", 2, 1)]


def test_a_log_that_another_program_holds_is_told_and_tried_once_more(old):
    other = sqlite3.connect(old, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    keeper = Keeper(old, busy_s=BUSY_S)
    kept(keeper)
    assert keeper.failure.code == "log_busy"
    assert states(old) == [("complete", 2, 1)]
    failed = []

    def let_go(item):
        if isinstance(item, RepeatDone) and item.repeat == item.repeats:
            failed.append(keeper.failure.code)
            other.execute("ROLLBACK")

    kept(keeper, let_go)
    assert failed == ["log_busy"]
    assert keeper.failure is None
    assert states(old) == [("complete", 2, 1)] * 2
    other.close()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="Windows does not let an open file be moved")
def test_a_log_moved_away_meanwhile_loses_nothing(old):
    keeper = Keeper(old)
    away = old.with_name("away.sqlite")

    def during(item):
        if isinstance(item, Planned):
            old.rename(away)

    kept(keeper, during)
    # The run is whole where it was to be; what was there before is where it was moved to.
    assert keeper.failure is None
    assert states(old) == [("complete", 2, 1)]
    assert states(away)[0] == ("complete", 2, 1)


def test_damaged_pages_are_told_and_nothing_is_deleted(old):
    data = bytearray(old.read_bytes())
    for at in range(2 * 4096, len(data), 4096):
        data[at : at + 64] = bytes(byte ^ 0x55 for byte in data[at : at + 64])
    old.write_bytes(data)
    keeper = Keeper(old)
    assert kept(keeper).r_ohm.value == pytest.approx(0.16, abs=0.02)
    assert keeper.failure.code == "log_damaged"
    assert len(old.read_bytes()) == len(data)


def test_a_damaged_document_is_told(old):
    with Log(old, write=True) as log:
        (record_id,) = log.db.execute("SELECT id FROM record").fetchone()
        data = log.db.execute("SELECT document FROM step WHERE n = 1").fetchone()[0]
    whole = old.read_bytes()
    # In the middle of the first step's points, and small enough to stand in one piece.
    piece = data[600:640]
    assert whole.count(piece) == 1
    old.write_bytes(whole.replace(piece, bytes(byte ^ 0x55 for byte in piece)))
    with Log(old) as log, pytest.raises(LogError) as raised:
        log.record(record_id)
    assert raised.value.code == "log_damaged"
    keeper = Keeper(old)
    kept(keeper)
    assert keeper.failure is None


@pytest.mark.parametrize("text", ["kitchen \udcff", "two\nlines", "\x1b[2J"])
@pytest.mark.parametrize("name", ["label", "designation", "operator"])
def test_what_is_no_line_of_text_is_refused_before_anything_is_measured(name, text):
    """The first is what the shell hands over where its bytes are not UTF-8 (PEP 383)."""
    with pytest.raises(UsageError) as caught:
        Settings(**{name: text})
    assert caught.value.code == "not_text"
    assert name in caught.value.message


def test_a_record_that_is_no_text_costs_no_result(old):
    """As a program could make one that asks nobody."""
    keeper = Keeper(old)
    settings = Settings(designation="LR6", repeats=2)
    object.__setattr__(settings, "label", "kitchen \udcff")
    with sagline.open_rig(LR6) as rig:
        assert keeper.measure(run(rig, settings)).r_ohm.value == pytest.approx(0.16, abs=0.02)
    assert keeper.failure.code == "not_text"
    assert states(old) == [("complete", 2, 1)]


@pytest.mark.parametrize("application_id", [0, schema.APPLICATION_ID])
def test_a_log_that_was_only_just_made_is_none_yet(tmp_path, application_id):
    path = tmp_path / "log.sqlite"
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA application_id = {application_id}")
    db.close()
    with pytest.raises(LogError) as raised:
        Log(path)
    assert raised.value.code == "no_log"
    kept(Keeper(path))
    assert states(path) == [("complete", 2, 1)]


def test_a_migration_that_fails_half_way_changes_nothing(old):
    with Log(old, write=True) as log:
        before = list(log.db.iterdump())
        bad = (*schema.MIGRATIONS, "CREATE TABLE more (a);\nDROP TABLE mark;\nNOT SQL;\n")
        with pytest.raises(sqlite3.OperationalError, match="syntax"):
            schema.migrate(log.db, bad)
        assert list(log.db.iterdump()) == before
        assert schema.version_of(log.db) == schema.VERSION
        schema.migrate(log.db, (*schema.MIGRATIONS, "CREATE TABLE more (a);\n"))
        assert schema.version_of(log.db) == schema.VERSION + 1


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes that start at one moment")
@pytest.mark.parametrize("there", [True, False])
def test_processes_measure_into_one_log_at_once(there, tmp_path):
    path = tmp_path / "many.sqlite"
    if there:
        kept(Keeper(path))
    many = 4
    kept(Keeper(tmp_path / "warm.sqlite"))
    reading, writing = os.pipe()
    children = []
    for _ in range(many):
        child = os.fork()
        if child == 0:
            status = 1
            try:
                os.close(writing)
                os.read(reading, 1)  # all begin when the pipe is closed
                keeper = Keeper(path)
                kept(keeper)
                status = 0 if keeper.failure is None else 2
            finally:
                os._exit(status)
        children.append(child)
    os.close(writing)
    statuses = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    os.close(reading)
    assert statuses == [0] * many
    assert states(path) == [("complete", 2, 1)] * (many + there)


def test_a_run_closed_from_another_thread_is_ended(tmp_path):
    path = tmp_path / "log.sqlite"
    keeper = Keeper(path)
    raised = []
    with sagline.open_rig(LR6) as rig:
        progress = keeper.keep(running(rig))
        assert any(isinstance(item, RepeatDone) for item in progress)

        def close():
            try:
                progress.close()
            except BaseException as error:
                raised.append(error)

        thread = threading.Thread(target=close)
        thread.start()
        thread.join()
    assert raised == []
    assert keeper.failure is None
    assert states(path) == [("stopped", 1, 0)]


def test_a_run_whose_rig_is_lost_as_it_is_stopped_is_ended_too(tmp_path):
    path = tmp_path / "log.sqlite"
    with sagline.open_rig(LR6) as rig:
        progress = Keeper(path).keep(running(rig))
        for item in progress:
            if isinstance(item, Stepping) and item.repeat == 2:
                break
        rig._link._port.close()
        progress.close()
    assert states(path) == [("stopped", 1, 0)]
