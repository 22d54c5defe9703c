# SPDX-License-Identifier: MIT
"""The host measures with the Pico's board file on the stand-in chip: a cell of resistors only.

Emulated: nothing here ran on a physical board. The circuit is reckoned here, apart from the
virtual rig: a cell, a diode taken for a fixed drop, leads, the load and its switch in a row.
"""

from typing import Any

import pytest

from board.rp2_standin import Chip
from board.rp2_standin.bench import GATES, FullBoard, pico
from sagline.device.link import Link
from sagline.device.procedure import measure, run
from sagline.device.progress import Finished, RepeatDone
from sagline.device.rig import Rig
from sagline.device.settings import Settings
from sagline_board import profile
from sagline_board.board import Board

E_V, R_OHM = 1.6, 0.2
DIODE_V, DIODE_AT_REST_V = 0.33, 0.12
FORCE_OHM, RETURN_OHM = 0.09, 0.06


def taps_v(chip: Chip) -> tuple[float, float, float]:
    """Volts of sense, force and return against the cell's negative terminal."""
    branch_s = 0.0
    for gate, load in zip(GATES, profile.LOADS, strict=True):
        if chip.drives_high(gate) and chip.armed():
            branch_s += 1e3 / (load["load_milliohm"] + load["switch_milliohm"])
    if branch_s == 0.0:
        return E_V, E_V - DIODE_AT_REST_V, 0.0
    current_a = (E_V - DIODE_V) / (R_OHM + FORCE_OHM + 1.0 / branch_s + RETURN_OHM)
    sense_v = E_V - R_OHM * current_a
    return sense_v, sense_v - DIODE_V - FORCE_OHM * current_a, RETURN_OHM * current_a


def pin_v(chip: Chip, index: int) -> float:
    """Volts at the converter's pin, by Millman's theorem from the profile's resistors."""
    channel = profile.CHANNELS[index]
    tap_s, lift_s = 1 / channel["top_ohm"], 1 / channel["lift_ohm"]
    total_s = tap_s + lift_s
    if channel["foot_ohm"]:
        total_s += 1 / channel["foot_ohm"]
    if channel["range_foot_ohm"] and chip.drives_high(profile.PINS["range"]):
        total_s += 1 / channel["range_foot_ohm"]
    return (taps_v(chip)[index] * tap_s + 3.0 * lift_s) / total_s


class ChipPort:
    """A port, and its clock, whose other end is the board on the chip's time."""

    def __init__(self, chip: Chip, board: Board) -> None:
        self._chip = chip
        self._board = board
        self._out = b""
        self.clock = self

    in_waiting = 0

    def now_s(self) -> float:
        return self._chip.now_us * 1e-6

    def wait(self, seconds: float) -> None:
        until_us = self._chip.now_us + round(seconds * 1e6)
        while (left_us := until_us - self._chip.now_us) > 0:
            idle_us = self._board.poll()
            self._chip.now_us += min(idle_us, left_us)
            self._out += self._board.take_output()

    def write(self, data: bytes) -> int:
        self._board.receive(data)
        self._out += self._board.take_output()
        return len(data)

    def read(self, _size: int) -> bytes:
        if not self._out:
            self.wait(0.01)
        data, self._out = self._out, b""
        return data

    def close(self) -> None:
        pass


def test_the_interval_holds_the_resistance_and_the_emf(chip: Chip) -> None:
    chip.volts = pin_v
    # The counter wraps within the first step.
    chip.now_us = (1 << 30) - 12_000_000
    port: Any = ChipPort(chip, Board(pico().PicoHardware()))
    link = Link(port, "stand-in")
    link._open_session()
    with Rig(link, "stand-in") as rig:
        assert rig.identity.model == "pico-2"
        assert rig.identity.one_shot
        result = measure(rig, Settings(designation="LR6", repeats=2))
    r, emf = result.r_ohm, result.emf_v
    assert r.low95 < R_OHM < r.high95
    assert emf.low95 < E_V < emf.high95
    # No noise, parts at their marks: what is left is rounding, half a code at each end of a
    # sag of 39 codes (0.344 A through 0.2 ohm, times 0.411, at 0.732 mV a code).
    assert r.value == pytest.approx(R_OHM, rel=1 / 39)
    assert emf.value == pytest.approx(E_V, rel=0.002)
    assert result.load_ohm.value == pytest.approx(3.3, rel=0.001)
    assert not any(chip.drives_high(gate) for gate in GATES)


@pytest.mark.parametrize("full", ["RP2040"], indirect=True)
def test_with_everything_fitted_the_sag_is_read_by_the_null_channel(full: FullBoard) -> None:
    """FIFO and DMA, the ADS1115 by its ready signal, balance held by the PWM: the whole way."""
    chip = full.chip
    chip.volts = pin_v
    port: Any = ChipPort(chip, Board(pico().PicoHardware()))
    link = Link(port, "stand-in")
    link._open_session()
    with Rig(link, "stand-in") as rig:
        assert (rig.identity.onboard, rig.identity.ads1115, rig.identity.null) == (True,) * 3
        items = list(run(rig, Settings(designation="LR6", repeats=2)))
    assert isinstance(items[-1], Finished)
    result = items[-1].result
    steps = [item.step.raw() for item in items if isinstance(item, RepeatDone)]
    for step in steps:
        assert step.null_setting is not None
        assert {0, 1, 2, 4, 5, 6, 7} == set(step.source.tolist())
    r, emf = result.r_ohm, result.emf_v
    assert r.low95 is not None and r.high95 is not None
    assert r.low95 < R_OHM < r.high95
    assert emf.low95 is not None and emf.high95 is not None
    assert emf.low95 < E_V < emf.high95
    # No noise, parts at their marks: what is left is rounding, a code in a sag of 3600.
    assert r.value == pytest.approx(R_OHM, rel=1e-3)
    assert emf.value == pytest.approx(E_V, rel=2e-4)
    assert not any(chip.drives_high(gate) for gate in GATES)
    assert not chip.watchdog.resets and not chip.watchdog.enabled
