# SPDX-License-Identifier: MIT
"""The thermistor's converter on the Pico: found, read at rest, its faults reported.

Emulated: nothing here ran on a physical board.
"""

from board.rp2_standin.bench import FullBoard, forget, pico
from sagline_board import faults
from sagline_board.board import Board

# By hand from the config register's table (SBAS444): OS 1, input 0 or 1 against ground 100 101,
# 4.096 V 001, single 1, 128 a second 100, comparator off 11.
WORDS = [0b1_100_001_1_100_0_0_0_11, 0b1_101_001_1_100_0_0_0_11]


def answer(board: Board, line: str) -> str:
    board.receive(line.encode() + b"\n")
    return board.take_output().decode().strip()


def with_bead(full: FullBoard) -> Board:
    full.bead.absent = False
    forget()
    return Board(pico().PicoHardware())


def test_both_voltages_are_read_in_one_range(full: FullBoard) -> None:
    board = with_bead(full)
    assert answer(board, "SYST:CAP?").endswith(",1")
    full.bead.done.clear()
    assert answer(board, "MEAS:THER?") == f"{round(1.5 / 125e-6)},{round(3.29 / 125e-6)}"
    assert [word | 0x8000 for _, _, word, _ in full.bead.done] == WORDS
    assert answer(board, "RIG:THER?") == "10000,1000,10000,10000,3950,10000"


def test_without_one_the_board_says_so(full: FullBoard) -> None:
    board = Board(pico().PicoHardware())
    assert answer(board, "SYST:CAP?").endswith(",0")
    assert answer(board, "RIG:THER?") == "0,0,0,0,0,0"
    assert answer(board, "MEAS:THER?;:SYST:ERR?") == ""
    assert answer(board, "SYST:ERR?").startswith(str(faults.HARDWARE))


def test_a_converter_without_its_supply_on_the_input_is_none(full: FullBoard) -> None:
    """Any other chip may answer at that address."""
    full.bead.absent = False
    full.bead._pin_v = lambda number: 0.3
    forget()
    assert pico().PicoHardware().thermistor == 0


def test_one_that_stops_answering_is_an_error_and_nothing_else(full: FullBoard) -> None:
    board = with_bead(full)
    full.bead.absent = True
    assert answer(board, "MEAS:THER?") == ""
    assert answer(board, "SYST:ERR?").startswith(str(faults.HARDWARE))
    full.bead.absent = False
    assert answer(board, "MEAS:THER?")


def test_it_is_not_read_while_a_step_runs(full: FullBoard) -> None:
    board = with_bead(full)
    full.chip.now_us += 8_000_000
    board.poll()
    board.receive(b"STEP:SEGM 0,100;STAR\n")
    full.bead.done.clear()
    assert answer(board, "MEAS:THER?") == ""
    assert answer(board, "SYST:ERR?").startswith(str(faults.INIT_IGNORED))
    assert not full.bead.done
