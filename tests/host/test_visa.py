# SPDX-License-Identifier: MIT
"""PyVISA with pyvisa-py as a stranger's client: what protocol.md tells its users works."""

import time
from collections.abc import Iterator
from typing import Any

import pytest
import pyvisa
from served import serving

LF = {"read_termination": "\n", "write_termination": "\n"}
# PyVISA's own: no read termination, CR LF when writing.
DEFAULTS: dict[str, str] = {}
READ_ONLY = {"read_termination": "\n"}


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with serving("lr6?seed=2") as server:
        yield server.port


@pytest.fixture
def instrument(port: int, request: pytest.FixtureRequest) -> Iterator[Any]:
    manager = pyvisa.ResourceManager("@py")
    opened: Any = manager.open_resource(f"TCPIP::127.0.0.1::{port}::SOCKET", **request.param)
    opened.timeout = 2000
    yield opened
    opened.close()
    manager.close()
    # The server takes the next client once it has seen this one go.
    time.sleep(0.05)


def ask(instrument: Any, text: str) -> str:
    """Query; without a read termination read byte by byte up to the line end."""
    if instrument.read_termination:
        return instrument.query(text)
    instrument.write(text)
    data = b""
    while not data.endswith(b"\n"):
        data += instrument.read_bytes(1)
    return data.decode().rstrip("\n")


EVERY = pytest.mark.parametrize(
    "instrument", [DEFAULTS, READ_ONLY, LF], ids=["defaults", "read LF", "LF"], indirect=True
)


@EVERY
def test_who_is_there(instrument: Any) -> None:
    assert ask(instrument, "*IDN?").split(",")[:2] == ["Sagline", "virtual-rp2350"]


@EVERY
def test_a_wrong_header_is_in_the_error_queue(instrument: Any) -> None:
    instrument.write("*CLS")
    instrument.write("STEP:JUMP 3")
    assert ask(instrument, "SYST:ERR?") == '-113,"Undefined header"'
    assert ask(instrument, "SYST:ERR?") == '0,"No error"'


@EVERY
def test_a_whole_step(instrument: Any) -> None:
    instrument.write("*RST")
    instrument.write("STEP:RANGE 0")
    for segment in ("0,200", "1,300", "0,100"):
        instrument.write(f"STEP:SEGMENT {segment}")
    instrument.write("STEP:START")
    state = [1]
    for _ in range(100):
        state = [int(field) for field in ask(instrument, "STEP:STATE?").split(",")]
        if state[0] != 1:
            break
        time.sleep(0.05)
    assert state[0] == 2
    points = state[3]
    values: list[int] = []
    for chunk in range(-(-points // 8)):
        reply = [int(field) for field in ask(instrument, f"STEP:FETCH? {chunk}").split(",")]
        assert reply[0] == chunk
        values += reply[2:]
    assert len(values) == 5 * points
    on_us, off_us = (int(field) for field in ask(instrument, "STEP:EDGES?").split(","))
    assert (on_us, off_us) == (200_000, 500_000)
    sense = [(values[i + 1], values[i + 4] / values[i + 3]) for i in range(0, len(values), 5)
             if values[i] == 4]  # fmt: skip
    rest = [code for start_us, code in sense if start_us < on_us]
    loaded = [code for start_us, code in sense if on_us <= start_us < off_us]
    assert min(rest) > max(loaded), "the cell sags under the load"
    assert ask(instrument, "SYST:ERR?") == '0,"No error"'


def test_a_serial_resource_with_every_default() -> None:
    from pty_device import board_on_a_pty

    with board_on_a_pty() as device:
        manager = pyvisa.ResourceManager("@py")
        instrument: Any = manager.open_resource(f"ASRL{device.port}::INSTR")
        assert instrument.query("*IDN?").strip() == "Sagline,still,1,0.1.0"
        instrument.close()
        manager.close()
