# SPDX-License-Identifier: MIT
"""What a board keeps through power cuts, damage and full disks, and when it refuses to write."""

import base64
import os
import subprocess
import sys
import zlib
from pathlib import Path

import pytest

from board.still import StillHardware, let_pass
from interpreters import micropython
from sagline.device import commandset
from sagline_board import commands, faults, keep, wire
from sagline_board.board import Board

FIRMWARE = Path(__file__).parents[2] / "firmware"
sys.path.append(str(FIRMWARE))

from board import keeping  # noqa: E402 - it imports the board's files

DOCUMENT = bytes(range(256)) * 3
CRC = zlib.crc32(DOCUMENT)


@pytest.mark.parametrize("check", keeping.IN_MEMORY)
def test_in_memory(check):
    assert check(keep.MemoryFiles()) is None


@pytest.mark.parametrize("check", keeping.CHECKS)
def test_in_a_folder(check, tmp_path):
    assert check(keeping.FolderFiles(f"{tmp_path}/")) is None


def test_a_check_that_should_fail_fails():
    files = keep.MemoryFiles()
    keeping.store(files, b"something", "name")
    assert keeping.check_there_and_back(files) is not None
    # Where the older copy was written over, a cut write costs both.
    one_slot = keep.MemoryFiles()
    one_slot.write = lambda name, pieces: keep.MemoryFiles.write(one_slot, keep.SLOTS[0], pieces)
    assert keeping.check_cut_at_every_byte(one_slot) is not None


