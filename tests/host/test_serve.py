# SPDX-License-Identifier: MIT
"""A virtual rig behind a TCP port, used through pyserial's socket:// like any other."""

import json
import socket
import subprocess
import sys
import time

import pytest
from served import serving

import sagline
from sagline.device.procedure import run
from sagline.device.progress import Stepping
from sagline.device.settings import Settings
from sagline.errors import LinkLost, Refused, UsageError
from sagline.virtual.bidding import BIDDINGS, obey
from sagline.virtual.cells import CELLS
from sagline.virtual.server import BUSY, HOST, RigServer, listen, real_pace_url
from sagline.virtual.truth import truth


@pytest.fixture(scope="module")
def served():
    with serving("virtual://lr6?seed=2") as server:
        yield server


def ask(connection: socket.socket, line: bytes) -> bytes:
    connection.sendall(line + b"\n")
    data = b""
    while not data.endswith(b"\n"):
        data += connection.recv(4096)
    return data


def test_the_host_measures_over_a_socket(served):
    with sagline.open_rig(served.address) as rig:
        start_s = time.monotonic()
        result = rig.measure(designation="LR6", repeats=1)
        taken_s = time.monotonic() - start_s
    assert result.kind == "virtual"
    assert result.r_ohm.value == pytest.approx(
        truth(CELLS["lr6"])["truth"]["r_at"][0]["value"], rel=0.03
    )
    assert 7.6 < taken_s < 25.0, "a look of 1.35 s and a step of 6.3 s, as long as at a bench"


def test_abort_is_obeyed_within_20_ms_and_the_way_back(served):
    with socket.create_connection((HOST, served.port)) as connection:
        ask(connection, b"*RST;STEP:RANG 0;SEGM 0,50;SEGM 1,1000;STAR;STAT?")
        time.sleep(0.3)
        assert ask(connection, b"STEP:STAT?").startswith(b"1,1,")
        before_s = time.monotonic()
        state = ask(connection, b"ABOR;STEP:STAT?")
        taken_s = time.monotonic() - before_s
    assert state.startswith(b"3,")
    # 20 ms is the board's; the rest is two crossings and a loaded machine.
    assert taken_s < 0.2


def test_a_second_client_is_told_that_the_rig_is_busy(served):
    with socket.create_connection((HOST, served.port)) as first:
        assert ask(first, b"*IDN?").startswith(b"Sagline,")
        with socket.create_connection((HOST, served.port)) as second:
            assert second.recv(100) == BUSY
            second.sendall(b"*IDN?\n")
            second.settimeout(0.3)
            with pytest.raises(TimeoutError):
                second.recv(100)
        assert ask(first, b"*IDN?").startswith(b"Sagline,")


def test_a_second_host_says_that_another_program_has_the_rig(served):
    with socket.create_connection((HOST, served.port)) as first:
        assert ask(first, b"*IDN?").startswith(b"Sagline,")
        with pytest.raises(LinkLost, match="Another program has the rig") as caught:
            sagline.open_rig(served.address)
        assert caught.value.code == "port_in_use"
        assert ask(first, b"*IDN?").startswith(b"Sagline,")
    with sagline.open_rig(served.address) as rig:
        assert rig.identity.maker == "Sagline"


def test_a_client_that_goes_leaves_the_step_to_the_firmware(served):
    with socket.create_connection((HOST, served.port)) as first:
        ask(first, b"*RST;STEP:RANG 0;SEGM 0,50;SEGM 1,400;SEGM 0,50;STAR;STAT?")
    time.sleep(0.9)
    with socket.create_connection((HOST, served.port)) as second:
        assert ask(second, b"STEP:STAT?").startswith(b"2,")


def test_leaving_the_server_turns_the_load_off():
    with RigServer("lr6?pace=fast", 0) as server:
        for item in run_until_loaded(server):
            assert item
        assert server.rig.hardware.gate_mask() == 1
    assert server.rig.hardware.gate_mask() == 0


def run_until_loaded(server):
    """Turn the server with a plan under way until its load is on."""
    server.rig.write(b"STEP:RANG 0;SEGM 0,20;SEGM 1,1000;STAR\n")
    for _ in range(100):
        server.turn()
        if server.rig.hardware.gate_mask():
            return
        yield True


