# SPDX-License-Identifier: MIT
"""The Pico's board file on a register-level stand-in: start-up, sampling, and gates low at the end.

Emulated: nothing here ran on a physical board.
"""

import os
import subprocess
import sys
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from board.rp2_standin import PERIOD, PIN_US, READ_US, Chip
from board.rp2_standin.bench import (
    ARM,
    FIRMWARE,
    GATES,
    SWITCHES,
    all_low,
    become,
    pico,
    resistive_cell,
    run_boot,
)
from interpreters import micropython
from sagline_board import commands, profile, ticks
from sagline_board.board import Board
from sagline_board.hardware import MAX_ROWS


def test_boot_drives_the_profiles_pins_low_and_does_nothing_else(chip: Chip) -> None:
    before = list(chip.history)
    run_boot()
    assert all_low(chip)
    assert sorted(number for _, number, _, _ in chip.history[len(before) :]) == sorted(SWITCHES)
    assert all(chip.enable >> number & 1 for number in SWITCHES)
    assert chip.now_us == 0


def test_main_makes_the_gates_low_before_anything_else_is_imported(
    chip: Chip, monkeypatch: pytest.MonkeyPatch
) -> None:
    board = types.ModuleType("boards")
    seen: list[bool] = []
    vars(board)["pico"] = types.SimpleNamespace(start=lambda: seen.append(all_low(chip)))
    monkeypatch.setitem(sys.modules, "boards", board)
    exec(compile((FIRMWARE / "main.py").read_text(), "main.py", "exec"), {})
    assert seen == [True]


