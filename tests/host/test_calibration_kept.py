# SPDX-License-Identifier: MIT
"""The calibration goes where the rig goes: kept by its board, read at opening, never guessed."""

import os
import sys
import zlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from kept_rigs import bench, calibration, harm, lose, put

import sagline
from sagline import calibrationstore
from sagline.calibrations import OnboardLinearity
from sagline.device import kept
from sagline.errors import BoardRefused, LinkLost, NotStored, Refused, UsageError, WrongDevice
from sagline_board import commands, faults, keep
from sagline_board.board import Board

ADDRESS = "virtual://lr6?seed=7"


@pytest.fixture
def desk():
    with bench() as there:
        yield there


@pytest.fixture
def known():
    return calibration()


def said(rig):
    return {notice.code: notice for notice in rig.notices}


def test_kept_through_closing_and_a_reset(desk, known):
    with desk.open() as rig:
        assert rig.calibration is None and rig.notices == ()
        rig.keep_calibration(known)
        assert rig.calibration == known
    for _ in range(2):
        with desk.open() as rig:
            assert rig.calibration == rig.kept_calibration == known
            assert rig.notices == ()
        desk.port.restart_board()


def test_what_the_board_keeps_is_what_figures_are_made_with(known):
    with sagline.open_rig(ADDRESS) as rig:
        rig.keep_calibration(known)
        rig.calibration = None
        rig.read_calibration()
        by_board = rig.measure(designation="LR6", repeats=2)
    with sagline.open_rig(ADDRESS, calibration=known) as rig:
        by_hand = rig.measure(designation="LR6", repeats=2)
    assert by_board.calibration_id == known.id
    # The same noise; the second is older by as long as the first took.
    assert by_board.r_ohm.value == pytest.approx(by_hand.r_ohm.value, rel=1e-6)
    assert by_board.r_ohm.u == pytest.approx(by_hand.r_ohm.u, rel=1e-4)
    assert "uncalibrated" not in [warning.code for warning in by_board.warnings]


def test_an_override_leaves_the_board_alone(desk, known):
    put(desk, known)
    other = calibration()
    with desk.open(calibration=other) as rig:
        assert rig.calibration == other and rig.notices == ()
    with desk.open() as rig:
        assert rig.calibration == known


def test_a_trace_holds_the_calibration(desk, known, tmp_path):
    put(desk, known)
    trace = tmp_path / "trace"
    with desk.open(trace=str(trace)):
        pass
    with sagline.open_rig(f"replay://{trace}") as rig:
        assert rig.calibration == known


@pytest.mark.parametrize("rates", ["bytes_lost:0.002", "bytes_flipped:0.002,bytes_doubled:0.001"])
def test_a_bad_cable_costs_repeats_and_no_digit(known, rates):
    with sagline.open_rig(f"{ADDRESS}&fault={rates}") as rig:
        rig.keep_calibration(known)
        rig.read_calibration()
        assert rig.calibration == known


def test_one_damaged_copy_leaves_the_one_before(desk, known):
    later = calibration()
    put(desk, known, later)
    harm(desk, 2)
    with desk.open() as rig:
        assert rig.calibration == known
        notice = said(rig)["calibration_damaged"]
        assert known.id[-8:] in notice.text and "--restore" in notice.remedy
        rig.keep_calibration(later)
        assert rig.notices == ()
    with desk.open() as rig:
        assert rig.calibration == later and rig.notices == ()


def test_two_damaged_copies_leave_none_and_say_so_in_the_result(known):
    with sagline.open_rig(ADDRESS) as rig:
        rig.keep_calibration(known)
        port = rig._link._port
        name = keep.SLOTS[0]
        content = port.hardware.files.read(name, 0, 9999)
        port.hardware.files.write(name, (content[:-1],))
        port.board._keep.look()
        rig.read_calibration()
        assert rig.calibration is None
        result = rig.measure(designation="LR6", repeats=2)
    assert result.calibration_id is None
    assert {"uncalibrated", "calibration_damaged"} <= {one.code for one in result.warnings}


def test_a_lost_one_is_missed_until_it_is_back(desk, known):
    put(desk, known)
    lose(desk)
    with desk.open() as rig:
        assert rig.calibration is None
        notice = said(rig)["calibration_lost"]
        assert known.id[-8:] in notice.text and "sagline calibrate --restore" in notice.remedy
        rig.keep_calibration(calibrationstore.newest(rig.identity.serial))
        assert rig.notices == ()
    with desk.open() as rig:
        assert rig.calibration == known


