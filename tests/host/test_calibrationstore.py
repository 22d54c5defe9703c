# SPDX-License-Identifier: MIT
"""The history of calibrations on this computer: nothing in it is ever changed or half written."""

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from kept_rigs import calibration

from sagline import calibrationstore
from sagline.calibrations import Calibration
from sagline.errors import NotStored, UsageError


def test_there_and_back_the_newest_last(sagline_home):
    assert calibrationstore.ids("lr6-7") == [] and calibrationstore.newest("lr6-7") is None
    assert not sagline_home.exists(), "looking makes nothing"
    # The order is that of the ids, whatever the files' times.
    all_of_them = [calibration() for _ in range(3)]
    for one in reversed(all_of_them):
        path = calibrationstore.keep(one)
        assert path == sagline_home / "calibrations" / "lr6-7" / f"{one.id}.json"
        assert Calibration.model_validate_json(path.read_text()) == one
    assert calibrationstore.ids("lr6-7") == [one.id for one in all_of_them]
    assert calibrationstore.newest("lr6-7") == all_of_them[-1]
    assert calibrationstore.readable("lr6-7") == (all_of_them, [])
    assert calibrationstore.serials() == ["lr6-7"]
    assert calibrationstore.ids("lr6-8") == []


def test_the_same_again_writes_nothing_and_another_is_refused():
    one = calibration()
    path = calibrationstore.keep(one)
    before = path.stat()
    assert calibrationstore.keep(one) == path
    after = path.stat()
    assert (after.st_ino, after.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    changed = one.model_copy(update={"made_at": one.made_at + timedelta(days=1)})
    with pytest.raises(NotStored) as caught:
        calibrationstore.keep(changed)
    assert caught.value.code == "calibration_id_taken"
    assert calibrationstore.newest("lr6-7") == one
    assert os.listdir(path.parent) == [path.name], "no draft is left"


@pytest.mark.parametrize("serial", ["../../outside", "..", ".", "a/b", "a\\b", "C:x", "", "Ω é"])
def test_no_serial_number_leads_out_of_the_folder(serial, sagline_home):
    one = calibration().model_copy(update={"rig_serial": serial})
    path = calibrationstore.keep(one)
    home = sagline_home / "calibrations"
    if serial:
        assert path.resolve().parent.parent == home.resolve()
        assert calibrationstore.serials() == [serial]
    assert home.resolve() in path.resolve().parents
    assert calibrationstore.newest(serial) == one
    assert [file for file in sagline_home.parent.rglob("*.json")] == [path]


def test_found_by_either_end_of_its_id():
    one, other = calibration(), calibration()
    calibrationstore.keep(one)
    calibrationstore.keep(other)
    assert calibrationstore.find("lr6-7", one.id[-8:].upper()) == one
    assert calibrationstore.find("lr6-7", other.id) == other
    for given, code in (
        (one.id[:6], "several_calibrations"),
        ("zz", "no_calibration"),
        ("", "no_calibration"),
        (" ", "no_calibration"),
    ):
        with pytest.raises(UsageError) as caught:
            calibrationstore.find("lr6-7", given)
        assert caught.value.code == code


def test_what_cannot_be_read_is_said_and_the_others_are_there():
    one, other = calibration(), calibration()
    calibrationstore.keep(one)
    path = calibrationstore.keep(other)
    path.write_text(path.read_text()[:-100])
    found, remarks = calibrationstore.readable("lr6-7")
    assert found == [one]
    assert len(remarks) == 1 and str(path) in remarks[0]
    with pytest.raises(UsageError) as caught:
        calibrationstore.newest("lr6-7")
    assert caught.value.code == "calibration_unreadable" and "--list" in caught.value.remedy


WRITER = """
import sys
from kept_rigs import calibration
from sagline import calibrationstore
one = calibration()
print("going", flush=True)
while True:
    one = one.model_copy(update={"id": calibration().id})
    calibrationstore.keep(one)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is a thing of Unix")
def test_killed_while_writing_it_leaves_whole_files_only():
    tests = Path(__file__).parents[1]
    for _ in range(3):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER],
            env={**os.environ, "PYTHONPATH": f"{tests}:{tests / 'host'}"},
            stdout=subprocess.PIPE,
        )
        assert process.stdout is not None and process.stdout.readline() == b"going\n"
        time.sleep(0.4)
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
    found, remarks = calibrationstore.readable("lr6-7")
    assert len(found) > 3 and remarks == []


def test_a_disk_that_takes_nothing_more_leaves_nothing_half(sagline_home):
    """The system's own limit on the size of a file stands for a disk that is full."""
    resource = pytest.importorskip("resource", reason="limits are a thing of Unix")
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    one = calibration(made_at=datetime(2026, 1, 1, tzinfo=UTC))
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, hard))
        with pytest.raises(NotStored) as caught:
            calibrationstore.keep(one)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, ignored)
    assert caught.value.code == "calibration_not_kept"
    assert os.listdir(sagline_home / "calibrations" / "lr6-7") == []
    assert calibrationstore.keep(one).exists()
