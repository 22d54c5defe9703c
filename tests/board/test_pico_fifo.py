# SPDX-License-Identifier: MIT
"""The Pico's on-board converter through FIFO and DMA: set-up, order, exact sums, nothing lost.

Emulated: nothing here ran on a physical board.
"""

import errno

import pytest

from board.rp2_standin import PERIOD, Chip
from board.rp2_standin.adcblock import EN, OVER, START_MANY
from board.rp2_standin.bench import GATES, FullBoard, all_low, forget, pico
from board.rp2_standin.registers import ACCESS_US
from sagline_board import commands, faults, profile, ticks
from sagline_board.board import Board
from sagline_board.hardware import MAX_ROWS, ROW

CONVERSION_US = 2


def alone(full: FullBoard):
    """The full board without its ADS1115: the on-board converter is all that is read."""
    full.wide.absent = True
    return pico().PicoHardware()


def rows_of(hw, count: int) -> list[tuple[int, ...]]:
    return [tuple(hw.rows[ROW * i : ROW * i + ROW]) for i in range(count)]


def test_the_registers_are_written_in_the_data_sheets_order(full: FullBoard) -> None:
    """Converter at rest, FIFO empty, rate, inputs from sense on, FIFO on, DMA; then it starts."""
    hw = alone(full)
    for _ in range(2):
        full.adc.order.clear()
        full.adc.fifo[:] = [1, 2]
        hw.capture(1000, 50)
        started = full.adc.order.index(("CS", EN | START_MANY | 7 << 16))
        before = full.adc.order[:started]
        names = [name for name, _ in before]
        assert names == ["CS", "FCS", "CS", "DIV", "CS", "FCS", "DMA"]
        assert not before[0][1] & START_MANY
        assert before[1][1] & 1 == 0, "the FIFO keeps nothing while it is emptied"
        assert before[3] == ("DIV", 0), "96 cycles a conversion: 500 000 a second"
        assert before[4] == ("CS", EN | 7 << 16), "round robin over three, sense first"
        assert before[5][1] & 0b1001 == 0b1001, "codes are kept, each asks for the DMA"
        assert before[5][1] >> 24 == 1, "from the first code on"
        # Afterwards it converts on, and nothing is kept.
        assert [name for name, _ in full.adc.order[started + 1 :]] == ["CS", "FCS", "CS"]
        assert full.adc.running
        assert full.adc.order[-2][1] & 0b1001 == 0


