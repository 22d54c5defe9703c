# SPDX-License-Identifier: MIT
"""The ADS1115 and the null channel on the Pico: found, read by the ready signal, faults reported.

Emulated: nothing here ran on a physical board.
"""

import pytest

from board.rp2_standin import Chip
from board.rp2_standin.bench import GATES, FullBoard, all_low, forget, pico
from sagline_board import commands, faults, profile, ticks
from sagline_board.board import Board
from sagline_board.hardware import ADS_NULL_ORDER, ADS_ORDER, ROW

# Config words put together by hand from the tables of the data sheet (SBAS444, config register):
# OS 1, inputs against ground 100 101 110 or the first against the fourth 001, 2.048 V 010 or
# 0.256 V 101, single 1, 860 a second 111, traditional, active low, not latching, after one
# conversion 00.
WORDS = {
    0: 0b1_100_010_1_111_0_0_0_00,
    1: 0b1_101_010_1_111_0_0_0_00,
    2: 0b1_110_010_1_111_0_0_0_00,
    3: 0b1_001_101_1_111_0_0_0_00,
}


def answer(board: Board, line: str) -> str:
    board.receive(line.encode() + b"\n")
    return board.take_output().decode().strip()


def test_the_config_words_are_the_data_sheets(full: FullBoard) -> None:
    hw = pico().PicoHardware()
    hw.capture(12_000, 12_000)
    from boards.ads1115 import channel_word  # pyright: ignore[reportMissingImports]

    assert {channel: channel_word(channel) for channel in range(4)} == WORDS
    # Full scale over 2**15 is the code that the profile claims.
    ads, null = profile.CONVERTERS[profile.ADS1115], profile.NULL
    assert ads["lsb_nv"] == 2.048e9 / 32768
    assert null["lsb_pv"] == 0.256e12 / 32768
    assert full.wide.registers[2:] == [0x0000, 0x8000], "the ready signal"


def test_the_bus_is_on_the_profiles_pins_and_gives_up_in_a_millisecond(full: FullBoard) -> None:
    pico().PicoHardware()
    assert full.chip.bus == (0, profile.PINS["sda"], profile.PINS["scl"], 400_000, 1000)
    assert full.chip.pull_up >> profile.PINS["ready"] & 1
    assert full.pwm.number == profile.PINS["null"]


def test_a_full_build_names_what_it_has(full: FullBoard) -> None:
    board = Board(pico().PicoHardware())
    assert answer(board, "SYST:CAP?") == "1,0,1,1,1,1,0,0"
    assert answer(board, "*TST?") == "0"


def test_a_base_build_names_its_own_converter_alone(chip: Chip) -> None:
    board = Board(pico().PicoHardware())
    assert answer(board, "SYST:CAP?") == "1,0,1,0,1,0,0,0"
    assert answer(board, "STEP:NULL 5;:SYST:ERR?") == ""
    assert answer(board, "SYST:ERR?").startswith(str(faults.HARDWARE))


def no_ready_signal(full: FullBoard) -> None:
    full.wide.stuck = 1


def ready_always(full: FullBoard) -> None:
    full.wide.stuck = 0


def another_chip(full: FullBoard) -> None:
    """Something at its address that acknowledges and has registers of its own."""
    full.wide.send = lambda: b"\x19\x00"  # type: ignore[method-assign]


def nothing(full: FullBoard) -> None:
    full.wide.absent = True


@pytest.mark.parametrize("lack", [nothing, no_ready_signal, ready_always, another_chip])
def test_what_does_not_work_at_the_start_is_not_named(full: FullBoard, lack) -> None:
    lack(full)
    board = Board(pico().PicoHardware())
    assert answer(board, "SYST:CAP?") == "1,0,1,0,1,0,0,0"
    assert answer(board, "*TST?") == "0"


