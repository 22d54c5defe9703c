# SPDX-License-Identifier: MIT
"""Which rig is meant, and where a board is after it was replugged."""

import pytest

from sagline import rigs
from sagline.device.ports import PortInfo
from sagline.errors import NoRig, UsageError

ONE = PortInfo("/dev/ttyACM0", "Board in FS mode", "e6614103e7452b2f", True)
OTHER = PortInfo("/dev/ttyACM1", "Board in FS mode", "e6614103e7459999", True)
PRINTER = PortInfo("/dev/ttyUSB0", "USB serial", None, False)


@pytest.fixture
def ports(monkeypatch):
    """The ports of the computer, to be filled by the test."""
    listed = []
    monkeypatch.setattr(rigs, "list_serial_ports", lambda: listed)
    return listed


def test_the_only_board_is_meant(ports):
    ports += [PRINTER, ONE]
    assert rigs.resolve(None) == "/dev/ttyACM0"


def test_by_serial_number_port_or_address(ports):
    ports += [ONE, OTHER]
    assert rigs.resolve("e6614103e7459999") == "/dev/ttyACM1"
    assert rigs.resolve("/dev/ttyACM0") == "/dev/ttyACM0"
    assert rigs.resolve("virtual://lr6") == "virtual://lr6"
    assert rigs.resolve("/dev/pts/3") == "/dev/pts/3"


def test_none_and_several(ports):
    ports.append(PRINTER)
    with pytest.raises(NoRig, match="No rig"):
        rigs.resolve(None)
    ports += [ONE, OTHER]
    with pytest.raises(UsageError, match="ttyACM0, /dev/ttyACM1"):
        rigs.resolve(None)


def test_a_replugged_board_is_found_by_its_serial_number(ports):
    moved = PortInfo("/dev/ttyACM1", ONE.description, ONE.serial_number, True)
    ports += [PRINTER, moved]
    assert rigs.find_again("/dev/ttyACM0", ONE.serial_number) == "/dev/ttyACM1"
    assert rigs.find_again("/dev/ttyACM0", "unknown") == "/dev/ttyACM0"
    assert rigs.find_again("/dev/ttyACM0", None) == "/dev/ttyACM0"
    assert rigs.find_again("virtual://lr6", ONE.serial_number) == "virtual://lr6"