def test_one_that_was_cleared_is_not_missed(desk, known):
    put(desk, known)
    with desk.open() as rig:
        rig.clear_calibration()
        assert rig.calibration is None
    with desk.open() as rig:
        assert rig.calibration is None and rig.notices == ()
    # Back by will, and lost again by accident: then it is missed.
    put(desk, known)
    lose(desk)
    with desk.open() as rig:
        assert "calibration_lost" in said(rig)


def test_where_they_differ_the_boards_wins(desk, known):
    put(desk, known)
    calibrationstore.keep(calibration())
    with desk.open() as rig:
        assert rig.calibration == known and rig.notices == ()


def test_what_came_from_another_computer_goes_into_the_history_before_it_goes(
    desk, known, monkeypatch, tmp_path
):
    put(desk, known)
    monkeypatch.setenv("SAGLINE_HOME", str(tmp_path / "another-home"))
    later = calibration()
    with desk.open(calibration=later) as rig:
        rig.keep_calibration(later)
    assert calibrationstore.ids("lr6-7") == [known.id, later.id]
    assert calibrationstore.get("lr6-7", known.id) == known


def test_a_history_that_cannot_be_written_is_told_after_the_board_has_it(desk, known, sagline_home):
    sagline_home.mkdir()
    (sagline_home / "calibrations").write_text("a file where the folder should be")
    with desk.open() as rig:
        with pytest.raises(NotStored) as caught:
            rig.keep_calibration(known)
        assert caught.value.code == "calibration_not_kept" and caught.value.remedy
        assert rig.calibration == known
        # Without a copy here, the only one is not taken off the board.
        with pytest.raises(NotStored):
            rig.clear_calibration()
    with desk.open() as rig:
        assert rig.calibration == known


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="/dev/full is a thing of Linux")
def test_a_full_board_keeps_the_one_before(desk, known, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(Path(__file__).parents[2] / "firmware"))
    from boards.files import FolderFiles  # pyright: ignore[reportMissingImports]

    desk.port.hardware.files = FolderFiles(f"{tmp_path}/")
    desk.port.restart_board()
    put(desk, known)
    (tmp_path / keep.SLOTS[1]).symlink_to("/dev/full")
    later = calibration()
    with desk.open() as rig:
        with pytest.raises(BoardRefused) as caught:
            rig.keep_calibration(later)
        assert caught.value.number == faults.MASS_STORAGE and "room" in caught.value.remedy
        assert rig.calibration == known
    assert calibrationstore.newest("lr6-7") == later, "half an hour's work is not lost"
    with desk.open() as rig:
        assert rig.calibration == known
    sys.modules.pop("boards.files", None)


def test_a_step_that_runs_is_not_disturbed(known):
    with sagline.open_rig(ADDRESS) as rig:
        rig.keep_calibration(known)
        step = rig.step(0, [(0, 500), (1, 100), (0, 200)])
        next(step)
        with pytest.raises(BoardRefused) as caught:
            rig.keep_calibration(calibration())
        assert caught.value.number == faults.INIT_IGNORED
        with pytest.raises(BoardRefused):
            rig.clear_calibration()
        with pytest.raises(StopIteration) as ended:
            while True:
                next(step)
        assert len(ended.value.value.edges_us) == 2
        assert rig.calibration == known


def test_that_of_another_rig_is_refused_and_not_believed(known):
    other = calibration(address="virtual://lr6?seed=8")
    with sagline.open_rig(ADDRESS) as rig:
        with pytest.raises(UsageError) as caught:
            rig.keep_calibration(other)
        assert caught.value.code == "calibration_of_another_rig"
        assert rig.kept_calibration is None
        # As when a board's files are copied to another board.
        kept.write_calibration(rig._link, other)
        rig.read_calibration()
        assert rig.calibration is None
        assert "lr6-8" in said(rig)["calibration_unreadable"].text


def raw(rig, data):
    """Let the board keep any bytes."""
    from base64 import b64encode

    link = rig._link
    link.request("begin_calibration", len(data), "some")
    for chunk, first in enumerate(range(0, len(data), commands.KEPT_CHUNK)):
        piece = data[first : first + commands.KEPT_CHUNK]
        link.request("write_calibration", chunk, b64encode(piece).decode())
    link.request("commit_calibration", f"{zlib.crc32(data):08X}")