def test_on_micropython(tmp_path):
    run = subprocess.run(
        [micropython(), str(Path(keeping.__file__)), str(tmp_path)],
        env={**os.environ, "MICROPYPATH": f"{FIRMWARE}:{FIRMWARE / 'lib'}"},
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert run.stderr == ""
    assert run.stdout == f"checks {len(keeping.IN_MEMORY) + len(keeping.CHECKS)}, wrong 0\n"


class Bench:
    """A board and an open session with it."""

    def __init__(self, hw=None):
        self.hw = hw or StillHardware()
        self.board = Board(self.hw)
        self.seq = 0
        self.ask("open_session", 1)

    def ask(self, name, *values):
        self.seq += 1
        self.line = wire.seal("5", self.seq, commandset.request(name, *values)) + b"\n"
        return self.say(self.line)

    def say(self, line):
        assert len(line) <= wire.MAX_LINE
        self.board.receive(line)
        reply = self.board.take_output()
        assert len(reply) <= wire.MAX_REPLY
        opened = wire.unseal(reply.rstrip())
        assert opened is not None
        return opened[2]

    def put(self, document=DOCUMENT, name="a name"):
        assert self.ask("begin_calibration", len(document), name) == "OK"
        for chunk, text in enumerate(chunks(document)):
            assert self.ask("write_calibration", chunk, text) == "OK"
        return self.ask("commit_calibration", f"{zlib.crc32(document):08X}")

    def identity(self):
        return self.ask("calibration_identity")


def chunks(document):
    pieces = [document[at : at + 96] for at in range(0, len(document), 96)]
    return [base64.b64encode(piece).decode() for piece in pieces]


def error(number):
    return f'ERR {number},"{faults.TEXTS[number]}"'


def test_a_document_crosses_the_wire_and_outlives_the_board():
    bench = Bench()
    assert bench.identity() == '0,0,0,"00000000",""'
    assert bench.put() == "OK"
    for one in (bench, Bench(bench.hw)):
        assert one.identity() == f'1,0,{len(DOCUMENT)},"{CRC:08X}","a name"'
        for _ in range(2):
            for chunk, text in enumerate(chunks(DOCUMENT)):
                count = len(base64.b64decode(text))
                assert one.ask("read_calibration", chunk) == f'{chunk},{count},"{text}"'
        assert one.ask("read_calibration", len(chunks(DOCUMENT))) == error(faults.DATA_STALE)


def test_the_longest_document_and_id_fit():
    bench = Bench()
    document = os.urandom(keep.MOST)
    assert bench.put(document, "n" * keep.MOST_NAME) == "OK"
    got = [bench.ask("read_calibration", n).split('"')[1] for n in range(len(chunks(document)))]
    assert got == chunks(document)
    assert bench.ask("begin_calibration", keep.MOST + 1, "n") == error(faults.OUT_OF_RANGE)
    assert bench.ask("begin_calibration", 1, "n" * (keep.MOST_NAME + 1)) == error(
        faults.OUT_OF_RANGE
    )


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("CALibration:BEGin 5", faults.MISSING_PARAMETER),
        ("CALibration:BEGin 0,\"a\"", faults.OUT_OF_RANGE),
        ("CALibration:BEGin 5,a", faults.DATA_TYPE),
        ('CALibration:BEGin 5,"a""b"', faults.DATA_TYPE),
        ('CALibration:BEGin 5,"a,b', faults.DATA_TYPE),
        ("CALibration:BEGin 5,\"\"", faults.OUT_OF_RANGE),
        ('CALibration:BEGin "5","a"', faults.DATA_TYPE),
        ('CALibration:DATA 0,"QUJD"', faults.DATA_STALE),
        ('CALibration:DATA 0,"QUJ"', faults.OUT_OF_RANGE),
        ('CALibration:DATA 0,"QUJ*QUJD"', faults.DATA_TYPE),
        ('CALibration:DATA 0,"QUJDQ"', faults.DATA_TYPE),
        ('CALibration:COMMit "1234567G"', faults.DATA_TYPE),
        ('CALibration:COMMit "12345678"', faults.DATA_STALE),
        ("CALibration:DATA? 0", faults.DATA_STALE),
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused_and_changes_nothing(message, number):
    bench = Bench()
    bench.seq += 1
    assert bench.say(wire.seal("5", bench.seq, message) + b"\n") == error(number)
    assert bench.identity() == '0,0,0,"00000000",""'


def test_text_may_hold_what_parts_a_line_elsewhere():
    bench = Bench()
    assert bench.put(b"x", "a;b,c*d") == "OK"
    assert bench.identity().endswith('"a;b,c*d"')
    bench.ask("close_session")
    bench.board.receive(b'CAL:BEG 1,"e;f,g";DATA 0,"eQ==";COMM "%08X";IDEN?\n' % zlib.crc32(b"y"))
    assert bench.board.take_output() == b'2,0,1,"%08X","e;f,g"\n' % zlib.crc32(b"y")


class CountedFiles(keep.MemoryFiles):
    def __init__(self):
        keep.MemoryFiles.__init__(self)
        self.touched = []

    def read(self, name, offset, count):
        self.touched.append("read")
        return keep.MemoryFiles.read(self, name, offset, count)

    def write(self, name, pieces):
        self.touched.append("write")
        keep.MemoryFiles.write(self, name, pieces)

    def remove(self, name):
        self.touched.append("remove")
        keep.MemoryFiles.remove(self, name)


def counted():
    hw = StillHardware()
    hw.files = CountedFiles()
    return Bench(hw), hw.files


def test_a_retry_is_no_second_write():
    bench, files = counted()
    bench.put()
    files.touched.clear()
    assert bench.say(bench.line) == "OK"
    assert files.touched == []
    bench.ask("commit_calibration", f"{CRC:08X}")
    assert files.touched == [], "a commit of what was kept already"


@pytest.mark.parametrize("mask", [0, 8, commands.ARM_ALONE])
def test_no_file_is_touched_while_a_step_runs(mask):
    bench, files = counted()
    bench.put()
    bench.ask("begin_calibration", len(DOCUMENT), "new")
    bench.ask("add_segment", 0, 100)
    bench.ask("add_segment", mask, 40)
    bench.ask("add_segment", 0, 100)
    assert bench.ask("start") == "OK"
    let_pass(bench.board, bench.hw, 120_000)
    assert bench.hw.mask == mask
    files.touched.clear()
    for name, *values in (
        ("read_calibration", 0),
        ("begin_calibration", 3, "x"),
        ("write_calibration", 0, "QUJD"),
        ("commit_calibration", f"{CRC:08X}"),
        ("clear_calibration",),
    ):
        assert bench.ask(name, *values) == error(faults.INIT_IGNORED)
    assert bench.identity() == f'1,0,{len(DOCUMENT)},"{CRC:08X}","a name"'
    assert files.touched == []
    assert bench.hw.mask == mask, "the step goes on"
    let_pass(bench.board, bench.hw, 1_000_000)
    for chunk, text in enumerate(chunks(DOCUMENT)):
        bench.ask("write_calibration", chunk, text)
    assert bench.ask("commit_calibration", f"{CRC:08X}") == "OK"
    assert files.touched.count("write") == 1


def test_every_load_is_told_to_be_off_before_a_file_is_written():
    bench = Bench()
    before = []
    files = CountedFiles()
    files.write = lambda name, pieces: before.append(list(bench.hw.switchings))
    bench.board._keep = keep.Keep(files)
    bench.hw.switch(8, 1_000_000)
    bench.put()
    assert before[0][-2:] == [(bench.hw.now_us, 8), (bench.hw.now_us, 0)]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="/dev/full is a thing of Linux")
