# SPDX-License-Identifier: MIT
"""Faults by name: what the address says, when they happen, what they do to bytes and gates."""

import numpy as np
import pytest
import serial

from sagline.errors import UsageError
from sagline.virtual.address import parse
from sagline.virtual.faults import NAMES, STEP_DELAY_US, parse_faults
from sagline.virtual.noisyline import NoisyLine
from sagline.virtual.port import VirtualPort
from sagline_board import faults as board_faults
from sagline_board import profile

SENT = bytes(range(256)) * 400


def opened(url: str) -> VirtualPort:
    port = VirtualPort(timeout=0.1)
    port.port = url
    port.open()
    return port


def test_every_name_is_understood_and_lists_combine() -> None:
    for name in NAMES:
        text = f"{name}:0.01" if name.startswith("bytes_") else name
        assert parse_faults(text) != parse_faults("")
    both = parse_faults("open_sense_pos,open_force_neg,removed:2,bytes_lost:0.5")
    assert both.wiring.lost == {"sense_pos", "force_neg"}
    assert both.events == (("removed", 2),)
    assert both.rates == {"bytes_lost": 0.5}
    assert parse("virtual://lr6?fault=bytes_lost%3A0.25%2Creversed").faults.wiring.reversed


@pytest.mark.parametrize(
    "text",
    [
        "brocken",
        "bytes_lost",
        "bytes_lost:2",
        "bytes_lost:x",
        "removed:0",
        "removed:x",
        "mosfet_on:5",
        "absent:1",
    ],
)
def test_a_fault_that_means_nothing_is_refused_with_a_remedy(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse(f"virtual://lr6?fault={text}")
    assert caught.value.code in ("unknown_fault", "bad_fault")
    assert caught.value.remedy


@pytest.mark.parametrize("url", ["virtual://tray", "virtual://tray?cells=lr6,none"])
def test_a_tray_holds_known_cells(url: str) -> None:
    with pytest.raises(UsageError):
        parse(url)
    assert parse("virtual://tray?cells=lr6,lr6-worn").cells == ("lr6", "lr6-worn")


@pytest.mark.parametrize("name", ["bytes_lost", "bytes_flipped", "bytes_doubled", "bytes_inserted"])
def test_bytes_are_damaged_at_the_stated_rate(name: str) -> None:
    """Counts of 102 400 independent trials lie within five standard deviations of n·p."""
    rate = 0.02
    got = NoisyLine({name: rate}, np.random.default_rng(1)).carry(SENT)
    if name == "bytes_flipped":
        assert len(got) == len(SENT)
        changed = [a ^ b for a, b in zip(SENT, got, strict=True) if a != b]
        assert {bin(bits).count("1") for bits in changed} == {1}
        assert set(changed) == {1 << bit for bit in range(8)}
        count = len(changed)
    else:
        count = abs(len(got) - len(SENT))
        assert (len(got) < len(SENT)) == (name == "bytes_lost")
    spread = (len(SENT) * rate * (1 - rate)) ** 0.5
    assert abs(count - rate * len(SENT)) < 5 * spread


def test_damage_does_not_depend_on_how_the_bytes_come_cut() -> None:
    rates = {"bytes_lost": 0.01, "bytes_flipped": 0.01, "bytes_inserted": 0.01}
    whole = NoisyLine(rates, np.random.default_rng(2)).carry(SENT)
    line = NoisyLine(rates, np.random.default_rng(2))
    cut = b"".join(line.carry(SENT[k : k + 7]) for k in range(0, len(SENT), 7))
    assert cut == whole != SENT


def test_what_goes_one_way_does_not_change_what_comes_the_other() -> None:
    """The board's own stream is damaged at the same places, whatever was sent to it."""

    def answers(extra: bytes) -> list[bytes]:
        port = opened("virtual://lr6?seed=4&fault=bytes_flipped:0.02")
        port.write(extra)
        port._inbox = b""
        port._inbox = b"*IDN?\n" * 20
        return [port.read(4096)]

    assert answers(b"") == answers(b"x" * 5000)


@pytest.mark.parametrize("name", ["removed", "over_voltage"])
def test_a_circuit_fault_happens_a_tenth_of_a_second_after_load_on(name: str) -> None:
    hardware = opened(f"virtual://lr6?seed=1&fault={name}:2").hardware
    clock = hardware._clock
    for pulse in (1, 2):
        hardware.switch(8, 300_000)
        clock.advance(STEP_DELAY_US - 1)
        before_v = hardware.terminal_v()
        clock.advance(1)
        after_v = hardware.terminal_v()
        if pulse == 1:
            assert after_v == pytest.approx(before_v, abs=1e-4)
        else:
            assert after_v == (0.0 if name == "removed" else pytest.approx(20.0, abs=0.2))
        hardware.switch(0, 0)
        clock.advance(1_000_000)


def test_samples_are_cut_at_the_instant_of_the_fault() -> None:
    """A bin across it is the mean of both sides only where the circuit says so: none is made."""
    hardware = opened("virtual://lr6?seed=1&adc=onboard&fault=removed").hardware
    hardware.switch(8, 300_000)
    hardware._clock.advance(STEP_DELAY_US - 3_000)
    rows = hardware.capture(5_000, 5_000)
    sense = [tuple(hardware.rows[5 * k : 5 * k + 5]) for k in range(rows)]
    lengths = [length for source, _, length, *_ in sense if source == 0]
    assert lengths == [3_000, 2_000]
    means = [total / n for source, _, _, n, total in sense if source == 0]
    assert means[0] > 150 > means[1]


def test_a_shorted_selector_conducts_only_while_a_load_is_commanded() -> None:
    hardware = opened("virtual://lr6?fault=mosfet_on").hardware
    assert hardware.conducting() == 0
    hardware.switch(8, 1000)
    smallest = min(range(4), key=lambda k: profile.LOADS[k]["load_milliohm"])
    assert hardware.conducting() == 8 | 1 << smallest
    hardware.switch(0, 0)
    assert hardware.conducting() == 0


def test_dead_gates_never_conduct() -> None:
    hardware = opened("virtual://lr6?fault=mosfet_off").hardware
    hardware.switch(1, 1000)
    assert hardware.gate_mask() == 1
    assert hardware.conducting() == 0


def running(url: str) -> VirtualPort:
    port = opened(url)
    port.write(b"STEP:SEGM 0,100;SEGM 8,300;SEGM 0,100;STAR\n")
    port.run_for(180_000)
    assert port.hardware.conducting() == 8
    return port


def test_an_unplugged_board_raises_what_pyserial_raises_and_its_load_is_off() -> None:
    port = running("virtual://lr6?fault=unplugged")
    port.run_for(100_000)
    assert port.hardware.conducting() == 0
    with pytest.raises(serial.SerialException, match="write failed"):
        port.write(b"*IDN?\n")
    with pytest.raises(serial.SerialException, match="disconnected"):
        port.read(1)
    with pytest.raises(OSError, match="Input/output"):
        _ = port.in_waiting
    before_us = port.virtual_clock.now_us
    port.run_for(1_000_000)
    assert port.virtual_clock.now_us == before_us + 1_000_000
    port.close()
    with pytest.raises(serial.SerialException, match="could not open"):
        port.open()


def test_a_reset_board_has_forgotten_everything_and_takes_its_loads_for_hot() -> None:
    port = running("virtual://lr6?fault=reset")
    port.run_for(100_000)
    assert port.hardware.conducting() == 0
    engine = port.board.engine
    assert engine.segments == []
    load = profile.LOADS[0]
    assert engine.guard.ready_ms() == pytest.approx(
        1000 * load["max_pulse_mj"] / load["mean_mw"], rel=0.05
    )
    port.write(b"*ESR?\n")
    assert int(port.read(64)) & board_faults.EVENT_POWER_ON


@pytest.mark.parametrize("adc", ["onboard", "ads1115"])
@pytest.mark.parametrize("high", [0, 1])
def test_a_source_of_20_v_trips_the_guard_in_either_range(adc: str, high: int) -> None:
    """In the low range both converters are at their ends: the guard must not believe them."""
    port = opened(f"virtual://lr6?adc={adc}&fault=over_voltage")
    port.write(b"STEP:RANG %d\n" % high)
    port.write(b"STEP:SEGM 0,100;SEGM 8,300;SEGM 0,100;STAR\n")
    port.run_for(600_000)
    assert port.board.engine.high == high
    assert port.board.engine.guard.reason == board_faults.TRIP_OVER_VOLTAGE
    assert port.hardware.conducting() == 0
    # And nothing starts on such a cell.
    port.write(b"GUAR:CLE;*CLS\n")
    port.write(b"STEP:STAR\n")
    port.run_for(500_000)
    port.write(b"SYST:ERR?\n")
    assert port.read(64).startswith(b"%d," % board_faults.REFUSED_VOLTAGE)
