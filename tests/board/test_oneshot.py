# SPDX-License-Identifier: MIT
"""Gate pulses by the chip's own state machine: they end by themselves, whatever the loop does.

Emulated: nothing here ran on a physical board. The state machine executes the instructions that
the firmware has handed it.
"""

import importlib
from typing import Any

import pytest

from board.rp2_standin import PIN_US, Chip
from board.rp2_standin.bench import ARM, GATES, all_low, become, pico, run_boot
from board.rp2_standin.pio import CALL_US
from sagline_board import profile
from sagline_board.board import Board
from sagline_board.engine import ONE_SHOT_MARGIN_US


@pytest.fixture
def shot(chip: Chip) -> Any:
    """A one-shot on the profile's gates."""
    return importlib.import_module("boards.oneshot").OneShot(GATES[0], len(GATES))


def edges(chip: Chip) -> list[tuple[float, int]]:
    """The changes of the state machine's pins."""
    (machine,) = chip.machines
    for gate in GATES:
        chip.drives_high(gate)
    return machine.edges


def gates(chip: Chip) -> list[bool]:
    return [chip.drives_high(gate) for gate in GATES]


def test_the_gates_of_the_profile_are_what_the_word_can_say() -> None:
    # One `out` sets pins next to each other, from the first one on.
    assert list(GATES) == list(range(GATES[0], GATES[0] + 4))
    assert len(profile.LOADS) <= 4


@pytest.mark.parametrize("longest_us", [3, 4, 100, 305_000, 5_005_000, (1 << 26) - 1])
@pytest.mark.parametrize("mask", [1, 8, 15])
def test_with_the_loop_frozen_a_pulse_lasts_what_was_asked(
    chip: Chip, shot: Any, mask: int, longest_us: int
) -> None:
    shot.start(mask, longest_us)
    chip.now_us += longest_us + 10_000_000
    (on_us, on), (off_us, off) = edges(chip)
    assert (on, off) == (mask, 0)
    assert off_us - on_us == longest_us
    assert gates(chip) == [False] * 4


@pytest.mark.parametrize(
    ("mask", "longest_us"), [(1, 1 << 26), (1, 2), (1, 0), (1, -1), (16, 1000), (-1, 1000)]
)
def test_what_does_not_fit_is_refused_before_anything_changes(
    chip: Chip, shot: Any, mask: int, longest_us: int
) -> None:
    before = chip.accesses
    with pytest.raises(ValueError, match="pulse"):
        shot.start(mask, longest_us)
    assert chip.accesses == before and edges(chip) == []


def test_no_pulse_of_a_plan_is_longer_than_the_word_can_say() -> None:
    oneshot_us = (1 << 26) - 1
    longest_ms = max(load["max_on_ms"] for load in profile.LOADS)
    # A load stays within one pulse for as long as the segments keep the mask.
    assert len(profile.LOADS) * longest_ms * 1000 + ONE_SHOT_MARGIN_US < oneshot_us


def test_from_one_mask_to_another_by_way_of_none(chip: Chip, shot: Any) -> None:
    shot.start(8, 100_000)
    chip.now_us += 50_000
    shot.start(12, 40_000)
    assert gates(chip) == [False, False, True, True]
    chip.now_us += 1_000_000
    found = edges(chip)
    assert [word for _, word in found] == [8, 0, 12, 0]
    (_, gap_us), (second, third) = (found[0], found[1][0]), (found[2][0], found[3][0])
    assert second - gap_us <= 2 * CALL_US
    assert third - second == 40_000


def test_a_pulse_after_one_that_ended_by_itself_has_its_own_length(chip: Chip, shot: Any) -> None:
    shot.start(1, 1_000)
    chip.now_us += 5_000
    shot.start(2, 2_000)
    chip.now_us += 5_000
    found = edges(chip)
    assert [word for _, word in found] == [1, 0, 2, 0]
    assert found[3][0] - found[2][0] == 2_000


def test_to_stop_takes_the_pins_away_and_gives_them_back(chip: Chip, shot: Any) -> None:
    shot.start(15, 1_000_000)
    chip.now_us += 100
    assert gates(chip) == [True] * 4
    began_us = chip.now_us
    shot.stop()
    assert gates(chip) == [False] * 4 and not chip.given
    assert chip.now_us - began_us <= 4 * PIN_US + CALL_US
    chip.now_us += 10_000
    assert gates(chip) == [False] * 4
    shot.start(1, 1_000)
    assert gates(chip) == [True, False, False, False]
    assert set(chip.given) == set(GATES)


def test_the_pins_are_given_low_before_a_pulse_begins(chip: Chip, shot: Any) -> None:
    """The order: set up with the pins low, then the clock, then the word."""
    seen: list[tuple[str, list[bool]]] = []
    (machine,) = chip.machines
    for name in ("init", "active", "put"):
        real = getattr(machine, name)

        def told(*arguments: Any, name: str = name, real: Any = real, **named: Any) -> None:
            real(*arguments, **named)
            seen.append((name, gates(chip)))

        setattr(machine, name, told)
    shot.start(8, 1_000)
    names, (set_up, clocked, _) = zip(*seen, strict=True)
    assert names == ("init", "active", "put")
    assert set_up == clocked == [False] * 4


@pytest.mark.parametrize("name", ["RP2040", "RP2350"])
def test_a_board_that_hangs_in_a_step_lets_go(
    chip: Chip, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """The whole firmware is stopped in the middle of a pulse, and nobody ever calls it again."""
    become(chip, monkeypatch, f"Board with {name}")
    board = Board(pico().PicoHardware())
    chip.now_us += 8_000_000
    board.poll()
    board.receive(b"STEP:RANG 0;SEGM 0,20;SEGM 8,300;SEGM 0,20;STAR\n")
    while not chip.drives_high(GATES[3]):
        board.poll()
    for _ in range(3):
        board.poll()
    assert chip.drives_high(GATES[3]) and chip.armed()
    chip.now_us += 60_000_000
    found = edges(chip)
    assert found[-1][1] == 0
    assert found[-1][0] - found[-2][0] == 300_000 + ONE_SHOT_MARGIN_US
    assert not any(gates(chip)) and not chip.armed()


def test_a_soft_reset_in_mid_pulse_leaves_the_pins_to_boot(chip: Chip) -> None:
    """MicroPython stops the state machines then, and pins stay as they were."""
    hw = pico().PicoHardware()
    hw.switch(8, 300_000)
    (machine,) = chip.machines
    machine.active(0)
    chip.now_us += 900_000
    assert chip.drives_high(GATES[3]), "the count has stopped with the clock"
    run_boot()
    assert all_low(chip) and not chip.given


def test_arm_alone_starts_no_pulse(chip: Chip) -> None:
    hw = pico().PicoHardware()
    hw.switch(256, 50_000)
    hw.capture(1_000, 200)
    assert chip.armed() and edges(chip) == []
    hw.switch(0, 0)
    assert not chip.drives_high(ARM)
