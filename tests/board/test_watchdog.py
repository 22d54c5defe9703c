# SPDX-License-Identifier: MIT
"""The watchdog of a Pico: on while a load is on, fed by the loop, off at any other time.

Emulated: nothing here ran on a physical board.
"""

import sys

import pytest

from board.rp2_standin import Chip
from board.rp2_standin.bench import GATES, all_low, become, pico
from board.rp2_standin.watchdog import BASES
from sagline_board.board import Board

TIMEOUT_US = 1_000_000


@pytest.fixture
def board(chip: Chip) -> Board:
    """The firmware with cool loads."""
    made = Board(pico().PicoHardware())
    chip.now_us += 8_000_000
    made.poll()
    return made


def test_it_is_on_during_pulses_and_only_then(chip: Chip, board: Board) -> None:
    assert not chip.watchdog.enabled
    board.receive(b"STEP:RANG 0;SEGM 0,50;SEGM 8,3000;SEGM 0,50;STAR\n")
    seen = set()
    while board.poll() == 0:
        seen.add((chip.drives_high(GATES[3]), chip.watchdog.enabled))
    assert seen == {(False, False), (True, True)}
    # Longer than its time: it was fed.
    assert not chip.watchdog.resets and not chip.watchdog.enabled


def test_where_all_else_fails_a_hung_board_starts_anew_within_its_time(
    chip: Chip, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one-shot counts far too long, on purpose, and the loop stops in the pulse."""
    module = pico()
    start = module.OneShot.start
    monkeypatch.setattr(
        module.OneShot, "start", lambda self, mask, _longest: start(self, mask, 60_000_000)
    )
    hw = module.PicoHardware()
    hw.switch(8, 300_000)
    hw.capture(5_000, 200)
    assert chip.drives_high(GATES[3])
    fed_us = chip.now_us
    chip.now_us += 30_000_000
    assert all_low(chip) and not chip.given
    (machine,) = chip.machines
    (on_us, _), (off_us, word) = machine.edges
    assert word == 0 and chip.watchdog.resets == [off_us]
    assert TIMEOUT_US - 6_000 <= off_us - fed_us <= TIMEOUT_US
    assert off_us - on_us < 1_100_000


@pytest.mark.parametrize("way", ["abort", "exception", "off"])
def test_every_end_of_a_pulse_stops_it(
    chip: Chip, board: Board, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    board.receive(b"STEP:RANG 0;SEGM 0,20;SEGM 8,300;SEGM 0,20;STAR\n")
    while not chip.watchdog.enabled:
        board.poll()
    hw = board.engine._hw
    if way == "abort":
        board.receive(b"ABOR\n")
    elif way == "exception":

        def fail(*_: object) -> None:
            raise OSError(5)

        monkeypatch.setattr(hw, "_capture", fail)
        board.poll()
    else:
        hw.switch(0, 0)
    assert all_low(chip) and not chip.watchdog.enabled
    chip.now_us += 10 * TIMEOUT_US
    assert all_low(chip) and not chip.watchdog.resets


@pytest.mark.parametrize("name", list(BASES))
def test_the_address_is_the_chips_own(
    chip: Chip, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    become(chip, monkeypatch, f"Board with {name}")
    assert chip.watchdog.base == BASES[name]
    hw = pico().PicoHardware()
    hw.switch(1, 100_000)
    assert chip.watchdog.enabled
    hw.switch(0, 0)
    assert not chip.watchdog.enabled


def test_that_of_a_chip_that_is_not_known_is_left_alone(
    chip: Chip, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It could not be stopped again."""
    monkeypatch.setattr(sys.implementation, "_machine", "Board with another chip")
    hw = pico().PicoHardware()
    hw.switch(1, 100_000)
    assert chip.drives_high(GATES[0]) and not chip.watchdog.enabled
    hw.switch(0, 0)
    assert all_low(chip)


def test_one_that_was_left_on_is_stopped_at_the_start(chip: Chip) -> None:
    """A second Ctrl-C may come before the first one's clearing up has stopped it."""
    chip.watchdog.load(TIMEOUT_US)
    chip.watchdog.enabled = True
    pico().PicoHardware()
    assert not chip.watchdog.enabled
