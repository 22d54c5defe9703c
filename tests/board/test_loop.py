# SPDX-License-Identifier: MIT
"""The loop of every board: bytes in, work, bytes out, and a host that does not read."""

import importlib
import os
import select
import sys
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from board.still import StillHardware
from sagline_board.board import Board
from sagline_board.commands import RUNNING

FIRMWARE = Path(__file__).parents[2] / "firmware"


@pytest.fixture
def loop(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    monkeypatch.syspath_prepend(str(FIRMWARE))
    for name in ("boards", "boards.loop"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    yield importlib.import_module("boards.loop")
    for name in ("boards", "boards.loop"):
        sys.modules.pop(name, None)


class Line:
    """A port whose host speaks when it is told to and does not read while a step runs."""

    def __init__(self, board: Board, said: Callable[[int], bytes | None]) -> None:
        self._board = board
        self._said = said
        self.reads = 0
        self.got = b""
        self.most_kept = 0

    def read(self, _wait_ms: int) -> bytes | None:
        self.reads += 1
        return self._said(self.reads)

    def write(self, data: bytes) -> None:
        assert self._board.engine.state != RUNNING, "this could wait for the host, load on"
        self.got += data

    def offer(self, data: bytes) -> bytes:
        self.most_kept = max(self.most_kept, len(data))
        return data


PLAN = b"STEP:SEGM 0,20;SEGM 8,100;SEGM 0,20;STAR\n"


def played(loop: Any, said: Callable[[int], bytes | None]) -> tuple[Line, StillHardware]:
    """Run the loop with a host that says `said(number of the read)`."""
    hw = StillHardware()
    board = Board(hw)
    line = Line(board, said)

    def rest(wait_ms: int) -> None:
        hw.now_us += wait_ms * 1000

    loop.serve(board, line, rest)
    assert hw.mask == 0
    return line, hw


def pulse_ms(hw: StillHardware) -> float:
    on = [at for at, mask in hw.switchings if mask]
    off = [at for at, mask in hw.switchings if not mask and at > on[0]]
    return (off[0] - on[0]) / 1000


def test_a_host_that_does_not_read_holds_nothing_up_and_gets_its_replies_later(loop: Any) -> None:
    said = {1: PLAN, 12: b"*IDN?\n", 14: b"STEP:STAT?\n", 400: b"*STB?\n", 500: None}
    line, hw = played(loop, lambda number: said.get(number, b""))
    assert pulse_ms(hw) == 100
    identity, state, status = line.got.splitlines()
    assert identity.startswith(b"Sagline,still,1,")
    assert state.startswith(b"1,")
    assert status.isdigit()
    assert 0 < line.most_kept <= 2048


def test_a_host_that_asks_and_never_reads_fills_no_heap(loop: Any) -> None:
    def said(number: int) -> bytes | None:
        return PLAN if number == 1 else None if number == 500 else b"*IDN?\n" * 40

    line, hw = played(loop, said)
    assert pulse_ms(hw) == 100
    assert 1500 < line.most_kept <= 2048
    assert set(line.got.splitlines()) == {line.got.splitlines()[0]}, "whole replies or none"


def test_a_host_that_leaves_in_mid_pulse_leaves_the_load_off(loop: Any) -> None:
    for last in range(2, 60):
        _line, hw = played(loop, lambda number, last=last: {1: PLAN, last: None}.get(number, b""))
        assert hw.mask == 0


@pytest.fixture
def stdio(loop: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Any, int, int]]:
    """A StdioPort on two pipes; also the ends that are the host's: to write, to read."""
    their_in, our_out = os.pipe()
    our_in, their_out = os.pipe()
    with (
        open(their_in, "rb", buffering=0) as standard_in,
        open(their_out, "wb", buffering=0) as standard_out,
    ):
        for name, file in (("stdin", standard_in), ("stdout", standard_out)):
            fake = types.SimpleNamespace(buffer=file, fileno=file.fileno)
            monkeypatch.setattr(loop.sys, name, fake)
        port = loop.StdioPort()
        monkeypatch.undo()
        yield port, our_out, our_in
    for end in (our_out, our_in):
        try:
            os.close(end)
        except OSError:
            pass


needs_poll = pytest.mark.skipif(not hasattr(select, "poll"), reason="Windows cannot poll a pipe")


@needs_poll
def test_input_is_read_as_it_comes_and_in_bounded_pieces(stdio: tuple[Any, int, int]) -> None:
    port, host_out, _ = stdio
    assert port.read(0) == b""
    os.write(host_out, b"ab\x03\r\n\xff")
    assert port.read(1000) == b"ab\x03\r\n\xff"
    os.write(host_out, b"x" * 1000)
    assert [len(port.read(0)) for _ in range(5)] == [256, 256, 256, 232, 0]
    os.write(host_out, b"last")
    os.close(host_out)
    assert port.read(0) == b"last"
    assert port.read(0) is None


@needs_poll
def test_an_offer_never_waits(stdio: tuple[Any, int, int]) -> None:
    port, _, host_in = stdio
    assert port.offer(b"first\n") == b""
    assert os.read(host_in, 100) == b"first\n"
    filled = 0
    while port.offer(b"x") == b"":
        filled += 1
    assert filled > 1000
    assert port.offer(b"second\n") == b"second\n"
    while filled:
        filled -= len(os.read(host_in, filled))
    assert port.offer(b"second\n") == b""
    assert os.read(host_in, 100) == b"second\n"
    port.write(b"third\n" * 100)
    assert os.read(host_in, 1000) == b"third\n" * 100
