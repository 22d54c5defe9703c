# SPDX-License-Identifier: MIT
"""What earlier versions stored stays readable, and gives the figures it gave."""

import json
import shutil
from pathlib import Path

import pytest

from sagline.computing import result_of
from sagline.handrecord import HAND_METHOD, HandRecord
from sagline.log import schema
from sagline.log.listing import Filters, list_runs
from sagline.log.opening import LogError
from sagline.log.store import Log
from sagline.records import Record
from sagline.results import METHOD, Result

SAMPLES = Path(__file__).parents[1] / "samples"
LOGS = sorted(SAMPLES.glob("log-v*.sqlite"))
RECORDS = sorted(SAMPLES.glob("record-v*.json"))
RESULTS = sorted(SAMPLES.glob("result-v*.json"))
FIGURES = (
    "emf_v", "r_ohm", "r_at", "load_ohm", "current_a", "short_circuit_a", "max_power_w",
    "repeats", "rejected", "budget", "emf_budget", "conditions",
)  # fmt: skip


def flat(value, name=""):
    """Every number, text and null of a document by its path."""
    if isinstance(value, dict):
        return {k: v for key, item in value.items() for k, v in flat(item, f"{name}/{key}").items()}
    if isinstance(value, list):
        return {k: v for i, item in enumerate(value) for k, v in flat(item, f"{name}/{i}").items()}
    return {name: value}


def assert_same_figures(again: Result, stored: Result):
    """The same method: to 1e-9. Another: r and E within the stored intervals.

    1e-9 leaves room for another order of summation, not for another method: whoever changes
    figures by more gives METHOD a new name. The intervals of a Monte Carlo run rest on numpy's
    streams of random numbers too, which numpy may change in a release of its own.
    """
    if stored.method not in (METHOD, HAND_METHOD):
        for name in ("r_ohm", "emf_v"):
            old, new = getattr(stored, name), getattr(again, name)
            if old.low95 is not None and old.high95 is not None:
                assert old.low95 <= new.value <= old.high95
        return
    new, old = again.to_dict(), stored.to_dict()
    found = flat({name: new[name] for name in FIGURES})
    wanted = flat({name: old[name] for name in FIGURES})
    assert list(found) == list(wanted)
    for name, value in wanted.items():
        if isinstance(value, float):
            assert found[name] == pytest.approx(value, rel=1e-9, abs=0.0), name
        else:
            assert found[name] == value, name


@pytest.fixture(params=LOGS, ids=lambda path: path.name)
def log_path(request, tmp_path):
    return Path(shutil.copy(request.param, tmp_path / "log.sqlite"))


def test_there_is_a_sample_of_every_version():
    names = {path.name for path in (*LOGS, *RECORDS, *RESULTS)}
    assert names >= {"log-v1.sqlite", "record-v1.json", "result-v1.json"}
    assert (SAMPLES / "hand-v1.json").exists() and (SAMPLES / "hand-result-v1.json").exists()
    assert f"log-v{schema.VERSION}.sqlite" in names
    for path, size in ((path, path.stat().st_size) for path in LOGS):
        assert size < 160_000
        assert not Path(f"{path}-wal").exists(), "all of it is in the one file"


def test_a_stored_log_lists_its_runs_and_gives_their_figures_again(log_path):
    with Log(log_path) as log:
        rows = list_runs(log, Filters())
        gone = list_runs(log, Filters(deleted=True))
        # Readings by hand have no steps; version 1 had no place for r without E.
        by_hand = {("by hand", "complete", 0)} if schema.version_of(log.db) > 1 else set()
        assert {(row.label, row.state, row.repeats) for row in rows} == by_hand | {
            ("kitchen 3", "complete", 2),
            ("smoke alarm", "complete", 2),
            ("cut off", "interrupted", 1),
        }
        notes = {row.label: row.note for row in rows if row.note is not None}
        has_notes = schema.version_of(log.db) >= schema.NOTES_SINCE
        assert notes == ({"kitchen 3": "from the torch in the hall"} if has_notes else {})
        assert [(row.label, row.state) for row in gone] == [("worn", "complete")]
        for row in (*rows, *gone):
            record = log.any_record(row.id)
            assert len(record.kept_steps) == row.repeats
            again = result_of(record)
            assert again.r_ohm.value > 0.0
            for stored in log.results(row.id):
                assert_same_figures(again, stored)


def test_a_stored_log_migrates_when_it_is_written_to(log_path):
    with Log(log_path) as log:
        before = {row.id: (log.any_record(row.id), log.results(row.id))
                  for row in list_runs(log, Filters())}  # fmt: skip
    with Log(log_path, write=True) as log:
        assert schema.version_of(log.db) == schema.VERSION
        # And by a step that is still to come.
        later = "ALTER TABLE record ADD COLUMN later TEXT;\nCREATE INDEX later ON record (later);"
        schema.migrate(log.db, (*schema.MIGRATIONS, later))
        assert schema.version_of(log.db) == schema.VERSION + 1
        after = {row.id: (log.any_record(row.id), log.results(row.id))
                 for row in list_runs(log, Filters())}  # fmt: skip
        assert after == before
        # What people had said of the runs is still said, and in the same order.
        assert {row.label for row in list_runs(log, Filters())} >= {"kitchen 3", "smoke alarm"}
        log.mark(list(before), "label", "new")
        log.mark(list(before), "note", "seen")
        assert {(row.label, row.note) for row in list_runs(log, Filters())} == {("new", "seen")}
    with pytest.raises(LogError) as caught:
        Log(log_path)
    assert caught.value.code == "newer_log"


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.name)
def test_a_stored_record_gives_its_stored_result(path):
    record = Record.model_validate_json(path.read_bytes())
    twin = path.with_name(path.name.replace("record", "result"))
    stored = Result.model_validate_json(twin.read_bytes())
    assert_same_figures(result_of(record), stored)
    assert (record.label, record.operator) == (stored.label, stored.operator)


def test_stored_readings_by_hand_give_their_stored_result():
    record = HandRecord.model_validate_json((SAMPLES / "hand-v1.json").read_bytes())
    stored = Result.model_validate_json((SAMPLES / "hand-result-v1.json").read_bytes())
    assert stored.emf_v is None
    assert_same_figures(result_of(record), stored)


def test_figures_of_another_size_are_noticed():
    document = {**json.loads((SAMPLES / "result-v1.json").read_bytes()), "method": METHOD}
    stored = Result.model_validate(document)
    document["budget"][0]["u_ohm"] *= 1.0 + 1e-8
    with pytest.raises(AssertionError):
        assert_same_figures(Result.model_validate(document), stored)
