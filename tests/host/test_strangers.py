# SPDX-License-Identifier: MIT
"""What may be on a port instead of a rig, and every way a port can fail, provoked on real ones."""

import multiprocessing
import os
from multiprocessing.connection import Connection

import pytest
import serial

from sagline_board.board import Board

pytest.importorskip("tty", reason="pseudo terminals are a thing of Unix")

from pty_device import PtyDevice

from board.still import StillHardware
from sagline.device.link import Link
from sagline.device.opening import UDEV_RULE, explain
from sagline.errors import LinkLost, SaglineError, WrongDevice


def board_on_a_pty() -> PtyDevice:
    """A board that answers, its clock standing still between requests."""
    board = Board(StillHardware())

    def answer(data: bytes) -> bytes:
        board.receive(data)
        board.poll()
        return board.take_output()

    return PtyDevice(answer)


STRANGERS = {
    "repl": lambda data: data.replace(b"\n", b"\r\n>>> "),
    "firmware_crashed": lambda _: b"Traceback (most recent call last):\r\nOSError: 5\r\n",
    "echo": lambda data: data,
    "other_instrument": lambda data: b"Maker,M 1,0,1.0\n" if b"*IDN?" in data else b"",
    "no_session": lambda data: b"Sagline,pico,1,9.9.9\n" if b"*IDN?" in data else b"",
    "modem": lambda data: b"\r\nERROR\r\n" * data.count(b"\n"),
    "stranger": lambda _: b"\x00\x9f\xff\x12" * 8,
}


@pytest.mark.parametrize("code", STRANGERS)
def test_a_stranger_is_told_by_what_it_says(code):
    with PtyDevice(STRANGERS[code]) as device:
        with pytest.raises(WrongDevice) as caught:
            Link.open(device.port)
        assert caught.value.code == code
        assert device.port in caught.value.message
        assert caught.value.exit_status == 3
        assert not set(device.got) & {1, 2, 3, 4}, "no control character to a stranger"


def test_nothing_there_is_no_answer():
    with PtyDevice(lambda _: b"") as device, pytest.raises(LinkLost) as caught:
        Link.open(device.port)
    assert caught.value.code == "no_answer"


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


@pytest.mark.parametrize("call", ["request", "close"])
def test_the_plug_is_pulled(call):
    device = board_on_a_pty()
    link = Link.open(device.port)
    device.pull_out()
    if call == "close":
        link.close()
        return
    with pytest.raises(LinkLost) as caught:
        link.request("identity")
    assert caught.value.code == "link_lost"
    assert device.port in caught.value.message
    link.close()


def test_another_program_has_the_port():
    with (
        board_on_a_pty() as device,
        serial.Serial(device.port, exclusive=True),
        pytest.raises(LinkLost) as caught,
    ):
        Link.open(device.port)
    assert caught.value.code == "port_in_use"


def _open_as_nobody(port: str, said: Connection) -> None:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
    try:
        Link.open(port)
    except SaglineError as error:
        said.send((error.code, error.message, error.remedy))


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="users are a thing of Unix")
def test_a_port_that_one_may_not_open():
    import grp  # noqa: F401 - a nobody may not be able to read the library

    with board_on_a_pty() as device:
        os.chmod(device.port, 0o600)
        if os.geteuid() == 0:
            context = multiprocessing.get_context("fork")
            ours, theirs = context.Pipe()
            child = context.Process(target=_open_as_nobody, args=(device.port, theirs))
            child.start()
            assert ours.poll(10.0)
            code, message, remedy = ours.recv()
            child.join()
        else:
            os.chmod(device.port, 0)
            with pytest.raises(LinkLost) as caught:
                Link.open(device.port)
            code, message, remedy = caught.value.code, caught.value.message, caught.value.remedy
    assert code == "port_not_allowed"
    assert device.port in message
    assert "usermod" in remedy or "Ask whoever" in remedy


def test_the_rule_that_is_shipped_lets_users_in_and_keeps_modem_software_out():
    rule = UDEV_RULE.read_text(encoding="ascii")
    assert 'TAG+="uaccess"' in rule
    assert 'ENV{ID_MM_DEVICE_IGNORE}="1"' in rule
    assert '"2e8a"' in rule and '"0005"' in rule


def test_other_reasons_are_passed_on():
    assert explain("COM7", OSError(22, "Invalid argument")).code == "port_not_opened"
