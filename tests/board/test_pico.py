# SPDX-License-Identifier: MIT
"""The Pico's board file on a register-level stand-in: start-up, sampling, and gates low at the end.

Emulated: nothing here ran on a physical board.
"""

import importlib
import sys
import time
import types
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from board.rp2_standin import PERIOD, READ_US, Chip, modules
from sagline_board import profile
from sagline_board.board import Board

FIRMWARE = Path(__file__).parents[2] / "firmware"
GATES, ARM = profile.PINS["gates"], profile.PINS["arm"]
SWITCHES = (*GATES, ARM)


def resistive_cell(chip: Chip, channel: int) -> float:
    """Pin volts of a 1.6 V cell with 0.2 ohm on the 470 ohm load, low range, 3 V reference.

    Divider by Millman's theorem: gain 1/100k over (1/100k + 1/75k + 1/1M), lift 3 V/1M.
    """
    on = chip.drives_high(GATES[3]) and chip.drives_high(ARM)
    current_a = 1.6 / 470.2 if on else 0.0
    tap_v = (1.6 - 0.2 * current_a, 1.3 - 0.2 * current_a, 0.0)[channel]
    if channel == 2:
        return tap_v * 220 / 242 + 3.0 * 22 / 242
    total_s = 1 / 100e3 + 1 / 75e3 + 1 / 1e6
    return (tap_v / 100e3 + 3.0 / 1e6) / total_s


@pytest.fixture
def chip(monkeypatch: pytest.MonkeyPatch) -> Iterator[Chip]:
    """A chip whose gates all stand high, as a soft reset in mid-pulse leaves them."""
    chip = Chip(resistive_cell)
    for number in SWITCHES:
        chip.latch(number, 1)
        chip.enable |= 1 << number
    machine = types.ModuleType("machine")
    vars(machine).update(modules(chip))
    vars(machine).update(unique_id=lambda: bytes.fromhex("e6614103e7452b2f"))
    vars(machine)["reset"] = lambda: setattr(chip, "was_reset", chip.was_reset + 1)
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setattr(time, "ticks_us", lambda: chip.now_us % PERIOD, raising=False)
    monkeypatch.setattr(
        time, "sleep_ms", lambda ms: setattr(chip, "now_us", chip.now_us + ms * 1000), raising=False
    )
    monkeypatch.setattr(sys.implementation, "_machine", "Pico 2 with RP2350", raising=False)
    monkeypatch.setattr(sys, "print_exception", lambda _error: None, raising=False)
    monkeypatch.syspath_prepend(str(FIRMWARE))
    for name in ("boot", "boards", "boards.pico", "boards.loop"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    yield chip
    for name in ("boot", "boards", "boards.pico", "boards.loop"):
        sys.modules.pop(name, None)


def pico() -> Any:
    return importlib.import_module("boards.pico")


def run_boot() -> None:
    exec(compile((FIRMWARE / "boot.py").read_text(), "boot.py", "exec"), {})


def all_low(chip: Chip) -> bool:
    return not any(chip.drives_high(number) for number in SWITCHES)


def test_boot_drives_the_profiles_pins_low_and_does_nothing_else(chip: Chip) -> None:
    before = list(chip.history)
    run_boot()
    assert all_low(chip)
    assert sorted(number for _, number, _ in chip.history[len(before) :]) == sorted(SWITCHES)
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
    assert started == [1_500_000], "Ctrl-C has a second and a half"
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
    assert (hw.onboard, hw.ads1115, hw.one_shot, hw.cold) == (1, 0, 0, 0)
    assert chip.analogue == set(profile.PINS["adc"])
    assert chip.drives_high(profile.PINS["range"]), "the range that bears most"


@pytest.mark.parametrize(("length_us", "bin_us"), [(1000, 50), (4000, 200), (5000, 5000)])
def test_capture(chip: Chip, length_us: int, bin_us: int) -> None:
    hw = pico().PicoHardware()
    hw.set_range(0)
    start_us = chip.now_us
    count = hw.capture(length_us, bin_us)
    rows = [tuple(hw.rows[5 * i : 5 * i + 5]) for i in range(count)]
    codes = [round(resistive_cell(chip, channel) / 3.0 * 4096) for channel in range(3)]
    assert [row[0] for row in rows] == [0, 1, 2] * (count // 3)
    for source, _start, length, n, total in rows:
        assert total == n * codes[source], "the sum is exact"
        assert length == 3 * n * READ_US
    sense = rows[::3]
    assert all(one[1] + one[2] == two[1] for one, two in pairwise(sense))
    taken_us = chip.now_us - start_us
    assert length_us <= taken_us <= length_us + 3 * READ_US
    assert count <= 96


def whole_step(chip: Chip) -> tuple[Board, list[bytes]]:
    """Run rest, pulse and recovery through the board; return it and its replies."""
    board = Board(pico().PicoHardware())
    # After a reset every load counts as hot.
    chip.now_us += 8_000_000
    board.poll()
    board.receive(b"STEP:RANG 0;SEGM 0,20;SEGM 8,30;SEGM 0,20;STAR\n")
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
    assert on_us == pytest.approx(20_000, abs=100)
    assert off_us - on_us == pytest.approx(30_000, abs=100)
    assert all_low(chip)
    points = [board.engine.sampler.point(i) for i in range(board.engine.sampler.count)]
    means = {
        phase: sum(p[4] for p in chosen) / sum(p[3] for p in chosen)
        for phase, chosen in (
            ("open", [p for p in points if p[0] == 0 and p[1] + p[2] <= on_us]),
            ("loaded", [p for p in points if p[0] == 0 and on_us <= p[1] < off_us]),
        )
    }
    # 0.2 ohm times 3.4 mA is 0.7 mV, less than one code of 1.8 mV: no more can be seen here.
    assert 0 <= means["open"] - means["loaded"] < 1.5


def pulse_accesses(chip: Chip) -> int:
    """Return how many accesses to the chip a whole step takes."""
    counted = 0
    plain = Chip.access

    def count(self: Chip) -> None:
        nonlocal counted
        counted += 1
        plain(self)

    Chip.access = count
    try:
        whole_step(chip)
    finally:
        Chip.access = plain
    return counted


def test_ctrl_c_at_every_instant_of_a_step(chip: Chip) -> None:
    """An interrupt before any access to the chip: gates low afterwards, whatever was going on."""
    total = pulse_accesses(chip)
    assert total > 5000
    interrupted = 0
    for k in range(0, total, 7):
        chip.interrupt_in = k
        try:
            whole_step(chip)
        except KeyboardInterrupt:
            interrupted += 1
        chip.interrupt_in = -1
        on = [number for number in SWITCHES if chip.drives_high(number)]
        assert on == [], f"interrupt before access {k}"
    assert interrupted > 700


def test_soft_reset_in_mid_pulse_runs_boot_and_nothing_else(chip: Chip) -> None:
    """Ctrl-C, Ctrl-A, Ctrl-D: raw REPL skips main.py, pins stay latched until boot.py."""
    hw = pico().PicoHardware()
    hw.switch(8, 300_000)
    assert chip.drives_high(GATES[3])
    run_boot()
    assert all_low(chip)


def test_the_loop_ends_a_pulse_whose_time_is_up_and_keeps_arm_alive(chip: Chip) -> None:
    hw = pico().PicoHardware()
    hw.switch(8, 3_000)
    hw.capture(2_000, 200)
    toggles = [at for at, number, value in chip.history if number == ARM and value == 0]
    assert len(toggles) >= 8
    assert chip.drives_high(GATES[3])
    hw.capture(5_000, 200)
    assert all_low(chip)