def test_a_full_disk_is_an_error_and_the_copy_before_stands(tmp_path):
    hw = StillHardware()
    hw.files = keeping.FolderFiles(f"{tmp_path}/")
    bench = Bench(hw)
    assert bench.put(b"the old one", "old") == "OK"
    (tmp_path / keep.SLOTS[1]).symlink_to("/dev/full")
    assert bench.put(DOCUMENT, "new") == error(faults.MASS_STORAGE)
    for one in (bench, Bench(hw)):
        assert one.identity() == f'1,0,11,"{zlib.crc32(b"the old one"):08X}","old"'
    # What the failed write left is gone, and the draft is still there.
    assert bench.ask("commit_calibration", f"{CRC:08X}") == "OK"
    assert Bench(hw).identity() == f'2,0,{len(DOCUMENT)},"{CRC:08X}","new"'


def test_a_folder_that_goes_away_is_an_error_and_no_crash(tmp_path):
    hw = StillHardware()
    hw.files = keeping.FolderFiles(f"{tmp_path / 'gone'}/")
    bench = Bench(hw)
    assert bench.put() == error(faults.MASS_STORAGE)
    assert bench.ask("clear_calibration") == "OK"
    (tmp_path / "gone").mkdir()
    assert bench.put() == "OK"
    for file in (tmp_path / "gone").iterdir():
        file.unlink()
    assert bench.ask("read_calibration", 0) == error(faults.MASS_STORAGE)
    assert Bench(hw).identity() == '0,0,0,"00000000",""'


def test_reset_forgets_what_was_begun_and_nothing_else():
    bench = Bench()
    bench.put()
    bench.ask("begin_calibration", 3, "new")
    assert bench.ask("reset") == "OK"
    assert bench.ask("write_calibration", 0, "QUJD") == error(faults.DATA_STALE)
    assert bench.identity().startswith("1,0,")


def test_nobody_else_changes_it_while_a_session_is_open():
    bench = Bench()
    bench.put()
    bench.board.receive(b"CAL:CLE\nSYST:ERR?\nCAL:IDEN?\n")
    refused, identity = bench.board.take_output().decode().splitlines()
    assert refused.startswith(f"{faults.SETTINGS_CONFLICT},")
    assert identity.startswith("1,0,")


def test_the_pico_keeps_it_in_its_file_system(chip, tmp_path, monkeypatch):
    from board.rp2_standin.bench import pico

    module = pico()
    monkeypatch.setattr(module, "FOLDER", f"{tmp_path}/")
    assert Bench(module.PicoHardware()).put() == "OK"
    assert [file.name for file in tmp_path.iterdir()] == [keep.SLOTS[0]]
    assert Bench(module.PicoHardware()).identity() == f'1,0,{len(DOCUMENT)},"{CRC:08X}","a name"'