@pytest.mark.parametrize("volts", [0.0, 0.3, 2.0])
def test_a_null_channel_that_does_not_follow_is_not_named(full: FullBoard, volts: float) -> None:
    full.pwm.volts = lambda: volts  # type: ignore[method-assign]
    board = Board(pico().PicoHardware())
    assert answer(board, "SYST:CAP?") == "1,0,1,1,1,0,0,0"
    answer(board, "STEP:SEGM 0,30;STAR")
    while board.poll() == 0:
        pass
    sources = {board.engine.sampler.point(i)[0] for i in range(board.engine.sampler.count)}
    assert sources == {0, 1, 2, 4, 5, 6}


def test_every_setting_is_that_many_steps_of_4096(full: FullBoard) -> None:
    hw = pico().PicoHardware()
    assert (full.pwm.top, full.pwm.level) == (4095, 0)
    for setting in range(profile.NULL["settings"]):
        hw.set_null(setting)
        assert full.pwm.level == setting
    # 30.5 kHz at 125 MHz, 36.6 kHz at 150 MHz.
    rate_hz = {"RP2040": 30518, "RP2350": 36621}[full.name]
    assert full.pwm.clock_hz / 4096 == pytest.approx(rate_hz, abs=1)


def run_step(full: FullBoard, hw) -> Board:
    board = Board(hw)
    full.chip.now_us += 8_000_000
    board.poll()
    answer(board, "STEP:NULL 1100;RANG 0;SEGM 0,20;SEGM 8,40;SEGM 0,40")
    # The filter settles.
    full.chip.now_us += 1_000_000
    full.wide.done.clear()
    answer(board, "STEP:STAR")
    while board.poll() == 0:
        pass
    assert answer(board, "SYST:ERR?").startswith("0,")
    return board


def wide_points(board: Board) -> list[tuple[int, ...]]:
    sampler = board.engine.sampler
    points = [sampler.point(i) for i in range(sampler.count)]
    return sorted((point for point in points if point[0] >= 4), key=lambda point: point[1])


def test_every_window_is_a_conversion_and_every_code_is_its(full: FullBoard) -> None:
    board = run_step(full, pico().PicoHardware())
    assert board.engine.state == commands.DONE
    origin = board.engine._origin
    done = {ticks.diff(began % (1 << 30), origin): (ended - began, word, code)
            for began, ended, word, code in full.wide.done}  # fmt: skip
    points = [point for point in wide_points(board) if point[3] == 1]
    assert len(points) > 50
    for source, start, length, _, code in points:
        at = max((began for began in done if began <= start), default=None)
        assert at is not None and start - at <= 100, "known when it began"
        lasted, word, converted = done[at]
        assert code == converted
        assert word == WORDS[source - 4] & 0x7FFF, "each channel in its own range, always"
        assert abs(length - lasted) <= 20, "its own time, not when it was noticed"


def test_none_spans_an_edge_and_the_order_begins_anew_at_it(full: FullBoard) -> None:
    board = run_step(full, pico().PicoHardware())
    points = wide_points(board)
    for edge in board.engine.edges_us:
        assert not any(start < edge < start + length for _, start, length, _, _ in points)
        after = [point for point in points if point[1] >= edge][:16]
        assert [point[0] - 4 for point in after] == list(ADS_NULL_ORDER * 2)
        # What was in flight at the edge is waited for and dropped: no more than a conversion.
        assert after[0][1] - edge < 2_000


def test_the_difference_is_sense_less_the_null(full: FullBoard) -> None:
    board = run_step(full, pico().PicoHardware())
    on_us, off_us = board.engine.edges_us
    rest = {p[4] / p[3] for p in wide_points(board) if p[0] == 7 and p[1] + p[2] <= on_us}
    load = {p[4] / p[3] for p in wide_points(board) if p[0] == 7 and on_us <= p[1] < off_us}
    sense_v = full.pin_v(0)
    null_v = 2.5 * 1100 / 4096
    assert max(rest) - min(rest) <= 1
    assert min(rest) == pytest.approx((sense_v - null_v) / 7.8125e-6, abs=3)
    # 65.3 mV times 0.411, to the null's finer code.
    total_s = 1 / 100e3 + 1 / 75e3 + 1 / 1e6
    sag_v = 20 * 1.6 / 490 / 100e3 / total_s
    assert min(rest) - max(load) == pytest.approx(sag_v / 7.8125e-6, abs=2)