@pytest.mark.parametrize("mask", [0, 8])
@pytest.mark.parametrize(("length_us", "bin_us"), [(1000, 50), (4000, 200), (5000, 5000), (7, 7)])
def test_every_code_is_in_one_exact_sum(
    full: FullBoard, length_us: int, bin_us: int, mask: int
) -> None:
    hw = alone(full)
    hw.set_range(0)
    full.chip.now_us = 5 * PERIOD - length_us // 2
    hw.switch(mask, 1_000_000)
    full.adc.dither = lambda index: index * 7919 % 401 - 200
    start_us = full.chip.now_us
    count = hw.capture(length_us, bin_us)
    assert 0 < count <= MAX_ROWS
    rows = rows_of(hw, count)
    assert [row[0] for row in rows] == [0, 1, 2] * (count // 3)
    codes = {each: [entry for entry in full.adc.log if entry[1] == each] for each in range(3)}
    first = [channel for _, channel, _ in full.adc.log[:30]]
    assert first == ([0, 1, 2] * 10)[: len(first)], "the channels take turns, sense first"
    for source, start, length, n, total in rows:
        own, codes[source] = codes[source][:n], codes[source][n:]
        assert total == sum(code for _, _, code in own), "the sum is exact"
        assert len({code for _, _, code in own}) > 1 or n < 3
        # The window is that of its conversions, as near as the start is known.
        assert abs(ticks.diff(start, own[0][0] % PERIOD)) <= ACCESS_US
        assert length == own[-1][0] + CONVERSION_US - own[0][0]
    summed = sum(row[3] for row in rows)
    assert summed == 3 * max(1, length_us // 6)
    assert length_us <= full.chip.now_us - start_us + 6


def test_two_slices_are_of_one_cadence(full: FullBoard) -> None:
    """Whatever the bins are, the conversions come at one rate, and go on between the slices."""
    hw = alone(full)
    for length_us, bin_us in ((1000, 50), (5000, 5000)):
        hw.capture(length_us, bin_us)
        for start, length, n in [row[1:4] for row in rows_of(hw, 3)]:
            assert length == 6 * n - 4 and start >= 0
        assert full.adc.running
        assert full.adc.divider == 0


def lose_codes(full: FullBoard, hw) -> None:
    full.adc.stall = (full.chip.now_us + 600, full.chip.now_us + 600 + 60)


def slip_a_turn(full: FullBoard, hw) -> None:
    full.adc.slips = {full.adc._index + 100}


def come_late(full: FullBoard, hw) -> None:
    """The interpreter is away for longer than the spare codes last."""

    def between(row: int) -> int:
        full.chip.now_us += 20_000
        return row

    hw._between_slots = between


def stand_still(full: FullBoard, hw) -> None:
    """The converter stops converting."""
    full.adc.catch_up()
    full.chip.blocks.remove(full.adc)


BREAKS = [lose_codes, slip_a_turn, come_late]


def test_codes_that_do_not_come_are_waited_for_5_ms(full: FullBoard) -> None:
    hw = alone(full)
    hw.switch(8, 1_000_000)
    stand_still(full, hw)
    began_us = full.chip.now_us
    with pytest.raises(OSError) as caught:
        hw.capture(4000, 200)
    assert caught.value.args == (errno.ETIMEDOUT,)
    assert all_low(full.chip)
    assert full.chip.now_us - began_us < 4000 + 6000


@pytest.mark.parametrize("spoil", BREAKS)
def test_what_is_lost_or_out_of_step_is_an_error_with_the_gates_low(full: FullBoard, spoil) -> None:
    hw = alone(full)
    hw.switch(8, 1_000_000)
    hw.capture(1000, 50)
    usual = hw._between_slots
    spoil(full, hw)
    with pytest.raises(OSError) as caught:
        hw.capture(4000, 200)
    # MicroPython takes the number for errno; here it is the one argument.
    assert caught.value.args == (errno.EIO,)
    assert all_low(full.chip)
    # It begins anew, with sense.
    full.adc.stall, full.adc.slips, hw._between_slots = (0, 0), set(), usual
    assert not full.adc._fcs & OVER or spoil is not slip_a_turn
    assert [row[0] for row in rows_of(hw, hw.capture(1000, 1000))] == [0, 1, 2]


@pytest.mark.parametrize("spoil", BREAKS)
def test_in_a_step_it_is_a_latched_trip(full: FullBoard, spoil) -> None:
    hw = alone(full)
    board = Board(hw)
    full.chip.now_us += 8_000_000
    board.poll()
    board.receive(b"STEP:RANG 0;SEGM 0,20;SEGM 8,300;SEGM 0,20;STAR\n")
    while not full.chip.drives_high(GATES[3]):
        board.poll()
    usual = hw._between_slots
    spoil(full, hw)
    while board.poll() == 0:
        pass
    hw._between_slots = usual
    assert board.engine.state == commands.TRIPPED
    assert board.engine.guard.reason == faults.TRIP_CAPTURE
    assert all_low(full.chip)
    board.receive(b"STEP:STAR\nSYST:ERR?\n")
    assert str(faults.REFUSED_TRIPPED).encode() in board.take_output()


@pytest.mark.parametrize(("length_us", "pieces"), [(5000, 1), (10_000, 2), (12_000, 3)])
def test_a_slice_longer_than_its_buffer_comes_in_pieces(
    full: FullBoard, length_us: int, pieces: int
) -> None:
    hw = alone(full)
    full.adc.dither = lambda index: index * 7919 % 401 - 200
    rows = rows_of(hw, hw.capture(length_us, length_us))
    assert [row[0] for row in rows] == [0, 1, 2] * pieces
    turns = length_us // pieces // 6
    assert [row[3] for row in rows] == [turns] * 3 * pieces
    codes = {each: [code for _, own, code in full.adc.log if own == each] for each in range(3)}
    # Behind each piece come codes that nobody sums: those of the time until it is noticed.
    assert rows[0][4] == sum(codes[0][:turns])
    assert len({row[4] for row in rows[::3]}) == pieces, "no piece is told twice"
    for before, after in zip(rows[::3], rows[3::3], strict=False):
        assert 0 <= ticks.diff(after[1], before[1]) - before[2] < 500


def test_the_channels_are_the_profiles(full: FullBoard) -> None:
    """Inputs 0, 1, 2 of the converter are the pins 26, 27, 28; a turn is three conversions."""
    assert profile.PINS["adc"] == (26, 27, 28)
    alone(full)
    from boards.decimate import TURN_US  # pyright: ignore[reportMissingImports]

    assert TURN_US == 3 * CONVERSION_US
    # 96 cycles of 48 MHz: RP2040 data sheet 4.9.2.
    assert profile.CONVERTERS[profile.ONBOARD]["sample_ns"] == 96 * 1000 // 48


def no_dma_free(monkeypatch) -> None:
    import rp2  # pyright: ignore[reportMissingImports]

    def busy() -> None:
        raise OSError(errno.EBUSY)

    monkeypatch.setattr(rp2, "DMA", busy)


def no_dma_known(monkeypatch) -> None:
    import rp2  # pyright: ignore[reportMissingImports]

    monkeypatch.delattr(rp2, "DMA")


def another_chip(monkeypatch) -> None:
    import sys

    monkeypatch.setattr(sys.implementation, "_machine", "a board with another chip")


@pytest.mark.parametrize("lack", [no_dma_free, no_dma_known, another_chip])
def test_without_it_the_plain_loop_reads_the_same(full: FullBoard, monkeypatch, lack) -> None:
    by_dma = alone(full)
    by_dma.capture(1000, 1000)
    fast = rows_of(by_dma, 3)
    lack(monkeypatch)
    full.chip.blocks.remove(full.adc)
    forget()
    hw = pico().PicoHardware()
    assert (hw.onboard, hw.ads1115) == (1, 0)
    count = hw.capture(1000, 1000)
    slow = rows_of(hw, count)
    assert [row[0] for row in slow] == [0, 1, 2]
    assert [row[4] / row[3] for row in slow] == [row[4] / row[3] for row in fast]
    assert slow[0][3] < fast[0][3] // 3


def test_a_whole_step_by_dma(full: FullBoard) -> None:
    chip: Chip = full.chip
    board = Board(alone(full))
    chip.now_us += 8_000_000
    board.poll()
    board.receive(b"STEP:RANG 0;SEGM 0,20;SEGM 8,40;SEGM 0,20;STAR\n")
    while board.poll() == 0:
        pass
    assert board.engine.state == commands.DONE
    sampler = board.engine.sampler
    points = [point for i in range(sampler.count) if (point := sampler.point(i))[0] == 0]
    on_us, off_us = board.engine.edges_us
    rest = {total / n for _, start, length, n, total in points if start + length <= on_us}
    load = {total / n for _, start, _, n, total in points if on_us <= start < off_us}
    # 65.3 mV of sag times the divider's 0.411 at 0.732 mV a code: 36.6 codes.
    assert rest.pop() - load.pop() == pytest.approx(36.6, abs=1)
    assert not rest and not load
    assert not any(start < edge < start + length for _, start, length, _, _ in points
                   for edge in (on_us, off_us))  # fmt: skip
    # Of the conversions that 80 ms of one channel have room for, most were kept.
    assert sum(point[3] for point in points) > 0.8 * 0.08 * 500e3 / 3
    assert all_low(chip)
