# SPDX-License-Identifier: MIT
"""Which rig is meant, and where a board is after it was replugged."""

from dataclasses import replace
from pathlib import Path

import pytest

from sagline import rigs
from sagline.config import Config
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


BENCH = Config(
    Path("config.toml"),
    {
        "bench": "e6614103e7459999",
        "sim": "virtual://lr6?seed=3",
        "lr6": "virtual://6lr61",
        "field": "e661000000000000",
    },
)


def test_a_nickname_goes_first(ports):
    ports += [ONE, OTHER]
    assert rigs.resolve("bench", BENCH) == "/dev/ttyACM1"
    assert rigs.resolve("sim", BENCH) == "virtual://lr6?seed=3"
    assert rigs.resolve("lr6", BENCH) == "virtual://6lr61"
    assert rigs.resolve("/dev/ttyACM0", BENCH) == "/dev/ttyACM0"


def test_the_usual_rig_goes_before_the_only_one(ports):
    ports.append(ONE)
    for usual in ("sim", "virtual://lr6?seed=3"):
        assert rigs.resolve(None, replace(BENCH, rig=usual)) == "virtual://lr6?seed=3"
    with pytest.raises(NoRig, match=r"'attic' \(\[defaults\] rig in config.toml\)"):
        rigs.resolve(None, replace(BENCH, rig="attic"))


def test_an_unknown_name_is_told_what_there_is(ports):
    ports.append(ONE)
    with pytest.raises(NoRig, match="no rig 'attic'") as caught:
        rigs.resolve("attic", BENCH)
    assert "bench, sim, lr6, field" in caught.value.remedy
    assert "virtual://" not in caught.value.remedy
    with pytest.raises(NoRig, match="no rig 'field', that is 'e661000000000000'"):
        rigs.resolve("field", BENCH)
    for name in ("lr6-worn", "LR6-worn"):
        with pytest.raises(NoRig) as caught:
            rigs.resolve(name, BENCH)
        assert "'virtual://lr6-worn'" in caught.value.remedy
    with pytest.raises(NoRig) as caught:
        rigs.resolve("attic", Config(Path("config.toml")))
    assert "No nickname is set in config.toml" in caught.value.remedy


def test_a_path_that_is_there_is_tried_as_it_is(ports, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(NoRig):
        rigs.resolve("mine", BENCH)
    (tmp_path / "mine").symlink_to("/dev/null")
    assert rigs.resolve("mine", BENCH) == "mine"
