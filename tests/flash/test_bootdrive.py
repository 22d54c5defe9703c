# SPDX-License-Identifier: MIT
"""The drive of a board in its bootloader, and what is said of it."""

from pathlib import Path

import pytest

from sagline.device.bootdrive import INFO, find_drives
from sagline.verbs import flash

# As boards show it, by the UF2 format's specification (https://github.com/microsoft/uf2).
TEXT = "UF2 Bootloader v3.0\nModel: Raspberry Pi RP2\nBoard-ID: {board_id}\n"


def drive(folder: Path, board_id: str) -> Path:
    folder.mkdir()
    (folder / INFO).write_text(TEXT.format(board_id=board_id))
    return folder


@pytest.mark.parametrize(
    ("board_id", "page"),
    [("RPI-RP2", "download/RPI_PICO/"), ("RP2350", "download/RPI_PICO2/"),
     ("SOMETHING", "micropython.org/download, and")],
)  # fmt: skip
def test_it_is_told_which_file_goes_there(tmp_path: Path, board_id: str, page: str) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    path = drive(tmp_path / "board", board_id)
    (found,) = find_drives([stick, path, tmp_path / "gone"])
    assert found.path == path and found.board_id == board_id
    assert page in found.advice and str(path) in found.advice


def test_without_port_or_drive_it_is_said_how_to_get_one(monkeypatch, capsys) -> None:
    from sagline.cli import main

    monkeypatch.setattr("sagline.rigs.list_serial_ports", lambda: [])
    monkeypatch.setattr("sagline.device.bootdrive.find_drives", lambda: ())
    assert main(["flash"]) == 3
    assert "BOOTSEL" in capsys.readouterr().err


def test_it_goes_on_when_the_board_comes_back(tmp_path: Path, monkeypatch, capsys) -> None:
    """No port at first and a drive; then the port that MicroPython brings."""
    from argparse import Namespace

    from sagline.device.ports import PortInfo

    looks = iter([[], [], [PortInfo("/dev/ttyACM9", "Pico", "0a0b", True)]])
    monkeypatch.setattr("sagline.rigs.list_serial_ports", lambda: next(looks))
    path = drive(tmp_path / "board", "RPI-RP2")
    monkeypatch.setattr("sagline.device.bootdrive._mounted", lambda: [path])
    monkeypatch.setattr(flash, "_LOOK_S", 0.01)
    assert flash._address(Namespace(rig=None, wait=5.0)) == "/dev/ttyACM9"
    assert str(path) in capsys.readouterr().err
