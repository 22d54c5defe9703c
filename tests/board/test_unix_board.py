# SPDX-License-Identifier: MIT
"""The host measures through a real serial path with the firmware on the real MicroPython.

A pseudo terminal is the serial line: pyserial opens one end by its name, the
interpreter has the other as standard input and output. The circuit is the
virtual rig's, asked for counts over two more pipes. Emulated.
"""

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

import sagline
from bench.true_calibration import calibration_of, rig_of
from interpreters import micropython
from sagline.device.procedure import run
from sagline.device.progress import Stepping
from sagline.device.settings import Settings
from sagline.virtual.address import parse
from sagline.virtual.cells import CELLS
from sagline.virtual.counts import CountsServer
from sagline.virtual.truth import truth
from sagline_board import keep

tty = pytest.importorskip("tty", reason="pseudo terminals are a thing of Unix")
FIRMWARE = Path(__file__).parents[2] / "firmware"


@dataclass
class UnixBoard:
    """A running board: the name of its port, its process, its circuit."""

    port: str
    process: subprocess.Popen[bytes]
    circuit: CountsServer


@contextmanager
def running(tmp_path: Path, *more: str) -> Iterator[UnixBoard]:
    """Run the board with a circuit; `more` are its further arguments."""
    requests, answers = str(tmp_path / "requests"), str(tmp_path / "answers")
    for pipe in (requests, answers):
        if not os.path.exists(pipe):
            os.mkfifo(pipe)
    circuit = CountsServer(parse("virtual://lr6?seed=2"), requests, answers)
    circuit.start()
    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    process = subprocess.Popen(
        [
            micropython(),
            str(FIRMWARE / "boards" / "unix.py"),
            requests,
            answers,
            "both",
            "u7",
            "1",
            "0",
            *more,
        ],
        stdin=ours,
        stdout=ours,
        stderr=subprocess.PIPE,
        env={**os.environ, "MICROPYPATH": f"{FIRMWARE}:{FIRMWARE / 'lib'}"},
    )
    try:
        yield UnixBoard(os.ttyname(theirs), process, circuit)
    finally:
        process.kill()
        process.wait()
        assert process.stderr is not None
        said = process.stderr.read().decode()
        process.stderr.close()
        os.close(ours)
        os.close(theirs)
        circuit.join(5.0)
    assert said == ""
    assert not circuit.is_alive()


@pytest.fixture
def board(tmp_path: Path) -> Iterator[UnixBoard]:
    with running(tmp_path) as one:
        yield one


def test_one_cell_through_pyserial_and_micropython(board: UnixBoard) -> None:
    with sagline.open_rig(board.port) as rig:
        assert rig.identity.model == "virtual-unix"
        assert rig.identity.serial == "u7"
        result = rig.measure(designation="LR6", repeats=2)
    true = truth(CELLS["lr6"])["truth"]
    r, emf = result.r_ohm, result.emf_v
    assert r.low95 < true["r_at"][0]["value"] < r.high95
    assert emf.low95 < true["emf_v"] < emf.high95
    assert r.u / r.value < 0.0174
    assert result.kind == "virtual"
    assert board.circuit.hardware.gate_mask() == 0


def test_stopped_in_mid_pulse_the_load_is_off(board: UnixBoard) -> None:
    with sagline.open_rig(board.port) as rig:
        running = run(rig, Settings(designation="LR6", repeats=2))
        for item in running:
            if isinstance(item, Stepping) and item.phase != "rest":
                break
        running.close()
        assert board.circuit.hardware.gate_mask() == 0
        assert rig.live().sense_v == pytest.approx(1.57, abs=0.03)


def test_its_calibration_outlives_it_and_a_torn_copy_is_not_taken(tmp_path: Path) -> None:
    """The second board is another process that finds the first one's files."""
    parts, _ = rig_of("virtual://lr6?seed=2")
    made = [calibration_of(parts, serial="u7", rng=np.random.default_rng(n)) for n in range(2)]
    folder = tmp_path / "kept"
    folder.mkdir()
    with running(tmp_path, str(folder)) as board:
        for one in made:
            with sagline.open_rig(board.port) as rig:
                rig.keep_calibration(one)
    newest = folder / keep.SLOTS[1]
    whole = newest.read_bytes()
    for content, wanted, codes in (
        (whole, made[1], []),
        (whole[:-1], made[0], ["calibration_damaged"]),
    ):
        newest.write_bytes(content)
        with running(tmp_path, str(folder)) as board, sagline.open_rig(board.port) as rig:
            assert rig.calibration == wanted
            assert [notice.code for notice in rig.notices] == codes
    newest.unlink()
    (folder / keep.SLOTS[0]).unlink()
    with running(tmp_path, str(folder)) as board, sagline.open_rig(board.port) as rig:
        assert rig.calibration is None
        assert [notice.code for notice in rig.notices] == ["calibration_lost"]


def test_the_end_of_its_input_ends_the_board_with_the_load_off(tmp_path: Path) -> None:
    """The host vanishes in the middle of a pulse: the board's process itself ends."""
    requests, answers = str(tmp_path / "requests"), str(tmp_path / "answers")
    os.mkfifo(requests)
    os.mkfifo(answers)
    circuit = CountsServer(parse("virtual://lr6?seed=7"), requests, answers)
    circuit.start()
    done = subprocess.run(
        [
            micropython(),
            str(FIRMWARE / "boards" / "unix.py"),
            requests,
            answers,
            "onboard",
            "u",
            "0",
            "0",
        ],
        # The interrupt's byte is data on a pipe, and no line end is turned into another.
        input=b"\x03\x00\xff\r\n*IDN?\rSYST:ERR?\r\nSTEP:SEGM 0,20;SEGM 8,2000;STAR\n",
        env={**os.environ, "MICROPYPATH": f"{FIRMWARE}:{FIRMWARE / 'lib'}"},
        capture_output=True,
        timeout=60,
    )
    circuit.join(5.0)
    assert done.stderr == b""
    identity, error, rest = done.stdout.split(b"\n")
    assert identity.startswith(b"Sagline,virtual-unix,u,")
    assert error == b'-102,"Syntax error"'
    assert rest == b""
    assert b"\r" not in done.stdout
    assert done.returncode == 0
    assert circuit.hardware.gate_mask() == 0