def test_the_jumper_keeps_the_firmware_from_starting(
    chip: Chip, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = pico()
    started: list[int] = []
    monkeypatch.setattr(module, "StdioPort", object)
    monkeypatch.setattr(module, "serve", lambda *_: started.append(chip.now_us))
    chip.grounded.add(profile.PINS["jumper"])
    module.start()
    assert started == []
    assert chip.now_us == 0
    chip.grounded.clear()
    module.start()
    assert len(started) == 1
    assert started[0] >= 1_500_000, "Ctrl-C has a second and a half"
    assert all_low(chip)


def test_an_exception_resets_the_board_and_ctrl_c_does_not(
    chip: Chip, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = pico()

    def fail(error: BaseException) -> Callable[..., None]:
        def serve(board: Board, *_: object) -> None:
            board.engine._hw.switch(8, 1000)
            raise error

        return serve

    monkeypatch.setattr(module, "StdioPort", object)
    monkeypatch.setattr(module, "serve", fail(RuntimeError("by design")))
    module.start()
    assert (chip.was_reset, all_low(chip)) == (1, True)
    monkeypatch.setattr(module, "serve", fail(KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        module.start()
    assert (chip.was_reset, all_low(chip)) == (1, True)


def test_identity(chip: Chip) -> None:
    hw = pico().PicoHardware()
    assert (hw.model, hw.serial) == ("pico-2", "e6614103e7452b2f")
    assert (hw.onboard, hw.ads1115, hw.one_shot, hw.cold) == (1, 0, 1, 0)
    assert chip.analogue == set(profile.PINS["adc"])
    assert chip.drives_high(profile.PINS["range"]), "the range that bears most"


class SlowRows(list[int]):
    """Rows that take as long to write as they do on a slow interpreter: 7 us an integer."""

    def __init__(self, chip: Chip, values: Any) -> None:
        super().__init__(values)
        self._chip = chip

    def __setitem__(self, index: Any, value: Any) -> None:
        self._chip.now_us += 7
        super().__setitem__(index, value)


@pytest.mark.parametrize("mask", [0, 8])
@pytest.mark.parametrize(("length_us", "bin_us"), [(1000, 50), (4000, 200), (5000, 5000)])
def test_capture(chip: Chip, length_us: int, bin_us: int, mask: int) -> None:
    hw = pico().PicoHardware()
    hw.set_range(0)
    # The counter wraps in the middle.
    chip.now_us = 5 * PERIOD - length_us // 2
    hw.switch(mask, 1_000_000)
    hw.rows = SlowRows(chip, hw.rows)
    chip.conversions.clear()
    start_us = chip.now_us
    count = hw.capture(length_us, bin_us)
    rows = [tuple(hw.rows[5 * i : 5 * i + 5]) for i in range(count)]
    codes = [round(resistive_cell(chip, channel) / 3.0 * 4096) for channel in range(3)]
    assert [row[0] for row in rows] == [0, 1, 2] * (count // 3)
    assert [channel for _, channel in chip.conversions] == [0, 1, 2] * (
        len(chip.conversions) // 3
    ), "the channels take turns"
    instants = {
        channel: [at for at, of in chip.conversions if of == channel] for channel in (0, 1, 2)
    }
    for source, start, length, n, total in rows:
        assert total == n * codes[source], "the sum is exact"
        own, instants[source] = instants[source][:n], instants[source][n:]
        first_us, last_us = own[0] % PERIOD, own[-1] + READ_US
        assert ticks.diff(start, first_us) >= -PIN_US, "no window begins before its conversions"
        assert 0 <= ticks.diff(ticks.add(start, length), last_us % PERIOD) <= 4 * PIN_US
        mean_us = sum(own) // n + READ_US // 2
        assert abs(ticks.diff(ticks.add(start, length // 2), mean_us % PERIOD)) <= PIN_US + 1
    assert not any(instants.values()), "every conversion is in one row"
    taken_us = chip.now_us - start_us
    assert length_us <= taken_us <= length_us + 3 * READ_US + 15 * 7 + PIN_US
    assert count <= MAX_ROWS


def whole_step(chip: Chip) -> tuple[Board, list[bytes]]:
    """Run rest, pulse and recovery through the board; return it and its replies."""
    board = Board(pico().PicoHardware())
    # After a reset every load counts as hot.
    chip.now_us += 8_000_000
    board.poll()
    board.receive(b"STEP:RANG 0;SEGM 0,20;SEGM 8,300;SEGM 0,20;STAR\n")
    while board.poll() == 0:
        pass
    board.receive(b"SYST:ERR?;:STEP:STAT?;EDG?\n")
    return board, board.take_output().splitlines()


def test_a_whole_step(chip: Chip) -> None:
    board, replies = whole_step(chip)
    error, state, edges = replies[0].split(b";")
    assert error == b'0,"No error"'
    assert state.startswith(b"2,2,0,")
    on_us, off_us = (int(edge) for edge in edges.split(b","))
    assert on_us == pytest.approx(20_000, abs=300)
    assert off_us == pytest.approx(320_000, abs=300)
    assert all_low(chip)
    sampler = board.engine.sampler
    points = [point for i in range(sampler.count) if (point := sampler.point(i))[0] == 0]
    before = {total / n for _, start, length, n, total in points if start + length <= on_us}
    during = {total / n for _, start, _, n, total in points if on_us <= start < off_us}
    after = {total / n for _, start, _, n, total in points if start >= off_us}
    # 1.6 V on 490 ohm through 20 ohm is 65.3 mV, times the divider's gain of 0.411 at
    # 0.732 mV a code: 36.6 codes, from the first conversion after the edge to the last.
    assert before == after
    # Longer than the pump holds without an edge.
    assert off_us - on_us > 130_000
    (rest,), (loaded,) = before, during
    assert rest - loaded == pytest.approx(36.6, abs=1.0)


def test_the_heap_is_swept_before_the_load_goes_on(
    chip: Chip, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = pico()
    swept: list[bool] = []
    monkeypatch.setattr(module.gc, "collect", lambda: swept.append(all_low(chip)))
    hw = module.PicoHardware()
    hw.switch(8, 1_000_000)
    hw.switch(12, 1_000_000)
    hw.switch(0, 0)
    assert swept == [True]


def test_from_one_load_to_another_none_but_the_new_ones_are_on(chip: Chip) -> None:
    hw = pico().PicoHardware()
    for mask in (1, 6, 15, 8, 0):
        hw.switch(mask, 1_000_000)
        assert [chip.drives_high(gate) for gate in GATES] == [bool(mask >> i & 1) for i in range(4)]
        assert chip.armed() or not mask
    assert not chip.drives_high(ARM)


def test_arm_alone_closes_arm_and_no_gate(chip: Chip) -> None:
    hw = pico().PicoHardware()
    hw.switch(commands.ARM_ALONE, 50_000)
    hw.capture(5_000, 200)
    assert chip.armed()
    assert not any(chip.drives_high(gate) for gate in GATES)
    hw.switch(0, 0)
    assert all_low(chip)


@pytest.mark.parametrize(
    ("board_name", "numbered", "named"),
    [
        ("Raspberry Pi Pico with RP2040", True, {}),
        ("Raspberry Pi Pico2 with RP2350", True, {}),
        ("Raspberry Pi Pico W with RP2040", False, {"WL_GPIO1": 1}),
        ("Raspberry Pi Pico 2 W with RP2350", False, {"WL_GPIO1": 1}),
    ],
)
def test_the_supply_is_held_in_pwm_mode(
    chip: Chip,
    monkeypatch: pytest.MonkeyPatch,
    board_name: str,
    numbered: bool,
    named: dict[str, int],
) -> None:
    become(chip, monkeypatch, board_name)
    hw = pico().PicoHardware()
    assert chip.drives_high(profile.PINS["smps"]) is numbered
    assert chip.named == {**named, "LED": 0}
    assert hw.model == ("pico-2" if "RP2350" in board_name else "pico")


def test_the_loop_ends_a_pulse_whose_time_is_up_and_keeps_arm_alive(chip: Chip) -> None:
    hw = pico().PicoHardware()
    hw.switch(8, 3_000)
    hw.capture(2_000, 200)
    toggles = [at for at, number, value, _ in chip.history if number == ARM and value == 0]
    assert len(toggles) >= 8
    assert chip.drives_high(GATES[3])
    hw.capture(5_000, 200)
    assert all_low(chip)


def test_sampling_allocates_nothing() -> None:
    """On MicroPython itself, with the heap locked: no collection can fall into a slice."""
    run = subprocess.run(
        [micropython(), str(Path(__file__).with_name("pico_heap.py"))],
        env={**os.environ, "MICROPYPATH": f"{FIRMWARE}:{FIRMWARE / 'lib'}"},
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert run.stderr == ""
    assert run.stdout.splitlines() == ["0102", *["0 True True"] * 8, "the lock holds"]
