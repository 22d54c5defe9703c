# SPDX-License-Identifier: MIT
"""What may be on a port instead of a rig: told from its bytes, on real pseudo terminals."""

import contextlib
import os
import subprocess
import time

import pytest

from sagline.device.strangers import recognise
from sagline_board import faults, wire
from sagline_board.board import Board

pytest.importorskip("tty", reason="pseudo terminals are a thing of Unix")

from pty_device import PtyDevice

from board.still import StillHardware
from interpreters import micropython
from sagline.device.link import Link
from sagline.errors import LinkLost, WrongDevice
from sagline.virtual.server import BUSY

CRASH = b"""Traceback (most recent call last):\r
  File "main.py", line 3, in <module>\r
  File "boards/pico.py", line 88, in _capture\r
OSError: [Errno 5] EIO\r
"""
# What a MicroPython prompt makes of a line of ours (unix port 1.28, as printed).
AT_PROMPT = b"""Traceback (most recent call last):\r
  File "<stdin>", line 1\r
SyntaxError: invalid syntax\r
>>> """

STRANGERS = {
    "repl": lambda data: data.replace(b"\n", b"\r\n" + AT_PROMPT),
    "firmware_crashed": lambda data: (CRASH if data[:1] == b"\n" else b"") + AT_PROMPT,
    "echo": lambda data: data,
    "other_instrument": lambda data: b"Maker,M 1,0,1.0\n" if b"*IDN?" in data else b"",
    "no_session": lambda data: b"Sagline,pico,1,9.9.9\n" if b"*IDN?" in data else b"",
    "modem": lambda data: b"\r\nERROR\r\n" * data.count(b"\n"),
    "stranger": lambda _: b"\x00\x9f\xff\x12" * 8,
}
WORDS = {
    "repl": ("MicroPython prompt", "plug it in again"),
    "firmware_crashed": ("OSError: [Errno 5] EIO", "plug it in again"),
    "echo": ("sends back what it gets", "--rig"),
    "other_instrument": ("another one: Maker M 1", "--rig"),
    "no_session": ("firmware 9.9.9", "`sagline flash`"),
    "modem": ("like a modem", "--rig"),
    "stranger": ("no text: 00 9f ff 12", "--rig"),
}


@pytest.mark.parametrize("code", STRANGERS)
def test_a_stranger_is_told_by_what_it_says(code):
    with PtyDevice(STRANGERS[code]) as device:
        with pytest.raises(WrongDevice) as caught:
            Link.open(device.port)
        assert caught.value.code == code
        assert device.port in caught.value.message
        message, remedy = WORDS[code]
        assert message in caught.value.message
        assert remedy in caught.value.remedy
        assert caught.value.exit_status == 3
        assert not set(device.got) & {1, 2, 3, 4}, "no control character to a stranger"


def test_a_real_micropython_prompt_is_known():
    ours, theirs = os.openpty()
    with subprocess.Popen([micropython()], stdin=theirs, stdout=theirs, stderr=theirs) as prompt:
        greeting = b""
        while b">>> " not in greeting:
            greeting += os.read(ours, 4096)

        def answer(data: bytes) -> bytes:
            os.write(ours, data.replace(b"\n", b"\r"))
            time.sleep(0.1)
            os.set_blocking(ours, False)
            with contextlib.suppress(BlockingIOError):
                return os.read(ours, 65536)
            return b""

        try:
            with PtyDevice(answer) as device, pytest.raises(WrongDevice) as caught:
                Link.open(device.port)
            assert caught.value.code == "repl"
            assert prompt.poll() is None, "the prompt was left alone"
        finally:
            prompt.kill()
    os.close(ours)
    os.close(theirs)


@pytest.mark.parametrize(
    ("seen", "code"),
    [
        (b">>> ", "repl"),
        (b"raw REPL; CTRL-B to exit\r\n>", "repl"),
        (b"\r\nMPY: soft reboot\r\n", "repl"),
        (CRASH, "firmware_crashed"),
        (AT_PROMPT + b"\r\n" + CRASH, "firmware_crashed"),
        (CRASH[:40], "firmware_crashed"),
        (b"OK\r\n", "modem"),
        (b"hello 3 > 2 >>> 1\r\n", "stranger"),
        (b"a,b,c,\x01\n", "stranger"),
        (b"A,B,C,D\n", "other_instrument"),
        (b"Agilent,B,C,D\n", "other_instrument"),
        (b"Saglne,pico,1,0.1.0\n", "line_damaged"),
        (b"S\xa7agline,pico,1,0.1.0\n", "line_damaged"),
        (b"@2F.1 O\xffK*12345678\nSagline,pico,1,0.1.0\n", "line_damaged"),
        (BUSY, "port_in_use"),
    ],
)
def test_what_was_seen_says_who_it_is(seen, code):
    found = recognise(seen, b"@1.1 *IDN?*00000000\n", "COM3")
    assert found is not None
    assert found.code == code


