# SPDX-License-Identifier: MIT
"""Told to end in mid-measurement, by a person or by the system: load off, terminal as before."""

import json
import os
import signal
import socket
import subprocess
import sys

import pytest
from served import serving

from sagline.ending import Ended, listening
from sagline.virtual.server import HOST
from terminal import Terminal

# 128 + the number of the signal, as shells have it: common practice.
STATUSES = {signal.SIGINT: 130, signal.SIGTERM: 143, signal.SIGHUP: 129}


@pytest.fixture(scope="module")
def served():
    with serving("virtual://lr6?seed=2") as server:
        yield server


def state_of(served):
    """What the board says of its last step; 3 first is "aborted" (protocol.md)."""
    with socket.create_connection((HOST, served.port), timeout=10) as connection:
        connection.sendall(b"STEP:STAT?\n")
        return connection.makefile("rb").readline()


@pytest.mark.parametrize("number", STATUSES)
def test_a_measurement_ends_with_the_load_off(served, number):
    arguments = ("measure", "--rig", served.address, "--designation", "LR6")
    with Terminal(*arguments, whole=False) as terminal:
        terminal.until(lambda shown: ": load on," in shown)
        terminal.process.send_signal(number)
        assert terminal.ended() == STATUSES[number]
        assert terminal.process.stdout is not None and terminal.process.stdout.read() == ""
    assert state_of(served).startswith(b"3,")
    # The words begin a line of their own, behind the line of progress.
    last = terminal.shown[terminal.shown.rindex("\x1b[K") :].replace("\r\n", "\n")
    by = "" if number == signal.SIGINT else f" by {signal.Signals(number).name}"
    assert f" s\nsagline: Stopped{by}; the load is off.\n" in last


def test_a_window_that_is_closed_ends_it_with_the_load_off(served):
    arguments = ("measure", "--rig", served.address, "--designation", "LR6")
    with Terminal(*arguments, whole=False) as terminal:
        terminal.until(lambda shown: ": load on," in shown)
        terminal.hang_up()
        assert terminal.process.wait(20) == 129
    assert state_of(served).startswith(b"3,")


def test_the_end_is_said_as_json_too(served):
    # Where there is no terminal nothing is shown that could be waited for: the server's end is.
    process = subprocess.Popen(
        [sys.executable, "-m", "sagline", "virtual", "serve", "lr6", "--port", "0", "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None and process.stdout.readline()
    process.terminate()
    out, err = process.communicate(timeout=20)
    assert (out, process.returncode) == ("", 143)
    assert json.loads(err)["error"]["message"] == "Stopped by SIGTERM; the load is off."


@pytest.mark.parametrize("how", ["ctrl-c", "q", *STATUSES])
def test_the_screen_leaves_the_terminal_as_it_was(how):
    with Terminal("demo", whole=True) as terminal:
        terminal.until(lambda shown: "load on" in shown)
        assert terminal.settings() != terminal.before, "or nothing is shown by what follows"
        if how in ("ctrl-c", "q"):
            os.write(terminal.ours, b"\x03" if how == "ctrl-c" else b"q")
        else:
            terminal.process.send_signal(how)
        assert terminal.ended() == (130 if isinstance(how, str) else STATUSES[how])
        assert terminal.settings() == terminal.before
    # Out of the alternate screen, cursor shown (xterm's control sequences, DEC private modes).
    for switched_on, switched_off in (("?1049h", "?1049l"), ("?25l", "?25h"), ("?1003h", "?1003l")):
        assert terminal.shown.rindex(switched_on) < terminal.shown.rindex(switched_off)
    assert "; the load is off." in terminal.shown[terminal.shown.rindex("?1049l") :]


@pytest.mark.parametrize("redirected", ["2>&-", "2>/dev/null", ">/dev/null"])
def test_a_screen_that_could_not_be_seen_is_not_begun(redirected):
    with Terminal("demo", whole=True, redirected=redirected) as terminal:
        assert terminal.ended() == 2
        assert terminal.settings() == terminal.before
        assert ("needs a terminal" in terminal.shown) is redirected.startswith(">")


def test_a_screen_whose_window_is_closed_ends():
    with Terminal("demo", whole=True) as terminal:
        terminal.until(lambda shown: "load on" in shown)
        terminal.hang_up()
        assert terminal.process.wait(20) == 129


def test_the_second_signal_does_not_disturb_the_turning_off():
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(Ended) as caught, listening():
        try:
            os.kill(os.getpid(), signal.SIGTERM)
        finally:
            os.kill(os.getpid(), signal.SIGTERM)
            os.kill(os.getpid(), signal.SIGHUP)
    assert caught.value.number == signal.SIGTERM
    assert signal.getsignal(signal.SIGTERM) is before


def test_a_signal_that_was_ignored_stays_so():
    # nohup starts a program with SIGHUP ignored (POSIX.1-2017, XCU, nohup).
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with listening():
            os.kill(os.getpid(), signal.SIGHUP)
            assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)
