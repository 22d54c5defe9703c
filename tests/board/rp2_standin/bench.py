# SPDX-License-Identifier: MIT
"""The Pico's board file on the stand-in chip, with a resistive cell before it."""

import builtins
import importlib
import sys
import time
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from board.rp2_standin import PERIOD, Chip, modules, pio
from board.rp2_standin.adcblock import AdcBlock, Dma
from board.rp2_standin.pwm import CLOCK_HZ, PwmPin, pwm_class
from board.rp2_standin.registers import Registers
from board.rp2_standin.watchdog import WatchdogBlock, wdt_class
from board.rp2_standin.widechip import WideChip, bus
from sagline_board import profile, ticks

FIRMWARE = Path(__file__).parents[3] / "firmware"
GATES, ARM = profile.PINS["gates"], profile.PINS["arm"]
SWITCHES = (*GATES, ARM)


def resistive_cell(chip: Chip, channel: int) -> float:
    """Pin volts of a 1.6 V cell with 20 ohm on the 470 ohm load, low range, 3 V reference.

    Divider by Millman's theorem: gain 1/100k over (1/100k + 1/75k + 1/1M), lift 3 V/1M.
    """
    on = chip.drives_high(GATES[3]) and chip.armed()
    current_a = 1.6 / 490 if on else 0.0
    tap_v = (1.6 - 20 * current_a, 1.3 - 20 * current_a, 0.0)[channel]
    if channel == 2:
        return tap_v * 220 / 242 + 3.0 * 22 / 242
    total_s = 1 / 100e3 + 1 / 75e3 + 1 / 1e6
    return (tap_v / 100e3 + 3.0 / 1e6) / total_s


BOARD_NAMES = {"RP2040": "Raspberry Pi Pico with RP2040", "RP2350": "Pico 2 with RP2350"}


class FullBoard:
    """A board with everything: the chip, its converter's registers, the ADS1115, the null's PWM."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, chip: Chip, name: str) -> None:
        self.chip = chip
        self.name = name
        become(chip, monkeypatch, BOARD_NAMES[name])
        self.adc = AdcBlock(chip, name)
        self.pwm = PwmPin(chip, CLOCK_HZ[name])
        self.wide = WideChip(chip, self.pin_v)
        # The thermistor's converter, where a test puts one in.
        self.bead_v = 1.5
        self.bead = WideChip(chip, lambda number: (self.bead_v, 3.29)[number], address=0x49)
        self.bead.absent = True
        chip.driven[profile.PINS["ready"]] = self.wide.level
        vars(sys.modules["machine"]).update(
            mem32=Registers(chip, [chip.watchdog, self.adc]),
            I2C=bus(chip, self.wide, self.bead),
            PWM=pwm_class(chip, self.pwm),
            freq=lambda: CLOCK_HZ[name],
        )
        vars(sys.modules["rp2"])["DMA"] = lambda: Dma(chip, self.adc)

    def pin_v(self, number: int) -> float:
        """Volts on the ADS1115's inputs: the three channels, and the null's follower."""
        if number < 3:
            return self.chip.volts(self.chip, number)
        return max(0.02, self.pwm.volts())


@pytest.fixture(params=["RP2040", "RP2350"])
def full(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, chip: Chip) -> FullBoard:
    """A full build on either chip."""
    return FullBoard(monkeypatch, chip, request.param)


@pytest.fixture
def chip(monkeypatch: pytest.MonkeyPatch) -> Iterator[Chip]:
    """A base build, on a MicroPython without DMA, whose gates all stand high.

    So a soft reset in mid-pulse leaves them.
    """
    chip = Chip(resistive_cell, ARM)
    for number in SWITCHES:
        chip.latch(number, 1)
        chip.enable |= 1 << number
    machine = types.ModuleType("machine")
    vars(machine).update(modules(chip))
    vars(machine).update(I2C=bus(chip), PWM=None, freq=lambda: CLOCK_HZ["RP2350"])
    vars(machine).update(unique_id=lambda: bytes.fromhex("e6614103e7452b2f"))
    vars(machine)["reset"] = lambda: setattr(chip, "was_reset", chip.was_reset + 1)
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setitem(sys.modules, "rp2", pio.module(chip))
    monkeypatch.setattr(time, "ticks_us", lambda: chip.now_us % PERIOD, raising=False)
    monkeypatch.setattr(time, "ticks_ms", lambda: chip.now_us // 1000 % PERIOD, raising=False)
    monkeypatch.setattr(time, "ticks_diff", ticks.diff, raising=False)
    monkeypatch.setattr(
        time, "sleep_ms", lambda ms: setattr(chip, "now_us", chip.now_us + ms * 1000), raising=False
    )
    become(chip, monkeypatch, "Pico 2 with RP2350")
    monkeypatch.setattr(sys, "print_exception", lambda _error: None, raising=False)
    # Machine code is plain Python here; tests run it on MicroPython as well.
    micropython = types.ModuleType("micropython")
    vars(micropython)["viper"] = lambda function: function
    monkeypatch.setitem(sys.modules, "micropython", micropython)
    for pointer in ("ptr16", "ptr32"):
        monkeypatch.setattr(builtins, pointer, None, raising=False)
    monkeypatch.syspath_prepend(str(FIRMWARE))
    forget()
    yield chip
    forget()


def forget() -> None:
    """Let the next import load the board's files anew."""
    for name in list(sys.modules):
        if name == "boot" or name.split(".")[0] == "boards":
            del sys.modules[name]


def become(chip: Chip, monkeypatch: pytest.MonkeyPatch, board_name: str) -> None:
    """Make the chip that of this board, as MicroPython names it."""
    monkeypatch.setattr(sys.implementation, "_machine", board_name, raising=False)
    chip.blocks.clear()
    chip.watchdog = WatchdogBlock(chip, board_name.split()[-1])
    machine: Any = sys.modules["machine"]
    machine.mem32 = Registers(chip, [chip.watchdog])
    machine.WDT = wdt_class(chip, chip.watchdog)


def pico() -> Any:
    return importlib.import_module("boards.pico")


def run_boot() -> None:
    exec(compile((FIRMWARE / "boot.py").read_text(), "boot.py", "exec"), {})


def all_low(chip: Chip) -> bool:
    return not any(chip.drives_high(number) for number in SWITCHES)