def test_what_a_stranger_says_never_steers_the_terminal():
    for said in (b"A,\x1b[2J,C,D\n", CRASH.replace(b"EIO", b"\x1b]0;x\x07"), b"\x1b[31mhello"):
        found = recognise(said, b"x", "COM3")
        assert found is not None
        assert found.message.isprintable()


def test_silence_says_nothing_of_who_is_there():
    assert recognise(b"", b"x", "COM3") is None
    assert recognise(b"\r\n \n", b"x", "COM3") is None


@pytest.mark.parametrize("said", [b"\x00\xff", b"OK\n", b"Maker,M,1,1\n", b"@2F.1 OK*0\n"])
def test_a_port_where_a_board_has_answered_stays_a_board(said):
    found = recognise(said, b"x", "COM3", was_a_board=True)
    assert found is not None
    assert found.code == "line_damaged"
    found = recognise(b">>> ", b"x", "COM3", was_a_board=True)
    assert found is not None
    assert found.code == "repl"


def test_nothing_there_is_no_answer():
    with PtyDevice(lambda _: b"") as device, pytest.raises(LinkLost) as caught:
        Link.open(device.port)
    assert caught.value.code == "no_answer"
    assert caught.value.message == f"Nothing answers on {device.port}."


def test_another_protocol_version_is_said_with_both_numbers():
    def answer(data: bytes) -> bytes:
        opened = wire.unseal(data.strip())
        return wire.seal(opened[0], opened[1], "2,7") + b"\n" if opened else b""

    with PtyDevice(answer) as device, pytest.raises(WrongDevice) as caught:
        Link.open(device.port)
    assert caught.value.code == "protocol_version"
    assert "2.7" in caught.value.message and "1.0" in caught.value.message


def test_stale_text_before_the_first_reply_is_ignored():
    board = Board(StillHardware())
    stale = [b"half a line of\r\nsomething old,1,2,3\r\n"]

    def answer(data: bytes) -> bytes:
        board.receive(data)
        return (stale.pop() if stale else b"") + board.take_output()

    with PtyDevice(answer) as device:
        link = Link.open(device.port)
        assert link.request("identity").startswith("Sagline,still")
        link.close()


def test_a_stale_half_line_before_the_first_reply_costs_one_try():
    """As a board leaves it that was not read to the end; the reply sticks to it."""
    board = Board(StillHardware())
    stale = [b"1,2,3,4"]

    def answer(data: bytes) -> bytes:
        board.receive(data)
        reply = board.take_output()
        return (stale.pop() if stale and reply else b"") + reply

    with PtyDevice(answer) as device:
        link = Link.open(device.port)
        assert device.got.count(b"SESSion:OPEN") == 2
        link.close()


def test_the_firmware_falls_back_to_the_prompt_in_mid_session():
    board = Board(StillHardware())
    crashed = []

    def answer(data: bytes) -> bytes:
        if crashed:
            return b"MPY: soft reboot\r\n>>> "
        board.receive(data)
        return board.take_output()

    with PtyDevice(answer) as device:
        link = Link.open(device.port)
        crashed.append(True)
        with pytest.raises(WrongDevice) as caught:
            link.request("identity")
        assert caught.value.code == "repl"
        link.close()


def test_a_modem_program_that_probes_the_board_leaves_it_well():
    """Other software writes AT to every port it finds; the board queues an error and goes on."""
    board = Board(StillHardware())

    def answer(data: bytes) -> bytes:
        board.receive(b"AT\r" + data)
        return board.take_output()

    with PtyDevice(answer) as device:
        link = Link.open(device.port)
        assert link.request("next_error").startswith(str(faults.UNDEFINED_HEADER))
        link.close()