def test_a_live_reading_after_a_pause_is_fresh_and_has_every_channel(full: FullBoard) -> None:
    board = Board(pico().PicoHardware())
    answer(board, "STEP:RANG 0")
    for volts in (0.5, 1.25):
        full.chip.now_us += 60_000_000
        full.chip.volts = lambda _chip, _channel, volts=volts: volts
        values = answer(board, "MEAS:COUN?").split(",")
        assert values[0] == "1", "by the ADS1115"
        assert [int(total) / int(n) for n, total in zip(values[2::2], values[3::2])] == [
            round(volts / 62.5e-6)
        ] * 3
    assert int(answer(board, "MEAS:NULL?").split(",")[2]) == 32767


def test_without_the_null_channel_too(full: FullBoard) -> None:
    full.pwm.volts = lambda: 0.0  # type: ignore[method-assign]
    board = Board(pico().PicoHardware())
    full.chip.now_us += 60_000_000
    assert answer(board, "MEAS:COUN?").split(",")[0] == "1"
    assert sorted(ADS_ORDER[4:]) == [0, 0, 1, 2]


def unplugged(full: FullBoard) -> None:
    full.wide.absent = True


def brown_out(full: FullBoard) -> None:
    full.wide.power_up()


@pytest.mark.parametrize("fault", [unplugged, brown_out, no_ready_signal, ready_always])
def test_a_fault_of_the_bus_in_a_step_trips_the_guard(full: FullBoard, fault) -> None:
    board = Board(pico().PicoHardware())
    full.chip.now_us += 8_000_000
    board.poll()
    answer(board, "STEP:RANG 0;SEGM 0,5;SEGM 8,40;SEGM 0,5;STAR")
    while not full.chip.drives_high(GATES[3]):
        board.poll()
    fault(full)
    began_us = full.chip.now_us
    while board.poll() == 0:
        pass
    assert (board.engine.state, board.engine.guard.reason) == (
        commands.TRIPPED, faults.TRIP_CAPTURE,
    )  # fmt: skip
    assert all_low(full.chip)
    assert full.chip.now_us - began_us < 10_000
    # What is still broken is told of, not left out: no reading is given for the other converter.
    if fault is not brown_out:
        full.chip.now_us += 100_000
        assert answer(board, "MEAS:COUN?") == ""
        assert answer(board, "SYST:ERR?").startswith(str(faults.HARDWARE))
        assert answer(board, "SYST:CAP?") == "1,0,1,1,1,1,0,0"
        assert int(answer(board, "*TST?")) > 0
    # Back again, from its power-up on, it is read as before.
    full.wide.absent, full.wide.stuck = False, None
    full.wide.power_up()
    full.chip.now_us += 100_000
    answer(board, "MEAS:COUN?")
    full.chip.now_us += 100_000
    answer(board, "*CLS")
    assert answer(board, "MEAS:COUN?").startswith("1,")


def test_in_the_plain_loop_as_well(full: FullBoard, monkeypatch: pytest.MonkeyPatch) -> None:
    import rp2  # pyright: ignore[reportMissingImports]

    monkeypatch.delattr(rp2, "DMA")
    full.chip.blocks.remove(full.adc)
    forget()
    board = run_step(full, pico().PicoHardware())
    assert board.engine.state == commands.DONE
    sampler = board.engine.sampler
    points = [sampler.point(i) for i in range(sampler.count)]
    assert {point[0] for point in points} == {0, 1, 2, 4, 5, 6, 7}
    for edge in board.engine.edges_us:
        assert not any(start < edge < start + length for _, start, length, _, _ in points)
    live = pico_rows(board)
    assert {row[0] for row in live} == {0, 1, 2, 4, 5, 6, 7}


def pico_rows(board: Board) -> list[tuple[int, ...]]:
    hw = board.engine._hw
    count = hw.capture(12_000, 12_000)
    return [tuple(hw.rows[ROW * i : ROW * i + ROW]) for i in range(count)]