@pytest.mark.parametrize(
    "data",
    [
        b"no zlib stream",
        zlib.compress(b"no JSON"),
        zlib.compress(b'{"schema": "sagline-calibration-2"}'),
        zlib.compress(bytes(5_000_000)),
        zlib.compress(b"x" * 4000)[:-8],
    ],
    ids=["no zlib", "no JSON", "a later schema", "zeros without end", "cut off"],
)
def test_what_is_no_calibration_is_said_and_not_used(data):
    with sagline.open_rig(ADDRESS) as rig:
        raw(rig, data)
        rig.read_calibration()
        assert rig.calibration is None
        assert list(said(rig)) == ["calibration_unreadable"]


def test_one_that_is_too_long_is_refused_before_anything_is_written(known):
    rng = np.random.default_rng(1)
    table = OnboardLinearity(
        code=[float(code) for code in range(3000)],
        correction_lsb=rng.standard_normal(3000).tolist(),
        residual_lsb=0.3,
        residual_span_codes=1.0,
    )
    with sagline.open_rig(ADDRESS) as rig:
        with pytest.raises(UsageError) as caught:
            rig.keep_calibration(known.model_copy(update={"onboard_table": table}))
        assert caught.value.code == "calibration_too_long"
        assert rig.calibration is None
    assert calibrationstore.ids("lr6-7") == []


def test_firmware_from_before_there_was_such_a_thing(known, monkeypatch):
    find = commands.find
    monkeypatch.setattr(
        commands, "find", lambda text: None if text.upper().startswith("CAL") else find(text)
    )
    with sagline.open_rig(ADDRESS) as rig:
        assert rig.calibration is None and rig.notices == ()
        for act in (lambda: rig.keep_calibration(known), rig.clear_calibration):
            with pytest.raises(Refused) as caught:
                act()
            assert caught.value.code == "keeps_no_calibration"


@pytest.mark.parametrize(
    ("method", "reply"),
    [
        ("_do_calibration_identity", "1,0,12"),
        ("_do_calibration_identity", '1,0,99999,"00000000","x"'),
        ("_do_read_calibration", '0,96,"AAAA"'),
        ("_do_read_calibration", '1,96,"AAAA"'),
        ("_do_read_calibration", '0,96,"' + "A" * 127 + '="'),
        ("_do_read_calibration", '0,96,"' + "A" * 128 + '"'),
    ],
)
def test_a_board_that_talks_nonsense_is_told_from_one_without(known, monkeypatch, method, reply):
    with sagline.open_rig(ADDRESS) as rig:
        rig.keep_calibration(known)
        monkeypatch.setattr(Board, method, lambda self, *values: reply)
        with pytest.raises(WrongDevice) as caught:
            rig.read_calibration()
    assert caught.value.code == "bad_reply"


def test_a_cable_pulled_in_the_middle_leaves_the_one_before(known):
    with sagline.open_rig(ADDRESS) as rig:
        rig.keep_calibration(known)
        port = rig._link._port
        seen = []
        take = Board._do_write_calibration

        def pull(self, *values):
            seen.append(values)
            if len(seen) == 20:
                port.cut_supply()
            return take(self, *values)

        with pytest.MonkeyPatch.context() as patch, pytest.raises(LinkLost):
            patch.setattr(Board, "_do_write_calibration", pull)
            rig.keep_calibration(calibration())
        port.restore_supply()
        assert port.board._keep.name == known.id and port.board._keep.damaged == 0


def test_age_counts_from_the_making_not_from_the_keeping(known):
    old = calibration(made_at=datetime.now(UTC) - timedelta(days=730))
    figures = {}
    for name, one in (("new", known), ("old", old)):
        with sagline.open_rig(ADDRESS) as rig:
            rig.keep_calibration(one)
            rig.read_calibration()
            figures[name] = rig.measure(designation="LR6", repeats=2)
    assert figures["old"].calibration_id == old.id
    # 0.1 % and 0.2 % (two years' drift) beside the 0.1 % of K.
    u_rel = {name: one.r_ohm.u / one.r_ohm.value for name, one in figures.items()}
    assert u_rel["old"] > 1.3 * u_rel["new"]
    assert u_rel["old"] < 1.1 * np.hypot(u_rel["new"], 0.002)
