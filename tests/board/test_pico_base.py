# SPDX-License-Identifier: MIT
"""A Pico in a base build. Emulated."""

from board.rp2_standin import Chip
from board.rp2_standin.bench import FullBoard, pico
from sagline_board import profile
from sagline_board.board import Board


def test_a_board_knows_it_by_its_link(full: FullBoard, chip: Chip) -> None:
    """On the stand-in, everything else fitted: the grounded pin alone decides."""
    assert pico().PicoHardware().build == profile.FULL
    chip.grounded.add(profile.PINS["build"])
    hw = pico().PicoHardware()
    assert (hw.build, hw.ads1115, hw.null, hw.one_shot) == (profile.BASE, 0, 0, 1)
    board = Board(hw)
    board.receive(b"SYST:CAP?\nRIG:LOAD:COUN?\n")
    told = board.take_output().split()
    assert told[0].endswith(b",1,0") and told[1] == b"1"