def test_a_port_that_is_taken(served):
    taken = subprocess.run(
        [sys.executable, "-m", "sagline", "virtual", "serve", "lr6", "--port", str(served.port),
         "--json"],
        capture_output=True, text=True, timeout=30,
    )  # fmt: skip
    assert taken.returncode == 2
    assert json.loads(taken.stderr)["error"]["code"] == "port_taken"


def test_it_listens_to_this_computer_alone():
    with listen(0) as listener:
        assert listener.getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize(
    ("name", "url"),
    [
        ("lr6", "virtual://lr6?pace=real"),
        ("lr6?seed=7", "virtual://lr6?seed=7&pace=real"),
        ("virtual://6lr61?pace=fast", "virtual://6lr61?pace=fast"),
    ],
)
def test_the_pace_is_real_unless_asked_otherwise(name, url):
    assert real_pace_url(name) == url


def test_an_unknown_cell_is_refused():
    with pytest.raises(UsageError, match="no simulated cell"):
        RigServer("nothing", 0)


def test_stopping_over_the_socket_turns_the_load_off(served):
    with sagline.open_rig(served.address) as rig:
        running = run(rig, Settings(load_ohm=3.3, repeats=1))
        for item in running:
            if isinstance(item, Stepping) and item.phase == "load on":
                break
        running.close()
    with socket.create_connection((HOST, served.port)) as connection:
        assert ask(connection, b"STEP:STAT?").startswith(b"3,")


def hands(port: int, *words: str) -> tuple[int, str, str]:
    """Run `sagline hands`; return (status, stdout, stderr)."""
    done = subprocess.run(
        [sys.executable, "-m", "sagline", "hands", *words, "--port", str(port)],
        capture_output=True, text=True, timeout=30,
    )  # fmt: skip
    return done.returncode, done.stdout, done.stderr


def test_hands_turn_the_cell_round_and_back(served):
    assert served.hands_port == served.port + 1
    before_v = float(hands(served.hands_port, "read-meter")[1])
    assert before_v == pytest.approx(1.58, abs=0.02)
    assert hands(served.hands_port, "reverse") == (0, "", "")
    with sagline.open_rig(served.address) as rig:
        assert rig.live().sense_v < 0.0
        with pytest.raises(Refused, match="wrong way round"):
            rig.measure(designation="LR6", repeats=1)
    assert hands(served.hands_port, "reverse")[0] == 0
    with sagline.open_rig(served.address) as rig:
        assert rig.live().sense_v == pytest.approx(1.58, abs=0.03)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("juggle",), "is no 'juggle'"),
        (("insert",), "'insert' takes NAME"),
        (("insert", "lr99"), "lr99"),
        (("remove", "it"), "'remove' takes nothing more"),
        (("add-series", "much"), "ould not convert"),
        (("move-tap", "up"), "cell or load"),
        (("short-sense", "maybe"), "on or off"),
        (("connect-capacitor", "470e-6"), "ould not convert"),
        (("connect-capacitor", "470,4.5"), "1e-6 to 1 F"),
    ],
)
def test_hands_say_what_they_cannot_do(served, words, said):
    status, out, err = hands(served.hands_port, *words)
    assert (status, out) == (2, "")
    assert said in err


def test_no_hands_there():
    with listen(0) as listener:
        port = listener.getsockname()[1]
    status, _, err = hands(port, "remove")
    assert status == 3
    assert "virtual serve" in err


def test_every_bidding_is_obeyed():
    arguments = {
        "NAME": "lr6", "OHM": "1", "cell|load": "load", "on|off": "off",
        "FARAD,VOLTS": "470e-6,4.5",
    }  # fmt: skip
    with RigServer("virtual://tray?cells=lr6,6lr61&pace=fast", 0) as server:
        for verb, argument, _ in BIDDINGS:
            line = verb if argument is None else f"{verb} {arguments[argument]}"
            assert obey(server._hands, line).startswith("ok"), line
        assert obey(server._hands, "next-cell") == "ok empty"
